"""Find a card by the fiducial markers at its corners."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from curejournal.colour.sample import Reason
from curejournal.photo.card import Card, Marker
from curejournal.photo.find.refusals import card_hidden, no_card
from curejournal.photo.placement import Placement, placement_from_points
from curejournal.photo.read.picture_file import Pixels

# A plane through the corners of one marker alone is extrapolated several times
# its own size, and misses the patches.
FEWEST_MARKERS = 2
# Pixels around the smallest marker that can be read: one to each of six cells a side (four and the black rim). In
# a small grainy picture the library would otherwise compare every ten pixels with every other ten.
_LEAST_PERIMETER = 24

Seen = tuple[Marker, NDArray[np.float64]]
"""A marker, and its corners (4, 2) in px."""


@lru_cache(maxsize=16)
def _detector(
    dictionary: str, wanted: tuple[int, ...], thorough: bool, longest: int
) -> tuple[cv2.aruco.ArucoDetector, list[int]]:
    """A quick look finds most cards in a fifth of the time that a thorough one takes on a busy background.

    It knows the wanted ids alone, since every square is compared with every marker known: half the time. What it finds
    it numbers by place in the list that comes with it.
    """
    settings = cv2.aruco.DetectorParameters()
    if thorough:
        # The library's default drops markers below 0.75% of the picture's width.
        settings.minMarkerPerimeterRate = max(0.01, _LEAST_PERIMETER / longest)
    else:
        settings.adaptiveThreshWinSizeMin = settings.adaptiveThreshWinSizeMax = 13
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    whole = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, f"DICT_{dictionary}"))
    ids = [number for number in wanted if 0 <= number < len(whole.bytesList)]
    own = cv2.aruco.Dictionary(whole.bytesList[ids], whole.markerSize, whole.maxCorrectionBits)
    return cv2.aruco.ArucoDetector(own, settings), ids


def find_by_markers(picture: Pixels, card: Card, scale: float) -> Placement | Reason:
    """Find a card's markers in a picture.

    Parameters
    ----------
    picture : ndarray of shape (H, W, 3), uint8
        RGB, upright, reduced.
    card : Card
        With markers.
    scale : float
        Full-size pixels per pixel of `picture`.

    Returns
    -------
    Placement or Reason
        Where it lies in the full-size picture, or why that cannot be told.
    """
    grey = np.asarray(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), np.uint8)
    mm, pixels, seen = _marker_corners(grey, card, scale, thorough=False)
    if seen < len(card.markers):
        mm, pixels, seen = _marker_corners(grey, card, scale, thorough=True)
    if seen < min(FEWEST_MARKERS, len(card.markers)):
        return card_hidden(card, seen) if seen else no_card(card)
    placement = placement_from_points(card, np.array(mm), np.array(pixels), seen, len(card.markers))
    return no_card(card) if placement is None else placement


def _marker_corners(
    grey: NDArray[np.uint8], card: Card, scale: float, *, thorough: bool
) -> tuple[list[tuple[float, float]], list[tuple[float, float]], int]:
    """The corners of the card's markers in mm and in full-size pixels, and how many markers were seen."""
    seen: list[Seen] = []
    for dictionary in sorted({marker.dictionary for marker in card.markers}):
        wanted = tuple(marker.id for marker in card.markers if marker.dictionary == dictionary)
        detector, ids = _detector(dictionary, wanted, thorough, max(grey.shape))
        quads, found, _ = detector.detectMarkers(grey)
        for quad, index in zip(quads, [] if found is None else found.ravel(), strict=True):
            points, number = np.asarray(quad, dtype=float).reshape(4, 2), ids[int(index)]
            same = (marker for marker in card.markers if (marker.dictionary, marker.id) == (dictionary, number))
            seen += [(marker, points) for marker in same]
    mm: list[tuple[float, float]] = []
    pixels: list[tuple[float, float]] = []
    of_one = _of_one_card(seen, min(card.size_mm) / 2)
    for marker, points in of_one:
        mm += _corners_mm(marker)
        # Pixel centres: the middle of the top left pixel is (0, 0) at either scale.
        pixels += [(px, py) for px, py in ((points + 0.5) * scale - 0.5).tolist()]
    return mm, pixels, len(of_one)


def _of_one_card(seen: list[Seen], most_off_mm: float) -> list[Seen]:
    """Each marker once: where a copy of the card is in the picture too, those that lie as those of one card do.

    It is the card of the largest marker, whose plane is carried on: good enough to tell cards apart.
    """
    if len({marker for marker, _ in seen}) == len(seen):
        return seen
    first, at = max(seen, key=lambda one: cv2.contourArea(one[1].astype(np.float32)))
    to_mm = cv2.getPerspectiveTransform(at.astype(np.float32), np.array(_corners_mm(first), np.float32))

    def off_mm(one: Seen) -> float:
        there = cv2.perspectiveTransform(one[1][None].astype(np.float32), to_mm)[0]
        return float(np.linalg.norm(there.mean(axis=0) - np.mean(_corners_mm(one[0]), axis=0)))

    nearest: dict[Marker, Seen] = {}
    for one in sorted(seen, key=off_mm):
        if off_mm(one) < most_off_mm:
            nearest.setdefault(one[0], one)
    return list(nearest.values())


def _corners_mm(marker: Marker) -> list[tuple[float, float]]:
    x, y, s = marker.x, marker.y, marker.size
    return [(x, y), (x + s, y), (x + s, y + s), (x, y + s)]
