"""Where the soap may be in a photo without a card: a place to propose, for the maker to confirm or to move."""

from __future__ import annotations

import cv2
import numpy as np

from curejournal.colour.sample import Lab
from curejournal.colour.spaces import lab_from_linear, linear_from_lab, linear_from_srgb
from curejournal.documents.true_colour import DARKEST_L, GAINS, Pixels

BLOCKS_ACROSS, WINDOW = 32, 3
"""The photo is looked at in so many blocks on its longer side; a place is a square of the others' many. Ours."""
MOST_CAST = 1.8
"""How far red or blue may be off against green after the camera's own white balance. Ours."""
MOST_UNEVEN = 0.12
"""Spread of light between the blocks of a place, as a part of it: more is an edge or a shadow. Ours."""
FARTHEST = 22.0
"""Distance in a*, b* from the portion's colour, at its lightness, beyond which nothing is proposed. Ours."""
DISTINCT = 12.0
"""Distance in Lab from what lies at the picture's edges, from which on a place counts as something else. Ours."""

Outline = tuple[tuple[float, float], ...]


def propose_place(picture: Pixels, lab: Lab, scale: float = 1.0) -> Outline | None:
    """Find the place that looks most like a portion: evenly lit, of its hue, rather in the middle.

    Parameters
    ----------
    picture : ndarray of shape (H, W, 3), uint8
        sRGB, upright; the original is `scale` times as large.
    lab : (L*, a*, b*)
        The portion's colour of that day, CIELAB D50/2.
    scale : float

    Returns
    -------
    tuple of (x, y) or None
        A square's corners in pixels of the original; None where nothing is like it.
    """
    if lab[0] < DARKEST_L:
        return None
    step = max(max(picture.shape[:2]) // BLOCKS_ACROSS, 1)
    rows, columns = picture.shape[0] // step, picture.shape[1] // step
    if min(rows, columns) < WINDOW:
        return None
    light = linear_from_srgb(picture[: rows * step, : columns * step] / 255.0).astype(np.float32)
    mean = np.asarray(cv2.resize(light, (columns, rows), interpolation=cv2.INTER_AREA), float)
    inside = np.lib.stride_tricks.sliding_window_view(mean, (WINDOW, WINDOW), axis=(0, 1))
    found = inside.mean(axis=(-2, -1))
    uneven = inside[..., 1, :, :].std(axis=(-2, -1)) / np.maximum(found[..., 1], 1e-3)
    wanted = linear_from_lab(lab)
    gains = wanted / np.maximum(found, 1e-3)
    cast = np.exp(np.abs(np.log(np.maximum(gains[..., [0, 2]], 1e-6) / gains[..., 1:2])).max(axis=-1))
    alike = lab_from_linear(np.clip(found * gains[..., 1:2], 0, 4))
    away = np.hypot(alike[..., 1] - lab[1], alike[..., 2] - lab[2])
    y, x = np.mgrid[: found.shape[0], : found.shape[1]]
    off = np.hypot((x + WINDOW / 2) / columns - 0.5, (y + WINDOW / 2) / rows - 0.55)
    possible = (gains >= GAINS[0]).all(axis=-1) & (gains <= GAINS[1]).all(axis=-1)
    possible &= (cast <= MOST_CAST) & (uneven <= MOST_UNEVEN) & (away <= FARTHEST)
    if not possible.any():
        return None
    # What lies at the picture's edges is rarely the soap: table, wall, cloth.
    seen = lab_from_linear(np.clip(mean, 0, 1))
    edge = np.concatenate([seen[0], seen[-1], seen[:, 0], seen[:, -1]])
    here = lab_from_linear(np.clip(found, 0, 1))
    apart = np.linalg.norm(here[..., None, :] - edge, axis=-1)
    like_edge = np.maximum(DISTINCT - np.quantile(apart, 0.05, axis=-1), 0)
    dark = np.maximum(np.log2(gains[..., 1]), 0)
    cost = away + 100 * uneven + 30 * off + 30 * np.log(cast) + 2 * like_edge + 6 * dark
    cost = np.where(possible, cost, np.inf)
    row, column = np.unravel_index(int(cost.argmin()), cost.shape)
    left, top, side = column * step * scale, row * step * scale, WINDOW * step * scale
    return (left, top), (left + side, top), (left + side, top + side), (left, top + side)
