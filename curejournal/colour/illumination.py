"""Uneven light across a card, from places that are the same white, or from what its colours leave unexplained."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

_SLOPE_SD = 0.5
"""Ours: prior sd of the logarithm of light from the middle to the edge of a card; a lamp 60 cm off: 0.3."""
_BEND_SD = 0.15
"""Ours: the same for curvature, which needs a lamp nearer than anyone photographs."""
_TINT_SLOPE_SD, _TINT_BEND_SD = 0.1, 0.01
"""Ours: the same for how the channels differ: between two lights the colour changes from one side to the other, and
hardly bends. Without, whites in 8 bits bent it: pictures without noise, light a fifth uneven, were off by 3 in b*."""
_NOISE_SD = 0.015
"""Ours: sd of the logarithm of one white place (print, JPEG, lens): real whites scatter by 1 to 2%."""
_APART = np.linalg.svd(np.ones((1, 3)))[2].T
"""(3, 3): what the channels have in common, and two ways in which they differ."""
_PRECISIONS = np.array(
    [
        np.diag(np.array([10.0, slope, slope, bend, bend, bend]) ** -2.0)
        for slope, bend in ((_SLOPE_SD, _BEND_SD), *[(_TINT_SLOPE_SD, _TINT_BEND_SD)] * 2)
    ]
)

_SURE_SLOPE, _FEWEST_FOR_SLOPE = (6.0, 3.5, 3.5), 12
"""Ours, for L*, a*, b*: slopes across 18 real charts in even light are at most 4.8 and 2.7 standard errors, across
drawn ones half in shadow 6 and more, in two lights 4 and more. With fewer patches the errors are not known."""


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


def fit_shading(xy_mm: ArrayLike, linear_rgb: ArrayLike, reach_mm: float) -> Shading:
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
    reach_mm : float
        How far from the whites' middle light is asked for, about half the card: the prior is of changes over this
        distance, so that whites around a window alone do not bend the light at the card's edge.

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
    terms = np.column_stack([np.ones(len(xy)), _terms((xy - centre) / reach_mm)])
    weight = np.ones(len(xy))
    for _ in range(8):
        weighted = terms * (weight / _NOISE_SD**2)[:, None]
        wanted = (weighted.T @ logs @ _APART).T[..., None]
        coefficients = (_APART @ np.linalg.solve(weighted.T @ terms + _PRECISIONS, wanted)[..., 0]).T
        residual = logs - terms @ coefficients
        # Cauchy weights: beyond 3 noise sd a place hardly counts.
        weight = 1.0 / (1.0 + (np.abs(residual).max(axis=1) / (3.0 * _NOISE_SD)) ** 2)
    surface = terms[:, 1:] @ coefficients[1:]
    spread = float(np.exp(np.ptp(surface, axis=0).max()))
    return Shading(spread, float(np.sqrt((weight[:, None] * residual**2).mean())), centre, reach_mm, coefficients[1:])


def slope_of_light(places: ArrayLike, off: ArrayLike, lightness: ArrayLike) -> tuple[float, float]:
    """How far light changes across a card, told by its colours; (1, 0) where their own ageing might do as much.

    Parameters
    ----------
    places : array_like of shape (N, 2)
        Of the patches, in card widths and heights.
    off : array_like of shape (N, 3)
        What even light would leave unexplained of each, in Lab.
    lightness : array_like of shape (N,)
        Their true L*.

    Returns
    -------
    brightness : float
        The ratio of light from edge to edge.
    tint : float
        The change of a*, b* from edge to edge.

    """
    off, places = np.array(off, dtype=float), np.asarray(places, dtype=float)
    if len(off) < _FEWEST_FOR_SLOPE:
        return 1.0, 0.0
    off[:, 0] *= 3.0 / (np.asarray(lightness, dtype=float) + 16.0)  # of L* to that of the logarithm of light (CIE 15)
    design = np.column_stack([np.ones(len(places)), places])
    slopes = np.linalg.lstsq(design, off)[0]
    left = np.sqrt(np.square(off - design @ slopes).sum(axis=0) / (len(off) - 3))
    errors = np.sqrt(np.diag(np.linalg.inv(design.T @ design)))[1:, None] * left
    brightness, *tint = np.where((np.abs(slopes[1:]) > errors * _SURE_SLOPE).any(axis=0), slopes[1:], 0.0).T
    return float(np.exp(np.linalg.norm(brightness))), float(np.linalg.norm(tint))
