"""What cameras usually leave unexplained: learned from published spectra, not from photographs.

Written by `python -m tests.benchmarks.camera_prior`, which draws many cameras (published sensitivities,
and ones that differ from them as models do), lights, tone curves and reflectances, and fits to
all of them one cubic function of colour.
"""

from __future__ import annotations

from itertools import combinations_with_replacement

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_FACTORS = np.array(list(combinations_with_replacement(range(4), 3))).T
"""The 20 products of three of (1, L, a, b): every term up to the cubic ones."""

_COEFFICIENTS = np.array(
    [
        [-1.94, -0.3, 0.19],
        [1.06, -0.26, 1.29],
        [-1.63, -0.83, -2.33],
        [-1.03, 2.06, -3.45],
        [2.27, -0.14, -1.0],
        [-0.56, 0.65, -0.21],
        [-0.87, 1.12, 6.99],
        [0.09, -0.37, 1.16],
        [-1.05, -0.18, 2.85],
        [2.15, 0.79, -5.22],
        [-0.36, -0.12, -1.29],
        [0.01, -1.39, 0.24],
        [-1.42, -1.32, 1.7],
        [-0.17, 1.46, -1.0],
        [-0.49, -0.14, 0.87],
        [-2.29, -1.16, 7.56],
        [-0.07, -2.23, 0.86],
        [-0.03, 1.96, -2.41],
        [-0.33, 0.65, 0.21],
        [1.13, -0.59, -6.82],
    ]
)


def usual_rest(even_lab: Array) -> Array:
    """The usual difference of true colours from those by the camera alone; both (N, 3) even Lab."""
    return np.asarray(polynomial(even_lab) @ _COEFFICIENTS)


def polynomial(even_lab: Array) -> Array:
    """The terms (N, 20) of colours (N, 3), from mid grey in units of 50.

    Held at the edge of real colours, beyond which a cubic would run away.
    """
    centred = (even_lab - (50.0, 0.0, 0.0)) / 50.0
    chroma = np.hypot(centred[:, 1], centred[:, 2])
    centred[:, 1:] *= (np.minimum(chroma, 1.3) / np.maximum(chroma, 1e-6))[:, None]
    centred[:, 0] = np.clip(centred[:, 0], -1.0, 1.0)
    factors = np.column_stack([np.ones(len(centred)), centred])
    return np.asarray(factors[:, _FACTORS].prod(axis=1))
