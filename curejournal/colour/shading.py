"""Uneven light across a card, from places that are the same white."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

_SLOPE_SD = 0.5
"""Ours: prior sd of the logarithm of light from the middle to the edge of a card; a lamp 60 cm off: 0.3."""
_BEND_SD = 0.15
"""Ours: the same for curvature, which needs a lamp nearer than anyone photographs."""
_NOISE_SD = 0.015
"""Ours: sd of the logarithm of one white place (print, JPEG, lens): real whites scatter by 1 to 2%."""


@dataclass(frozen=True)
class Shading:
    """Light across a card relative to its mean over the white places: one log-surface per channel.

    `spread` is the largest ratio of light between two of the white places, of the worst channel;
    `residual` the relative scatter of the whites about the surface.
    """

    spread: float
    residual: float
    _centre: Array = field(repr=False)
    _scale: float = field(repr=False)
    _coefficients: Array = field(repr=False)

    def gain(self, xy_mm: ArrayLike) -> Array:
        """What linear RGB at places (..., 2) in card mm is to be divided by: (..., 3), mean light 1."""
        xy = np.asarray(xy_mm, dtype=float)
        terms = _terms((xy.reshape(-1, 2) - self._centre) / self._scale)
        return np.exp(self._coefficients.T @ terms.T).T.reshape(*xy.shape[:-1], 3)  # channel by channel in memory


def _terms(places: Array) -> Array:
    x, y = places[:, 0], places[:, 1]
    return np.stack([x, y, x * x, x * y, y * y]).T


def fit_shading(xy_mm: ArrayLike, linear_rgb: ArrayLike) -> Shading:
    """Fit a low-order surface to the logarithm of light on places of one white.

    A ridge (prior) keeps it safe: with one place the light is taken as even, with few or
    clustered places only what they prove is divided out, and a place off the surface
    (stain, glare) loses its weight.

    Parameters
    ----------
    xy_mm : array_like of shape (K, 2)
        Places in card millimetres.
    linear_rgb : array_like of shape (K, 3)
        Linear light there; places with a channel at or below 0 or not finite are left out.

    Returns
    -------
    Shading

    """
    xy, light = (
        np.asarray(xy_mm, dtype=float).reshape(-1, 2),
        np.asarray(linear_rgb, dtype=float).reshape(-1, 3),
    )
    good = np.isfinite(light).all(axis=1) & (light > 0).all(axis=1)
    xy, logs = xy[good], np.log(light[good])
    if len(xy) < 2:
        return Shading(1.0, 0.0, np.zeros(2), 1.0, np.zeros((5, 3)))
    centre = xy.mean(axis=0)
    scale = max(float(np.abs(xy - centre).max()), 1e-9)
    terms = np.column_stack([np.ones(len(xy)), _terms((xy - centre) / scale)])
    prior = np.array([10.0, _SLOPE_SD, _SLOPE_SD, _BEND_SD, _BEND_SD, _BEND_SD]) ** -2.0
    weight = np.ones(len(xy))
    for _ in range(8):
        weighted = terms * (weight / _NOISE_SD**2)[:, None]
        coefficients = np.linalg.solve(weighted.T @ terms + np.diag(prior), weighted.T @ logs)
        residual = logs - terms @ coefficients
        # Cauchy weights: beyond 3 noise sd a place hardly counts.
        weight = 1.0 / (1.0 + (np.abs(residual).max(axis=1) / (3.0 * _NOISE_SD)) ** 2)
    surface = terms[:, 1:] @ coefficients[1:]
    spread = float(np.exp(np.ptp(surface, axis=0).max()))
    return Shading(spread, float(np.sqrt((weight[:, None] * residual**2).mean())), centre, scale, coefficients[1:])
