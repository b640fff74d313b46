"""Regular rows and columns of flat fields in a picture, whatever their colours.

A chart without markers is first of all a lattice: convex fields of even
colour, all of one size, at even steps in two directions, seen in perspective.
This module finds such lattices; `find_chart` decides whether one is the chart.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Picture = NDArray[np.uint8]

# A parallelogram has area = 12 sqrt(det(covariance)), an ellipse 4 pi, a triangle 6 sqrt(3): so area over the
# first tells compact fields from ragged ones at any tilt. The limits are ours, wide enough for a few pixels.
_COMPACTNESS = (0.80, 1.13)
# Ratio of the long to the short axis: a square field seen at 70 degrees is 2.9.
_MAX_ELONGATION = 3.2
# Two fields of one lattice differ in area by perspective and by how much of their rims was cut. Ours.
_MAX_AREA_RATIO = 2.2
# Two steps of a lattice are square to each other up to this cosine, a slanted card allowed for, and as long up to this
# ratio; a field may miss the place that its neighbours give by this share of its size, or of a step. Ours.
_MOST_COSINE, _MOST_STRETCH, _MOST_GAP, _MOST_OFF = 0.35, 1.6, 0.3, 0.2
# Step between fields over the side of a field as found, whose rim is cut: 1.1 with narrow gaps, 3 if small.
_STEP_IN_SIDES = (1.05, 3.0)
# Neighbours across and down, in columns and rows.
_WAYS = ((1, 0), (-1, 0), (0, 1), (0, -1))
# The smallest field in px, its rim of one pixel already cut. Ours.
_MIN_AREA = 9


@dataclass(frozen=True)
class Fields:
    """Flat fields: `centres` (n, 2) in px, `areas` (n,) in px, `covariances` (n, 2, 2) of their pixels."""

    centres: Floats
    covariances: Floats
    areas: Floats


@dataclass(frozen=True)
class Lattice:
    """Fields in rows and columns.

    `cells` (n, 2) are whole (column, row) numbers from any origin, `centres` (n, 2) the fields' centres in px
    and `to_picture` the 3x3 homography from cells to px. From columns to rows is the same turn as from x to y.
    """

    cells: Ints
    centres: Floats
    to_picture: Floats


def contrast_map(picture: Picture, median_px: int) -> Picture:
    """How much the 3x3 neighbourhood of a pixel varies, (H, W) in 8-bit steps, the largest of the channels.

    A median filter of `median_px` px a side takes noise away first, and keeps rims.

    Parameters
    ----------
    picture : ndarray of shape (H, W, 3), uint8
        RGB, upright.
    median_px : int
        Side of the median filter.

    Returns
    -------
    ndarray of shape (H, W), uint8
    """
    spread = cv2.morphologyEx(cv2.medianBlur(picture, median_px), cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    return np.asarray(cv2.max(cv2.max(spread[..., 0], spread[..., 1]), spread[..., 2]), dtype=np.uint8)


def flat_fields(contrast: Picture, limit: int, max_area: int) -> Fields:
    """The compact connected areas of a contrast map that stay at or below `limit`.

    Parameters
    ----------
    contrast : ndarray, shape (H, W), uint8
        From `contrast_map`.
    limit : int
        Contrast allowed inside a field, in 8-bit steps.
    max_area : int
        Largest field in px, its rim of one pixel already cut.

    Returns
    -------
    Fields
    """
    flat = (contrast <= limit).view(np.uint8)
    _, labels, stats, centres = cv2.connectedComponentsWithStats(flat, connectivity=4, ltype=cv2.CV_32S)
    area = stats[:, cv2.CC_STAT_AREA]
    width, height = stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]
    # A square turned by 45 degrees fills half of its upright box; a tilted one a little less.
    fits = (area >= _MIN_AREA) & (area <= max_area) & (area >= 0.3 * width * height)
    fits[0] = False
    index = np.flatnonzero(fits)
    if not index.size:
        return Fields(np.empty((0, 2)), np.empty((0, 2, 2)), np.empty(0))
    place = np.full(len(area), -1, np.int32)
    place[index] = np.arange(index.size)
    of_field = place[labels]
    y, x = np.nonzero(of_field >= 0)
    which = of_field[y, x]
    n = area[index].astype(float)
    dx, dy = x - centres[index, 0][which], y - centres[index, 1][which]
    # A pixel is a square, not a point: its own variance of 1/12 is part of the field's.
    xx = np.bincount(which, dx * dx, index.size) / n + 1 / 12
    yy = np.bincount(which, dy * dy, index.size) / n + 1 / 12
    xy = np.bincount(which, dx * dy, index.size) / n
    half_trace, det = (xx + yy) / 2, np.maximum(xx * yy - xy * xy, 1e-12)
    root = np.sqrt(np.maximum(half_trace**2 - det, 0))
    elongation = np.sqrt((half_trace + root) / np.maximum(half_trace - root, 1e-9))
    compactness = n / (12 * np.sqrt(det))
    good = (compactness > _COMPACTNESS[0]) & (compactness < _COMPACTNESS[1]) & (elongation < _MAX_ELONGATION)
    covariances = np.stack([np.stack([xx, xy], -1), np.stack([xy, yy], -1)], -2)
    return Fields(centres[index][good], covariances[good], n[good])


def lattices(fields: Fields, min_cells: int, max_cells: int) -> list[Lattice]:
    """Every lattice of `min_cells` to `max_cells` fields, the largest first; what goes on beyond is a wall of tiles.

    Parameters
    ----------
    fields : Fields
        Flat fields of the picture.
    min_cells : int
    max_cells : int

    Returns
    -------
    list of Lattice
    """
    if len(fields.areas) < min_cells:
        return []
    tree = cKDTree(fields.centres)
    seeds, across, down = _unit_squares(fields, tree)
    used = np.zeros(len(fields.areas), bool)
    found = []
    for seed, u, v in zip(seeds, across, down, strict=True):
        if used[seed]:
            continue
        cells = _grow(fields, tree, int(seed), u, v, max_cells + 1)
        if len(cells) < min_cells:
            continue
        at = np.fromiter(cells.values(), int, len(cells))
        used[at] = True
        if len(cells) > max_cells:
            continue
        lattice = _fitted(np.array(list(cells), dtype=np.int64), fields.centres[at], min_cells)
        if lattice is not None:
            found.append(lattice)
    return sorted(found, key=lambda lattice: -len(lattice.cells))


def _unit_squares(fields: Fields, tree: cKDTree) -> tuple[Ints, Floats, Floats]:
    """Fields with a neighbour across, one down and one at the fourth corner, and the two steps in px."""
    k = min(13, len(fields.areas))
    near = np.asarray(tree.query(fields.centres, k=k)[1])[:, 1:]
    step = fields.centres[near] - fields.centres[:, None]
    # Seen from the field itself: in its own axes, where it is a square of side 1, at any tilt.
    whiten = np.linalg.inv(np.linalg.cholesky(12 * fields.covariances))
    own = np.einsum("nij,nkj->nki", whiten, step)
    distance = np.linalg.norm(own, axis=2)
    ratio = fields.areas[near] / fields.areas[:, None]
    alike = (ratio < _MAX_AREA_RATIO) & (ratio > 1 / _MAX_AREA_RATIO)
    alike &= (distance > _STEP_IN_SIDES[0]) & (distance < _STEP_IN_SIDES[1])
    rows = np.arange(len(near))
    first = np.where(alike, distance, np.inf).argmin(1)
    u_own = own[rows, first]
    cosine = np.abs(np.einsum("nki,ni->nk", own, u_own)) / np.maximum(distance * distance[rows, first][:, None], 1e-9)
    square = alike & (cosine < _MOST_COSINE) & (distance < _MOST_STRETCH * distance[rows, first][:, None])
    second = np.where(square, distance, np.inf).argmin(1)
    keep = np.flatnonzero(alike[rows, first] & square[rows, second])
    u, v = step[keep, first[keep]], step[keep, second[keep]]
    gap, fourth = tree.query(fields.centres[keep] + u + v)
    size = np.minimum(np.linalg.norm(u, axis=1), np.linalg.norm(v, axis=1))
    ratio = fields.areas[fourth] / fields.areas[keep]
    whole = (gap < _MOST_GAP * size) & (ratio < _MAX_AREA_RATIO) & (ratio > 1 / _MAX_AREA_RATIO)
    keep, u, v = keep[whole], u[whole], v[whole]
    flip = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0] < 0
    u[flip], v[flip] = v[flip], u[flip].copy()
    return keep, u, v


def _grow(fields: Fields, tree: cKDTree, seed: int, u: Floats, v: Floats, enough: int) -> dict[tuple[int, int], int]:
    """From one field outwards, ring by ring; the steps follow the perspective as they go."""
    cells = {(0, 0): seed}
    taken = {seed}
    ring = [((0, 0), u, v)]
    while ring:
        # A ring is asked for at once: that is faster than its fields one after another, and gives the same.
        heres = np.array([cells[cell] for cell, _, _ in ring])
        across, down = np.array([u for _, u, _ in ring]), np.array([v for _, _, v in ring])
        reaches = 0.25 * np.minimum(np.hypot(*across.T), np.hypot(*down.T))
        targets = fields.centres[heres][:, None] + np.stack([across, -across, down, -down], axis=1)
        gaps, nearest = map(np.asarray, tree.query(targets))
        alike = fields.areas[nearest] / fields.areas[heres][:, None]
        good = (gaps <= reaches[:, None]) & (alike > 1 / _MAX_AREA_RATIO) & (alike < _MAX_AREA_RATIO)
        following = []
        for ((column, row), u, v), here, goods, near in zip(
            ring, heres.tolist(), good.tolist(), nearest.tolist(), strict=True
        ):
            if len(cells) >= enough:
                return cells
            for (dc, dr), right, field in zip(_WAYS, goods, near, strict=True):
                cell = (column + dc, row + dr)
                if not right or cell in cells or field in taken:
                    continue
                step = (fields.centres[field] - fields.centres[here]) * (dc + dr)
                cells[cell] = field
                taken.add(field)
                following.append((cell, (u + step) / 2 if dc else u, (v + step) / 2 if dr else v))
        ring = following
    return cells


def _fitted(cells: Ints, centres: Floats, min_cells: int) -> Lattice | None:
    """The lattice with its homography, without fields off their place by more than a fifth of a step."""
    spans = np.ptp(cells, axis=0) + 1
    if spans.min() < 2:
        return None
    affine, *_ = np.linalg.lstsq(np.column_stack([cells, np.ones(len(cells))]), centres, rcond=None)
    to_picture = np.vstack([affine.T, [0, 0, 1]])
    tolerance = _MOST_OFF * float(np.linalg.norm(affine[:2], axis=1).min())
    inside = np.ones(len(cells), bool)
    # Perspective needs three columns and rows; fewer fix an affine map only.
    if spans.min() >= 3:
        fitted, mask = cv2.findHomography(cells.astype(float), centres, cv2.RANSAC, max(tolerance, 0.7))
        if fitted is None:
            return None
        to_picture, inside = np.asarray(fitted), mask.ravel().astype(bool)
    if inside.sum() < min_cells:
        return None
    return Lattice(cells[inside], centres[inside], to_picture)
