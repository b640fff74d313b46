"""Photos as a maker wants to show them: the soap itself in its true colour, straight, nothing else in the way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from curejournal.documents.pictures import shrunk
from curejournal.documents.true_colour import Gains, Pixels, Points, Seen, brightest, gains_of, smaller, with_gains
from curejournal.photo.read.picture_file import Photo, read_photo

Cut = Literal["wide", "square", "soap", "whole"]
ASPECTS: dict[Cut, float | None] = {"wide": 4 / 3, "square": 1.0, "soap": None, "whole": None}
"""How a picture may be cut: width by height, None as it comes; *whole* with the card and all."""
BALANCED_AT_PX = 1200
"""The longer side of the picture that the balance is found on. Ours: a median needs no more."""
TRIM = 0.04
"""Cut off each side of a window, where the card's edge throws its shadow. Ours."""
AROUND = (0.5, 0.3, 0.15, 0.0)
"""Room around soap beside a card, as shares of its size: the first that keeps the card out is taken. Ours."""


@dataclass(frozen=True)
class View:
    """How a photo is shown. Nothing is measured from it.

    Parameters
    ----------
    seen : tuple of Seen
        What the soap's colour is, and where: the balance is set by it.
    corners : tuple of (x, y)
        The card's corners, clockwise from its own top left, in full-size pixels; empty without a card.
    crop : (left, top, right, bottom), optional
        The maker's own cut, as shares of the picture after it was turned.
    turn_deg : float
        By how much it is turned clockwise.
    focus : tuple of (x, y)
        The outline that a narrow cut is laid around, in full-size pixels; empty for the middle.
    close : bool
        Whether it is cut to what was seen; a photo without a card is shown whole.
    """

    seen: tuple[Seen, ...] = ()
    corners: tuple[tuple[float, float], ...] = ()
    crop: tuple[float, float, float, float] | None = None
    turn_deg: float = 0.0
    focus: tuple[tuple[float, float], ...] = ()
    close: bool = True


def soap_picture(
    data: bytes,
    view: View,
    longest: int,
    aspect: float | None = None,
    *,
    whole: bool = False,
    light: Gains | None = None,
) -> Pixels:
    """Show a photo in its true colour, cut to the soap.

    Parameters
    ----------
    data : bytes
        The original.
    view : View
    longest : int
        Pixels of the longer side at most.
    aspect : float, optional
        Width by height; without it the cut keeps its own.
    whole : bool
        Show all of the photo, card and all.
    light : ndarray of shape (3,), optional
        The balance that another photo of the same light lends to one in which nothing was measured.

    Returns
    -------
    ndarray of shape (H, W, 3), uint8
        sRGB, upright, balanced so that the soap shows its measured colour: true there, nearly so around it.

    Raises
    ------
    NotAPicture, PictureDamaged, PictureTooLarge
    """
    photo = read_photo(data)
    small = shrunk(photo, BALANCED_AT_PX)
    gains = gains_of(small, photo.width / small.shape[1], view.seen)
    exact_to = brightest(view.seen)
    if gains is None and light is not None:
        gains = light
    if whole:
        return with_gains(
            _within(small if longest <= BALANCED_AT_PX else shrunk(photo, longest), longest), gains, exact_to
        )
    if view.crop is not None or view.turn_deg:
        cut = _cut(_turned(shrunk(photo, 2 * longest), view.turn_deg), view.crop, aspect)
        return with_gains(_within(cut, longest), gains, exact_to)
    outlines = [np.array(one.outline, float) for one in view.seen if view.close and len(one.outline) > 2]
    if outlines and len(view.corners) == 4 and _in_window(outlines, view.corners):
        return with_gains(_through_window(photo, outlines, view.corners, longest, aspect), gains, exact_to)
    every = (0.0, 0.0, float(photo.width), float(photo.height))
    box = _around(outlines, view.corners, (photo.width, photo.height)) if outlines else every
    share = max(box[2] - box[0], box[3] - box[1]) / max(photo.width, photo.height)
    picture = shrunk(photo, min(max(photo.width, photo.height), round(longest / max(share, 0.1))))
    by = photo.width / picture.shape[1]
    left, top, right, bottom = (round(side / by) for side in box)
    cut = picture[top : max(bottom, top + 1), left : max(right, left + 1)]
    at = np.array(view.focus).mean(axis=0) / by - (left, top) if view.focus else None
    return with_gains(_within(_to_aspect(cut, aspect, at), longest), gains, exact_to)


def gains_by(photo: Photo, seen: Sequence[Seen]) -> Gains | None:
    """Find the balance of a photo by what was measured in it, for another one of the same light."""
    small = shrunk(photo, BALANCED_AT_PX)
    return gains_of(small, photo.width / small.shape[1], seen)


def _in_window(outlines: Sequence[NDArray[np.float64]], corners: Points) -> bool:
    quad = np.array(corners, np.float32)
    return all(cv2.pointPolygonTest(quad, tuple(map(float, one.mean(axis=0))), False) > 0 for one in outlines)


