"""The colours that a surface can have: what reflects no more light than falls on it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

_LIGHTNESS = np.array([0, 5, 10, 20, 30, 40, 50, 60, 70, 80, 85, 90, 92.5, 95, 97.5, 100], dtype=float)
_HUE_STEP = 15.0
# fmt: off
_MOST_CHROMA = np.array(
    [
        (24, 23, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0,
         0, 0, 0, 0, 18, 21, 27, 39, 80, 152, 46, 29),
        (46, 45, 34, 0, 0, 0, 0, 0, 0, 0, 0, 32,
         26, 33, 30, 28, 36, 37, 43, 60, 103, 180, 88, 54),
        (60, 60, 61, 29, 25, 24, 25, 27, 32, 42, 51, 63,
         62, 62, 53, 51, 50, 50, 62, 81, 138, 182, 112, 69),
        (76, 75, 83, 67, 49, 46, 38, 41, 49, 62, 92, 106,
         104, 94, 73, 64, 63, 67, 78, 108, 162, 177, 133, 91),
        (89, 89, 102, 100, 74, 64, 61, 60, 72, 86, 111, 142,
         143, 120, 89, 78, 75, 80, 94, 122, 153, 162, 145, 106),
        (99, 97, 111, 117, 96, 82, 78, 82, 91, 113, 138, 163,
         164, 123, 98, 85, 82, 89, 102, 119, 135, 151, 146, 115),
        (101, 99, 112, 129, 120, 100, 94, 99, 112, 133, 154, 166,
         165, 129, 103, 91, 87, 91, 95, 101, 115, 141, 142, 119),
        (100, 98, 111, 134, 136, 119, 112, 117, 130, 145, 161, 165,
         161, 125, 104, 92, 87, 83, 78, 83, 93, 123, 130, 118),
        (94, 88, 99, 125, 141, 139, 128, 132, 140, 152, 161, 162,
         147, 120, 101, 91, 73, 64, 61, 63, 75, 96, 113, 107),
        (77, 73, 79, 97, 142, 145, 139, 137, 143, 151, 154, 150,
         128, 108, 94, 69, 53, 46, 43, 45, 54, 69, 89, 88),
        (59, 57, 60, 75, 107, 147, 146, 139, 142, 144, 142, 128,
         110, 91, 78, 49, 38, 32, 30, 32, 38, 48, 67, 67),
        (45, 44, 47, 55, 70, 147, 147, 139, 137, 136, 124, 106,
         87, 75, 56, 34, 27, 22, 22, 23, 27, 34, 49, 51),
        (34, 34, 34, 40, 53, 107, 146, 138, 131, 121, 99, 81,
         67, 61, 39, 24, 18, 16, 16, 16, 19, 24, 36, 37),
        (26, 25, 27, 30, 38, 67, 142, 136, 122, 103, 78, 63,
         52, 46, 29, 17, 13, 12, 11, 13, 13, 18, 25, 28),
        (17, 17, 17, 19, 25, 37, 134, 129, 105, 72, 51, 41,
         34, 30, 17, 11, 8, 7, 7, 7, 8, 11, 16, 17),
        (7, 7, 7, 8, 11, 15, 43, 109, 69, 35, 23, 17,
         14, 13, 6, 5, 3, 3, 3, 3, 3, 5, 6, 7),
    ],
    dtype=float,
)
# fmt: on
"""The most chroma of a surface by D50 for the 2 degree observer, half a step around each of `_LIGHTNESS` (rows) and
hue, every 15 degrees from 0 (columns). These are the optimal colours of Roesch (1929) and MacAdam (1935), which reflect
all light in one band of wavelengths, or all but one, and none elsewhere; from CIE 015:2018's observer and D50."""


def most_chroma(lightness: ArrayLike, hue_deg: ArrayLike) -> Array:
    """Look up how much chroma a surface of a lightness and hue can have at most.

    Parameters
    ----------
    lightness : array_like of shape (...,)
        L*, D50.
    hue_deg : array_like of shape (...,)
        Hue angle in degrees.

    Returns
    -------
    ndarray of shape (...,)
        The largest of the table's places around: never too little, where the solid has an edge up to half too much.
    """
    lightness, hue = np.asarray(lightness, dtype=float), np.asarray(hue_deg, dtype=float) % 360.0
    row = np.clip(np.searchsorted(_LIGHTNESS, lightness, side="right") - 1, 0, len(_LIGHTNESS) - 2)
    column = np.floor(hue / _HUE_STEP).astype(int) % _MOST_CHROMA.shape[1]
    after = (column + 1) % _MOST_CHROMA.shape[1]
    corners = [_MOST_CHROMA[r, c] for r in (row, row + 1) for c in (column, after)]
    return np.asarray(np.max(corners, axis=0))


def held_to_surfaces(lab: ArrayLike) -> Array:
    """Move colours that no surface has to the nearest lightness and chroma that one can have.

    Parameters
    ----------
    lab : array_like of shape (..., 3)
        CIELAB D50.

    Returns
    -------
    ndarray of shape (..., 3)
        The same colour where a surface may have it.
    """
    lab = np.asarray(lab, dtype=float)
    lightness = np.clip(lab[..., 0], 0.0, 100.0)
    chroma = np.hypot(lab[..., 1], lab[..., 2])
    most = most_chroma(lightness, np.degrees(np.arctan2(lab[..., 2], lab[..., 1])))
    factor = np.minimum(1.0, most / np.maximum(chroma, 1e-9))
    return np.stack([lightness, lab[..., 1] * factor, lab[..., 2] * factor], axis=-1)
