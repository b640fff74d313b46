"""Fit a portion's colours so that a reading off the curve, a bad photo say, counts for less."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from curejournal.colour.sample import Lab
from curejournal.judging.colour_models import AIMED_MODELS, FREE_MODELS
from curejournal.judging.curves import Array, Curves, Grids, normal_points

OUTLIER_CHI2 = 16.27
"""99.9% point of chi-squared with three degrees of freedom: a reading beyond it is questioned."""
SOFT_CHI2 = 11.34
"""99% point: beyond it a reading's weight falls in inverse proportion (Huber 1964)."""


@dataclass(frozen=True)
class Fitted:
    """Curves about an origin, the weight of each moment, and its squared distance in standard deviations.

    `shared` (draws, 1, 3) is the error that each draw takes all readings to share.
    """

    curves: Curves
    origin: Array
    shared: Array
    weights: Array
    chi2: Array

    @property
    def outliers(self) -> NDArray[np.bool_]:
        """Which moments lie off the curve: shape (n,)."""
        return np.asarray(self.chi2 > OUTLIER_CHI2)

    def at(self, days: Array) -> Array:
        """Lab of every draw at the given days: shape (draws, n, 3)."""
        return self.curves.at(days) + self.origin + self.shared


def _grids(days: Array, labs: Array, precision: Array, target_lab: Lab | None) -> tuple[Grids, Array]:
    """Every curve, about an origin."""
    models = FREE_MODELS if target_lab is None else (*FREE_MODELS, *AIMED_MODELS)
    origin = labs.mean(axis=0) if target_lab is None else np.array(target_lab)
    return Grids(models, days, labs - origin, precision), origin


def fit_robustly(
    days: Array, labs: Array, covariances: Array, target_lab: Lab | None, target_sd: float, believed: Array
) -> Fitted:
    """Fit all models together; readings beyond `SOFT_CHI2` are weighed down, again and again until it rests.

    Parameters
    ----------
    days : ndarray of shape (n,)
        Days since the pour.
    labs : ndarray of shape (n, 3)
        CIELAB D50/2 of each moment.
    covariances : ndarray of shape (n, 3, 3)
        Of each moment.
    target_lab : Lab or None
        With it the models that end at this colour are tried too.
    target_sd : float
        What all readings together may be off against the target colour, in each Lab coordinate.
    believed : ndarray of shape (n,)
        The weight that each moment has beforehand, at most 1.

    Returns
    -------
    Fitted

    """
    precision: Array = np.linalg.inv(covariances).astype(np.float64)
    weights = believed

    def off(grids: Grids, origin: Array) -> Array:
        rest = labs - origin - grids.at_readings()
        return np.asarray(np.einsum("ni,nij,nj->n", rest, precision, rest))

    for _ in range(4):
        grids, origin = _grids(days, labs, precision * weights[:, None, None], target_lab)
        # Of four readings or fewer any may be the odd one, so none is weighed down.
        if len(days) <= 4:
            break
        wanted = believed * np.minimum(1.0, SOFT_CHI2 / np.maximum(off(grids, origin), 1e-9))
        if np.allclose(wanted, weights, atol=0.05):
            break
        weights = wanted
    curves = grids.zoom().curves()
    # Amplitudes take the first nine dimensions of these points, so that the last three have nothing to do with them.
    shared = target_sd * normal_points(len(curves.at(days[:1])), 12)[:, None, 9:]
    return Fitted(curves, origin, shared, weights, off(grids, origin))


def unexpected(days: Array, labs: Array, covariances: Array, weights: Array, target_lab: Lab | None) -> bool:
    """Whether the last moment lies beyond what those before it predict: a new change, or a bad photo.

    Parameters
    ----------
    days : ndarray of shape (n,)
        Days since the pour.
    labs : ndarray of shape (n, 3)
        CIELAB D50/2 of each moment.
    covariances : ndarray of shape (n, 3, 3)
        Of each moment, in Lab units squared.
    weights : ndarray of shape (n,)
        How much each moment counts, from 0 to 1.
    target_lab : Lab or None
        The colour that it should have, CIELAB D50/2.

    Returns
    -------
    bool
    """
    if len(days) < 4 or _as_before(labs[-2:], covariances[-2:]):
        return False
    precision: Array = weights[:-1, None, None] * np.linalg.inv(covariances[:-1])
    before, origin = _grids(days[:-1], labs[:-1], precision, target_lab)
    predicted = before.curves().at(days[-1:])[:, 0] + origin
    spread = np.cov(predicted.T) + covariances[-1]
    rest = labs[-1] - predicted.mean(axis=0)
    return bool(rest @ np.linalg.solve(spread, rest) > OUTLIER_CHI2)


AS_BEFORE_CHI2 = 6.25
"""90% point of chi-squared with three degrees of freedom: a moment this near the one before it is no surprise, and the
curves need not be asked."""


def _as_before(labs: Array, covariances: Array) -> bool:
    """Whether two moments (2, 3) agree within their covariances (2, 3, 3)."""
    rest = labs[1] - labs[0]
    return bool(rest @ np.linalg.solve(covariances.sum(axis=0), rest) < AS_BEFORE_CHI2)
