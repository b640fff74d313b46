"""Photos as others see them: small, in measured colours, laid on each other by the card, nothing else in them."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from curejournal.colour.sample import Lab
from curejournal.colour.spaces import linear_from_lab, linear_from_srgb, srgb_from_linear
from curejournal.documents.pictures import shrunk
from curejournal.documents.typefaces import printable
from curejournal.photo.read.picture_file import read_photo

Pixels = NDArray[np.uint8]
Gains = NDArray[np.float64]
Points = Sequence[tuple[float, float]]

GAINS = (0.25, 4.0)
"""A channel is not changed by more than two stops: what asks for more was read wrongly. Ours."""
DARKEST_L = 25.0
"""Soap darker than this L* does not set the balance of a photo: glare would. Ours."""
FRAME_PX = 384
FRAME_MS, LAST_MS = 900, 2400
CARDS_AROUND = 0.6
"""How much of the card's width and height is shown around it at most, for soap that lies beside a card. Ours."""


@dataclass(frozen=True)
class Seen:
    """An area of a photo and the colour that was measured there; points are full-size pixels, upright."""

    outline: tuple[tuple[float, float], ...]
    lab: Lab


@dataclass(frozen=True)
class Framed:
    """A balanced photo for a time-lapse, its card's corners (clockwise from its own top left), and what was measured.

    Corners and outlines are in pixels of the original, which is `scale` times as large as the picture.
    """

    picture: Pixels
    scale: float
    corners: tuple[tuple[float, float], ...]
    seen: tuple[Seen, ...]
    label: str


def balanced(data: bytes, longest: int, seen: Sequence[Seen]) -> tuple[Pixels, float]:
    """A photo with at most `longest` pixels on its longer side, balanced so that the soap shows its measured colour.

    Parameters
    ----------
    data : bytes
        The original.
    longest : int
    seen : sequence of Seen
        What was measured in it; without anything it is only made smaller.

    Returns
    -------
    ndarray of shape (H, W, 3), uint8; float
        sRGB, upright. One factor for each channel in linear light: true at the soap, nearly so around it. And how many
        times larger the original is.

    Raises
    ------
    NotAPicture, PictureDamaged, PictureTooLarge
    """
    photo = read_photo(data)
    picture = shrunk(photo, longest)
    scale = photo.width / picture.shape[1]
    return _balance(picture, scale, seen), scale


def smaller(picture: Pixels, longest: int) -> Pixels:
    """The same with at most `longest` pixels on the longer side."""
    by = longest / max(picture.shape[:2])
    if by >= 1:
        return picture
    size = (max(1, round(picture.shape[1] * by)), max(1, round(picture.shape[0] * by)))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)


def _balance(picture: Pixels, scale: float, seen: Sequence[Seen]) -> Pixels:
    return with_gains(picture, gains_of(picture, scale, seen))


def gains_of(picture: Pixels, scale: float, seen: Sequence[Seen]) -> Gains | None:
    """Find the factor for each channel, in linear light, by which soap shows its measured colour; None if none tells.

    Parameters
    ----------
    picture : ndarray of shape (H, W, 3), uint8
        sRGB, upright; the original is `scale` times as large.
    seen : sequence of Seen
    """
    wanted, found = [], []
    for area in seen:
        outline = np.round(np.array(area.outline) / scale).astype(np.int32)
        x, y, width, height = cv2.boundingRect(outline)
        part = picture[max(y, 0) : y + height, max(x, 0) : x + width]
        mask = np.zeros(part.shape[:2], np.uint8)
        cv2.fillPoly(mask, [outline - (max(x, 0), max(y, 0))], 255)
        inside = part[mask > 0]
        if area.lab[0] >= DARKEST_L and len(inside) >= 16:
            # A few thousand pixels give the same median.
            few = inside[:: 1 + len(inside) // 4000]
            found.append(linear_from_srgb(np.median(few, axis=0) / 255))
            wanted.append(linear_from_lab(area.lab))
    if not found:
        return None
    floor = 1e-3
    ratios = np.log(np.maximum(wanted, floor) / np.maximum(found, floor))
    gains: Gains = np.exp(ratios.mean(axis=0))
    return gains


def with_gains(picture: Pixels, gains: Gains | None) -> Pixels:
    """Apply a factor to each channel in linear light; None leaves the picture as it is."""
    if gains is None:
        return picture
    levels = linear_from_srgb(np.arange(256.0)[:, None] / 255) * np.clip(gains, *GAINS)
    table = np.round(255 * srgb_from_linear(np.clip(levels, 0, 1))).astype(np.uint8)
    return np.asarray(cv2.LUT(picture, table[:, None, :]), np.uint8)


def time_lapse(frames: Sequence[Framed], size_mm: tuple[float, float]) -> tuple[bytes, int, int] | None:
    """An animated WebP of photos laid on each other by the card, with its width and height; None below two photos.

    Parameters
    ----------
    frames : sequence of Framed
        In order of time, all of one kind of card.
    size_mm : (float, float)
        The card's width and height.
    """
    usable = [frame for frame in frames if len(frame.corners) == 4]
    if len(usable) < 2:
        return None
    card = np.array([(0, 0), (size_mm[0], 0), size_mm, (0, size_mm[1])], np.float32)
    low, high = _around(usable, card)
    scale = FRAME_PX / float(max(high - low))
    width, height = (max(2, round(float(side) * scale)) for side in high - low)
    goal = ((card - low) * scale).astype(np.float32)
    pictures = []
    for frame in usable:
        warp = cv2.getPerspectiveTransform((np.array(frame.corners) / frame.scale).astype(np.float32), goal)
        laid = cv2.warpPerspective(
            frame.picture, warp, (width, height), flags=cv2.INTER_AREA, borderValue=(128, 128, 128)
        )
        pictures.append(_labelled(np.asarray(laid, np.uint8), frame.label))
    out = io.BytesIO()
    times = [*([FRAME_MS] * (len(pictures) - 1)), LAST_MS]
    pictures[0].save(
        out, "WEBP", save_all=True, append_images=pictures[1:], duration=times, loop=0, quality=76, method=0
    )
    return out.getvalue(), *pictures[0].size


def _around(frames: Sequence[Framed], card: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """The rectangle, in the card's millimetres, that holds the card and all that was measured."""
    points = [card]
    for frame in frames:
        to_card = cv2.getPerspectiveTransform(np.array(frame.corners, np.float32), card)
        for area in frame.seen:
            outline = np.array(area.outline, np.float32)[None]
            points.append(np.asarray(cv2.perspectiveTransform(outline, to_card)[0], np.float32))
    every = np.concatenate(points)
    size = card[2]
    low = np.maximum(every.min(axis=0), -CARDS_AROUND * size)
    high = np.minimum(every.max(axis=0), (1 + CARDS_AROUND) * size)
    pad = 0.03 * size
    return (low - pad).astype(np.float32), (high + pad).astype(np.float32)


def _labelled(picture: Pixels, label: str) -> Image.Image:
    font = _font(max(14, picture.shape[0] // 22))
    high = round(1.7 * font.size)
    # A strip under the picture, so that the words are read on any soap.
    image = Image.fromarray(cv2.copyMakeBorder(picture, 0, high, 0, 0, cv2.BORDER_CONSTANT, value=(33, 28, 24)))
    place = (picture.shape[0] // 40, picture.shape[0] + round(0.3 * font.size))
    ImageDraw.Draw(image).text(place, printable(label), (244, 240, 233), font=font)
    return image


@cache
def _font(size: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(files("font_roboto") / "files" / "Roboto-Bold.ttf"), size)