def _through_window(
    photo: Photo, outlines: Sequence[NDArray[np.float64]], corners: Points, longest: int, aspect: float | None
) -> Pixels:
    """Lay the card straight, so that its window fills the picture: the same cut at every date."""
    quad = np.array(corners, np.float32)
    sides = np.linalg.norm(quad - np.roll(quad, -1, axis=0), axis=1)
    size = np.array([sides[[0, 2]].mean(), sides[[1, 3]].mean()], np.float32)
    square = np.array([(0, 0), (size[0], 0), size, (0, size[1])], np.float32)
    to_card = cv2.getPerspectiveTransform(quad, square)
    points = np.concatenate(outlines).astype(np.float32)[None]
    flat = cv2.perspectiveTransform(points, to_card)[0]
    low, high = flat.min(axis=0), flat.max(axis=0)
    trim = TRIM * (high - low)
    low, high = low + trim, high - trim
    if aspect is not None:
        low, high = _narrowed(low, high, aspect)
    scale = min(longest / float((high - low).max()), 2.0)
    # No more of the photo is decoded than the cut needs.
    picture = shrunk(photo, round(min(1.0, 1.5 * scale) * max(photo.width, photo.height)))
    by = picture.shape[1] / photo.width
    larger = np.diag([1 / by, 1 / by, 1.0])
    move = np.array([[scale, 0, -scale * low[0]], [0, scale, -scale * low[1]], [0, 0, 1]], np.float64)
    across, down = (max(2, round(float(side) * scale)) for side in high - low)
    edge, warp = cv2.BORDER_REPLICATE, move @ to_card @ larger
    laid = cv2.warpPerspective(picture, warp, (across, down), flags=cv2.INTER_LINEAR, borderMode=edge)
    return np.asarray(laid, np.uint8)


def _narrowed(
    low: NDArray[np.float64], high: NDArray[np.float64], aspect: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    middle, size = (low + high) / 2, high - low
    width = min(float(size[0]), float(size[1]) * aspect)
    half = np.array([width, width / aspect]) / 2
    return middle - half, middle + half


def _around(
    outlines: Sequence[NDArray[np.float64]], corners: Points, size: tuple[int, int]
) -> tuple[float, float, float, float]:
    points = np.concatenate(outlines)
    low, high = points.min(axis=0), points.max(axis=0)
    card = np.array(corners, float) if len(corners) == 4 else None
    for share in AROUND:
        room = share * (high - low).max()
        box = np.concatenate([np.maximum(low - room, 0), np.minimum(high + room, size)])
        if card is None or (card.max(axis=0) <= box[:2]).any() or (card.min(axis=0) >= box[2:]).any():
            break
    return float(box[0]), float(box[1]), float(box[2]), float(box[3])


def _turned(picture: Pixels, degrees: float) -> Pixels:
    """Turn clockwise; what a slanted turn leaves empty at the corners is cut off."""
    quarter = round(degrees / 90)
    picture = np.rot90(picture, -quarter)
    rest = degrees - 90 * quarter
    if abs(rest) < 0.05:
        return np.ascontiguousarray(picture)
    height, width = picture.shape[:2]
    angle = np.radians(abs(rest))
    # The largest box of the same shape within a turned one.
    keep = 1 / (np.cos(angle) + max(width / height, height / width) * np.sin(angle))
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), -rest, 1.0)
    laid = cv2.warpAffine(np.ascontiguousarray(picture), turn, (width, height), flags=cv2.INTER_LINEAR)
    across, down = round(width * keep), round(height * keep)
    left, top = (width - across) // 2, (height - down) // 2
    return np.asarray(laid[top : top + down, left : left + across], np.uint8)


def _cut(picture: Pixels, crop: tuple[float, float, float, float] | None, aspect: float | None) -> Pixels:
    if crop is not None:
        height, width = picture.shape[:2]
        left, top = min(round(crop[0] * width), width - 2), min(round(crop[1] * height), height - 2)
        right, bottom = max(round(crop[2] * width), left + 2), max(round(crop[3] * height), top + 2)
        picture = picture[top:bottom, left:right]
    return _to_aspect(picture, aspect)


def _to_aspect(picture: Pixels, aspect: float | None, at: NDArray[np.float64] | None = None) -> Pixels:
    """Cut to an aspect, around a place or the middle."""
    if aspect is None:
        return picture
    height, width = picture.shape[:2]
    across, down = min(width, round(height * aspect)), min(height, round(width / aspect))
    x, y = (width / 2, height / 2) if at is None else (float(at[0]), float(at[1]))
    left, top = (round(min(max(v - one / 2, 0), of - one)) for v, one, of in ((x, across, width), (y, down, height)))
    return picture[top : top + max(down, 1), left : left + max(across, 1)]


def _within(picture: Pixels, longest: int) -> Pixels:
    return np.ascontiguousarray(smaller(picture, longest))
