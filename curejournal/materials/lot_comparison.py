"""Whether a material changed with its lot: one effect for each lot, and the largest difference between two."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from curejournal.colour.difference import Interval

Array = NDArray[np.float64]


@dataclass(frozen=True)
class LotEffect:
    """One lot's effect per % of the oils, with its 95% interval."""

    lot: str
    portions: int
    per_pct: Interval


@dataclass(frozen=True)
class LotComparison:
    """Whether a material changed with its lot: `largest_change` per % between two lots, with its joint 95% interval."""

    material: str
    lots: tuple[LotEffect, ...]
    largest_change: Interval
    between: tuple[str, str]

    @property
    def changed(self) -> bool:
        """Whether the interval leaves zero out."""
        return self.largest_change.low > 0


@dataclass(frozen=True)
class LotPrior:
    """What is known before: the base and its standard deviation, that of an effect at the usual dose. ΔE00."""

    base: float
    base_sd: float
    effect_sd: float


def compare_lots(
    material: str,
    values: Array,
    weights: Array,
    by_lot: Mapping[str, Array],
    others: Sequence[Array],
    usual_pct: float,
    prior: LotPrior,
) -> LotComparison:
    """Fit one effect for each lot, beside other materials.

    Parameters
    ----------
    material : str
    values, weights : ndarray of shape (n,)
        What the portions showed, ΔE00, and one over the variance of each.
    by_lot : mapping of lot to ndarray of shape (n,)
        Doses of each lot as parts of the usual dose; two lots at least.
    others : sequence of ndarray of shape (n,)
        Doses of other materials that do something, as parts of their usual ones.
    usual_pct : float
        The usual dose, % of the oils.
    prior : LotPrior

    Returns
    -------
    LotComparison
        From the normal posterior; the interval of the largest change holds for all pairs of lots together (Bonferroni).

    """
    design = np.stack([np.ones(len(values)), *others, *by_lot.values()], axis=1)
    precision = np.array([prior.base_sd**-2, *([prior.effect_sd**-2] * (design.shape[1] - 1))])
    pull = design.T @ (weights * values)
    pull[0] += prior.base * precision[0]
    covariance = np.linalg.inv(design.T @ (weights[:, None] * design) + np.diag(precision))
    middle = covariance @ pull
    places = dict(zip(by_lot, range(1 + len(others), len(middle)), strict=True))
    pairs = list(combinations(by_lot, 2))
    reach = float(-ndtri(0.025 / len(pairs)))
    changes = []
    for pair in pairs:
        contrast = np.zeros(len(middle))
        contrast[places[pair[0]]], contrast[places[pair[1]]] = 1.0, -1.0
        change, sd = abs(float(contrast @ middle)), float(np.sqrt(contrast @ covariance @ contrast))
        changes.append((change / sd, Interval(change, max(change - reach * sd, 0.0), change + reach * sd), pair))
    _, largest, between = max(changes)
    return LotComparison(
        material,
        tuple(
            LotEffect(
                lot,
                int((by_lot[lot] > 0).sum()),
                _about(float(middle[place]), float(covariance[place, place]), usual_pct),
            )
            for lot, place in places.items()
        ),
        Interval(*(value / usual_pct for value in largest)),
        between,
    )


def _about(middle: float, variance: float, usual_pct: float) -> Interval:
    reach = 1.96 * float(np.sqrt(variance))
    return Interval(*(max(value, 0.0) / usual_pct for value in (middle, middle - reach, middle + reach)))
