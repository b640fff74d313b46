"""Refit a lattice to the rims of its patches.

A patch's middle lies halfway between its opposite rims, whatever the share of the step that the patch fills,
and whether the ground between patches is dark or light. So the lattice is known to a small part of a patch.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from curejournal.photo.lattice import Floats, Ints, Picture, project

FLAT_STEP_PX = 32
"""Resolution of the lattice laid flat, in px a step: a tenth of a px there is 0.3% of a step. Ours."""

# Length of a profile across a patch: 0.64 of a step either way, just beyond the rim of the next patch.
_SPAN = 41
# Half widths of a patch over the step: charts in use have patches of 0.68 to 0.88 of a step.
_HALF_WIDTHS = (0.30, 0.46)
# How far from its place a rim is looked for, in steps, round by round.
_REACHES = (0.16, 0.10, 0.08)
# A rim counts if it is this strong over the median patch's weakest rim, and more than noise in 8-bit steps.
_RELATIVE_STRENGTH, _LEAST_STRENGTH = 0.25, 2.0


@dataclass(frozen=True)
class Refit:
    """The homography from cells to px, fitted to the rims; `on_rims` (n,): the patch's four rims lie on it."""

    to_view: Floats
    on_rims: NDArray[np.bool_]


def refit(view: Picture, to_view: Floats, cells: Ints, min_patches: int) -> Refit | None:
    """Fit a lattice's homography to the rims of its patches; None if fewer than `min_patches` show any.

    Parameters
    ----------
    view : ndarray, shape (H, W, 3), uint8
        A picture in which a step is not much larger than `FLAT_STEP_PX`.
    to_view : ndarray, shape (3, 3)
        First guess, from cells to px, good to a sixth of a step.
    cells : ndarray of int, shape (n, 2)
        Column and row of each patch, from 0.
    min_patches : int
        At least four.

    Returns
    -------
    Refit or None
    """
    on_rims = np.zeros(len(cells), bool)
    for reach in _REACHES:
        profiles = _profiles(_laid_flat(view, to_view, cells), cells)
        off, sure = _off_centre(profiles, _half_width(profiles), reach)
        if sure.sum() < min_patches:
            return None
        on_rims = sure & (np.abs(off).max(1) < 0.75 * _REACHES[-1])
        to_view = _least_squares(cells[sure].astype(float), project(to_view, cells + off)[sure])
    return Refit(to_view, on_rims)


def _laid_flat(view: Picture, to_view: Floats, cells: Ints) -> Picture:
    """The lattice laid flat, `FLAT_STEP_PX` px a step, its first cell centred at 3/4 of a step."""
    columns, rows = cells.max(0) + 1.5
    flat = np.array([[FLAT_STEP_PX, 0, 0.75 * FLAT_STEP_PX], [0, FLAT_STEP_PX, 0.75 * FLAT_STEP_PX], [0, 0, 1]])
    size = (round(columns * FLAT_STEP_PX), round(rows * FLAT_STEP_PX))
    return np.asarray(cv2.warpPerspective(view, flat @ np.linalg.inv(to_view), size), dtype=np.uint8)


def _profiles(flat: Picture, cells: Ints) -> Floats:
    """Strength of colour change along each patch's two axes, from its middle both ways: (n, 2, span)."""
    image = flat.astype(np.float32)
    half, band = _SPAN // 2, FLAT_STEP_PX // 4
    profiles = np.empty((len(cells), 2, _SPAN))
    for number, (x, y) in enumerate(np.rint((cells + 0.75) * FLAT_STEP_PX).astype(int)):
        across = image[y - band : y + band + 1, x - half - 1 : x + half + 2].mean(0)
        down = image[y - half - 1 : y + half + 2, x - band : x + band + 1].mean(1)
        for axis, line in enumerate((across, down)):
            profiles[number, axis] = np.linalg.norm(line[2:] - line[:-2], axis=1)
    return profiles


def _half_width(profiles: Floats) -> float:
    """Half the width of a patch in steps, from where the rims of all patches together are strongest."""
    mean = (profiles / np.maximum(profiles.max(-1, keepdims=True), 1e-9)).mean((0, 1))
    folded = (mean + mean[::-1])[_SPAN // 2 :]
    place = np.arange(len(folded)) / FLAT_STEP_PX
    return float(place[np.where((place >= _HALF_WIDTHS[0]) & (place <= _HALF_WIDTHS[1]), folded, 0).argmax()])


def _off_centre(profiles: Floats, half_width: float, reach: float) -> tuple[Floats, NDArray[np.bool_]]:
    """How far each patch's rims say its middle is off, (n, 2) in steps, and whether all four are sure (n,)."""
    place = (np.arange(_SPAN) - _SPAN // 2) / FLAT_STEP_PX
    rims, strengths = [], []
    for side in (-1, 1):
        near = np.where(np.abs(place - side * half_width) <= reach, profiles, 0)
        peak = place[near.argmax(-1)]
        # The centroid around the peak is finer than a px.
        weight = np.where(np.abs(place - peak[..., None]) <= _REACHES[-1], near, 0) ** 2
        rims.append((weight * place).sum(-1) / np.maximum(weight.sum(-1), 1e-9))
        strengths.append(near.max(-1))
    weakest = np.minimum(*strengths).min(1)
    sure = (weakest > _RELATIVE_STRENGTH * np.median(weakest)) & (weakest > _LEAST_STRENGTH)
    return (rims[0] + rims[1]) / 2, sure


def _least_squares(cells: Floats, seen: Floats) -> Floats:
    """The homography from cells to what was seen, without the worst misplaced but never from a few alone."""
    keep = np.ones(len(cells), bool)
    for _ in range(3):
        fitted = np.asarray(cv2.findHomography(cells[keep], seen[keep], 0)[0], dtype=float)
        error = np.linalg.norm(project(fitted, cells) - seen, axis=1)
        keep = error <= max(3 * float(np.median(error)), 1e-6)
    return fitted
