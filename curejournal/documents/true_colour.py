"""The balance of a picture by which soap shows its measured colour; and pictures that play one after the other."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont, ImageOps

from curejournal.colour.sample import Lab
from curejournal.colour.spaces import linear_from_lab, linear_from_srgb, srgb_from_linear
from curejournal.documents.style import LIGHT, PAPER_FONTS, font_path
from curejournal.documents.typefaces import printable

Pixels = NDArray[np.uint8]
Gains = NDArray[np.float64]
Points = Sequence[tuple[float, float]]

GAINS = (0.25, 4.0)
"""A channel is not changed by more than two stops: what asks for more was read wrongly. Ours."""
DARKEST_L = 25.0
"""Soap darker than this L* does not set the balance of a photo: glare would. Ours."""
ROLL_OFF_FROM, LEAST_EXACT = 1.15, 0.6
"""Highlights roll off from this many times the lightest soap's linear level on, and never below the other. Ours."""
FRAME_MS, LAST_MS = 900, 2400


@dataclass(frozen=True)
class Seen:
    """An area of a photo and the colour that was measured there; points are full-size pixels, upright."""

    outline: tuple[tuple[float, float], ...]
    lab: Lab


def smaller(picture: Pixels, longest: int) -> Pixels:
    """The same with at most `longest` pixels on the longer side."""
    by = longest / max(picture.shape[:2])
    if by >= 1:
        return picture
    size = (max(1, round(picture.shape[1] * by)), max(1, round(picture.shape[0] * by)))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)


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


def with_gains(picture: Pixels, gains: Gains | None, exact_to: float = 1.0) -> Pixels:
    """Apply a factor to each channel in linear light; None leaves the picture as it is.

    Parameters
    ----------
    picture : ndarray of shape (H, W, 3), uint8
        sRGB.
    gains : ndarray of shape (3,), optional
    exact_to : float
        Up to this level of linear light colours are exact. What lies above rolls off towards white instead of being
        cut: a pale wall keeps its shades, and where the camera saw white no channel stands out.
    """
    if gains is None:
        return picture
    gains = np.clip(gains, *GAINS)
    levels = linear_from_srgb(np.arange(256.0)[:, None] / 255) * gains
    over = np.maximum(levels - exact_to, 0.0)
    room = 1 - exact_to
    # From its start on with the slope of 1, and at 1 where the channel is full.
    bent = exact_to + over / (1 + over * (1 / room - 1 / (gains - exact_to))) if room > 0 else levels
    levels = np.where((gains > 1) & (over > 0), bent, levels)
    table = np.round(255 * srgb_from_linear(np.clip(levels, 0, 1))).astype(np.uint8)
    return np.asarray(cv2.LUT(picture, table[:, None, :]), np.uint8)


def brightest(seen: Sequence[Seen]) -> float:
    """Up to which level of linear light colours have to be exact: that of the lightest soap, and a little more."""
    highest = max((float(linear_from_lab(one.lab).max()) for one in seen), default=1.0)
    return float(np.clip(ROLL_OFF_FROM * highest, LEAST_EXACT, 1.0))


def time_lapse(frames: Sequence[tuple[Pixels, str]]) -> tuple[bytes, int, int] | None:
    """An animated WebP of pictures of one size, each with its label under it, and its size; None below two.

    Parameters
    ----------
    frames : sequence of (ndarray of shape (H, W, 3), str)
        In order of time.
    """
    if len(frames) < 2:
        return None
    pictures = [_labelled(picture, label) for picture, label in frames]
    out = io.BytesIO()
    times = [*([FRAME_MS] * (len(pictures) - 1)), LAST_MS]
    more = [one if one.size == pictures[0].size else one.resize(pictures[0].size) for one in pictures[1:]]
    pictures[0].save(out, "WEBP", save_all=True, append_images=more, duration=times, loop=0, quality=76, method=0)
    return out.getvalue(), *pictures[0].size


def _labelled(picture: Pixels, label: str) -> Image.Image:
    font = ImageFont.truetype(font_path(PAPER_FONTS["sans"]), max(14, picture.shape[0] // 18))
    high = round(1.9 * font.size)
    # A strip under the picture, so that the words are read on any soap.
    image = Image.fromarray(picture).convert("RGB")
    image = ImageOps.expand(image, (0, 0, 0, high), LIGHT.ink)
    place = (picture.shape[0] // 40, picture.shape[0] + round(0.35 * font.size))
    ImageDraw.Draw(image).text(place, printable(label), LIGHT.paper, font=font)
    return image
