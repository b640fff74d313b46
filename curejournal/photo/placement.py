"""Where a card lies in a picture: the plane's perspective, and what it says about the photo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.photo.card import Card, Patch, Rect

Points = tuple[tuple[float, float], ...]


class CornersInvalid(CureJournalError):
    """Four corners typed by the maker cannot be those of a card."""


@dataclass(frozen=True)
class Placement:
    """A card in a picture. `matrix` (3, 3) takes mm on the card to pixels of the upright full-size picture.

    `bend` is the root mean square distance of the points it was found by from
    that flat plane, as a share of the card's width in the picture; `seen` of
    `wanted` markers were found.
    """

    matrix: tuple[tuple[float, ...], ...]
    corners: Points
    bend: float = 0.0
    seen: int = 0
    wanted: int = 0

    def to_pixels(self, mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points (N, 2) in mm on the card to full-size pixels."""
        return project(np.asarray(self.matrix), mm)

    def to_mm(self, pixels: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points (N, 2) in full-size pixels to mm on the card's plane."""
        return project(np.linalg.inv(np.asarray(self.matrix)), pixels)

    def scales_at(self, mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Pixels per mm along the plane's most and least stretched directions, (N, 2), at places (N, 2) in mm."""
        h = np.asarray(self.matrix)
        depth = (h[2, :2] @ mm.T + h[2, 2])[:, None, None]
        jacobians = (h[:2, :2] - self.to_pixels(mm)[:, :, None] * h[2, :2]) / depth
        return np.linalg.svd(jacobians, compute_uv=False)

    def tilt_degrees(self, card: Card) -> float:
        """The angle between the card and the picture plane, from its foreshortening at the centre."""
        ((most, least),) = self.scales_at(np.array([card.size_mm]) / 2)
        return float(np.degrees(np.arccos(np.clip(least / most, 0.0, 1.0))))

    def longest_side_mm(self, outline: Points) -> float:
        """The longest side of an outline in full-size pixels, as it would be in the card's plane."""
        corners = self.to_mm(np.array(outline))
        return float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).max())

    def outline(self, rect: Rect | Patch) -> Points:
        """The corners of a rectangle on the card, in full-size pixels."""
        x, y, w, h = rect.x, rect.y, rect.w, rect.h
        return as_points(self.to_pixels(np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])))


def as_points(array: NDArray[np.float64]) -> Points:
    """An (N, 2) array as nested tuples.

    Parameters
    ----------
    array : ndarray of shape (N, 2)
        x, y.

    Returns
    -------
    tuple of (float, float)
    """
    return tuple((float(x), float(y)) for x, y in array)


def placement_from_points(
    card: Card, mm: NDArray[np.float64], pixels: NDArray[np.float64], seen: int = 0, wanted: int = 0
) -> Placement | None:
    """The plane through points known both on the card (N, 2; mm) and in the picture (N, 2; full-size px); N >= 4.

    Parameters
    ----------
    card : Card
    mm : ndarray of shape (N, 2)
        On the card; N >= 4.
    pixels : ndarray of shape (N, 2)
        Of the upright full-size picture.
    seen : int
        How many markers were found, of those wanted.
    wanted : int

    Returns
    -------
    Placement or None
        None if the points lie on no plane.
    """
    matrix, _ = cv2.findHomography(mm, pixels, 0)
    if matrix is None or not np.isfinite(matrix).all() or abs(np.linalg.det(matrix)) < 1e-12:
        return None
    plane = np.asarray(matrix, dtype=np.float64)
    corners = project(plane, np.array(card.corner_points()))
    off = np.sqrt(np.mean(np.sum((project(plane, mm) - pixels) ** 2, axis=1)))
    width = float(np.linalg.norm(corners[1] - corners[0]))
    return Placement(
        tuple(tuple(float(v) for v in row) for row in plane),
        as_points(corners),
        float(off / max(width, 1.0)),
        seen,
        wanted,
    )


def placement_from_corners(card: Card, corners: Sequence[tuple[float, float]]) -> Placement:
    """The plane through four typed corners, clockwise from the card's own top left.

    Parameters
    ----------
    card : Card
    corners : sequence of four (x, y)
        Pixels of the upright full-size picture, clockwise from the card's own top left.

    Returns
    -------
    Placement

    Raises
    ------
    CornersInvalid
        If they are not the corners of a convex shape in clockwise order.
    """
    points = np.array(corners, dtype=float)
    if points.shape != (4, 2) or not np.isfinite(points).all():
        raise CornersInvalid(
            msg("Four corners are needed, each as x,y in pixels."),
            msg("Give them clockwise from the card's own top left."),
        )
    sides = np.roll(points, -1, axis=0) - points
    ahead = np.roll(sides, -1, axis=0)
    turns = sides[:, 0] * ahead[:, 1] - sides[:, 1] * ahead[:, 0]
    if not (turns > 0).all():
        raise CornersInvalid(
            msg("These four points do not go clockwise round a card."),
            msg("Give the corners clockwise from the card's own top left; a mirrored picture cannot be used."),
        )
    placement = placement_from_points(card, np.array(card.corner_points()), points)
    if placement is None:
        raise CornersInvalid(msg("These four points do not enclose a card."), msg("Mark the corners again."))
    return placement


def project(homography: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points (..., 2) through a 3x3 homography.

    Parameters
    ----------
    homography : ndarray of shape (3, 3)
    points : ndarray of shape (..., 2)

    Returns
    -------
    ndarray of shape (..., 2)
    """
    flat = np.asarray(points, float).reshape(-1, 1, 2)
    return np.asarray(cv2.perspectiveTransform(flat, homography), float).reshape(np.shape(points))
