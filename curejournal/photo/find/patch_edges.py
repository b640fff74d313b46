"""Refit a lattice to the picture of its patches, and see which of them have their rims in place.

The lattice laid flat is compared with how it should look: patches in the colours seen in their middles, on the
ground seen between them. The homography that makes the two agree best is right to a few hundredths of a patch,
whatever the share of the step that a patch fills and whether the ground is dark or light.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from curejournal.photo.find.lattice import Floats, Ints, Picture

FLAT_STEP_PX = 32
"""Resolution of the lattice laid flat, in px a step: a tenth of a px there is 0.3% of a step. Ours."""

# Ground kept around the outer patches, in px.
_MARGIN_PX = FLAT_STEP_PX // 4
_TO_FLAT = np.array([[FLAT_STEP_PX, 0, 23.5], [0, FLAT_STEP_PX, 23.5], [0, 0, 1]])
# Half widths of a patch, in px: charts in use have patches of 0.68 to 0.88 of a step.
_HALF_WIDTHS_PX = (10, 15)
# Length of a profile to either side of a patch's middle, in px: just beyond the rim of the next patch.
_REACH_PX = 20
_UNTIL = cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS
# Blur of the compared pictures, in px, round by round: wide to catch a lattice laid loosely, then narrow; and the
# iterations and the gain in correlation that end the round. Ours.
_ROUNDS = ((9, (_UNTIL, 12, 3e-4)), (3, (_UNTIL, 30, 1e-5)))
# A fit that shrinks the lattice to less than this share of its area has lost it. Ours.
_LEAST_SCALE = 0.25
# A rim is in place within this many px. It counts if it is this strong over the median patch's weakest rim, and
# more than noise in 8-bit steps.
_IN_PLACE_PX, _RELATIVE_STRENGTH, _LEAST_STRENGTH = 2.5, 0.25, 2.0

_FloatPicture = NDArray[np.float32]


@dataclass(frozen=True)
class Refit:
    """The homography from cells to px, fitted; `on_rims` (n,): the patch's four rims lie on it."""

    to_view: Floats
    on_rims: NDArray[np.bool_]


def refit(view: Picture, to_view: Floats, cells: Ints) -> Refit | None:
    """Fit a lattice's homography to a picture of its patches, or None if they do not agree.

    Parameters
    ----------
    view : ndarray, shape (H, W, 3), uint8
        A picture in which a step is not much larger than `FLAT_STEP_PX`.
    to_view : ndarray, shape (3, 3)
        First guess, from cells to px, good to a sixth of a step.
    cells : ndarray of int, shape (n, 2)
        Column and row of each patch, from 0.

    Returns
    -------
    Refit or None
    """
    for blur, until in _ROUNDS:
        flat = _laid_flat(view, to_view, cells)
        expected, where, contrast = _expected(flat, cells, _half_width_px(_profiles(flat, cells)))
        still = np.eye(3, dtype=np.float32)
        try:
            _, moved = cv2.findTransformECC(
                expected @ contrast, flat @ contrast, still, cv2.MOTION_HOMOGRAPHY, until, where, blur
            )
        except cv2.error:  # The two have nothing in common.
            return None
        if not np.isfinite(moved).all() or abs(np.linalg.det(moved)) < _LEAST_SCALE:
            return None
        to_view = to_view @ np.linalg.inv(_TO_FLAT) @ np.asarray(moved, dtype=float) @ _TO_FLAT
    return Refit(to_view, _on_rims(_profiles(_laid_flat(view, to_view, cells), cells)))


def _laid_flat(view: Picture, to_view: Floats, cells: Ints) -> _FloatPicture:
    """The lattice laid flat (H, W, 3), `FLAT_STEP_PX` px a step, with its margin."""
    width, height = (cells.max(0) + 1) * FLAT_STEP_PX + 2 * _MARGIN_PX
    flat = cv2.warpPerspective(view, _TO_FLAT @ np.linalg.inv(to_view), (int(width), int(height)))
    return np.asarray(flat, dtype=np.float32)


def _expected(flat: _FloatPicture, cells: Ints, half_width: int) -> tuple[_FloatPicture, Picture, _FloatPicture]:
    """How a flat lattice should look, where that is known, and the direction (3,) of most contrast."""
    corner = _MARGIN_PX + cells * FLAT_STEP_PX
    middle = corner + FLAT_STEP_PX // 2
    colours = np.array([flat[y - 6 : y + 6, x - 6 : x + 6].mean((0, 1)) for x, y in middle])
    ground = np.median([flat[y - 1 : y + 1, x - 1 : x + 1].mean((0, 1)) for x, y in corner], axis=0)
    expected = np.full_like(flat, ground)
    where = np.zeros(flat.shape[:2], np.uint8)
    for colour, (x, y), (left, top) in zip(colours, middle, corner, strict=True):
        expected[y - half_width : y + half_width, x - half_width : x + half_width] = colour
        where[top : top + FLAT_STEP_PX, left : left + FLAT_STEP_PX] = 255
    contrast = np.linalg.svd(colours - ground, full_matrices=False)[2][0]
    return expected, where, contrast.astype(np.float32)


def _profiles(flat: _FloatPicture, cells: Ints) -> Floats:
    """Strength of colour change across each patch, from its middle both ways, along its two axes: (n, 2, span)."""
    profiles = np.empty((len(cells), 2, 2 * _REACH_PX + 1))
    band, span = slice(-8, 8), slice(-_REACH_PX - 1, _REACH_PX + 1)
    for number, (x, y) in enumerate(_MARGIN_PX + cells * FLAT_STEP_PX + FLAT_STEP_PX // 2):
        across = flat[y + band.start : y + band.stop, x + span.start : x + span.stop].mean(0)
        down = flat[y + span.start : y + span.stop, x + band.start : x + band.stop].mean(1)
        profiles[number] = np.linalg.norm(np.diff([across, down], axis=1), axis=-1)
    return profiles


def _half_width_px(profiles: Floats) -> int:
    """Half the width of a patch, from where the rims of all patches together are strongest."""
    mean = (profiles / np.maximum(profiles.max(-1, keepdims=True), 1e-9)).mean((0, 1))
    folded = (mean + mean[::-1])[_REACH_PX:]
    least, most = _HALF_WIDTHS_PX
    return least + int(folded[least : most + 1].argmax())


def _on_rims(profiles: Floats) -> NDArray[np.bool_]:
    """Which patches have all four rims where their common half width puts them."""
    place = np.arange(-_REACH_PX, _REACH_PX + 1)
    half_width = _half_width_px(profiles)
    near = [np.where(np.abs(place - side) <= _IN_PLACE_PX, profiles, 0).max(-1) for side in (-half_width, half_width)]
    weakest = np.minimum(*near).min(1)
    return np.asarray(weakest > max(_RELATIVE_STRENGTH * float(np.median(weakest)), _LEAST_STRENGTH))
