"""What goes with an outcome that a batch had or had not: orange spots, ash, a soft loaf, a volcano.

The model. The log odds of the outcome are a base, the year's waves, and one factor at a time: a material, a lot of it,
or a figure such as the superfat. How much better the outcome is explained with the factor than without it, times how
likely any one factor was before, gives its chance. Evidence and intervals are by Laplace's approximation.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from curejournal.base.messages import msg, msg_n
from curejournal.colour.difference import Interval
from curejournal.materials.effect_sampler import CULPRITS_EXPECTED, Array, year_waves
from curejournal.materials.effects import NAMED, TooFewBatches, at_one_season, its_season

FEWEST_EACH = 2
"""Batches with and without the outcome below which nothing is said. Ours."""
LONGEST_SEASON = 0.7
"""A material used within this part of the year or less is compared within that time. Ours."""
BASE_SD, WAVE_SD, FACTOR_SD = 5.0, 2.5, 2.5
"""What is known before of the log odds: of the base, of each wave of the year, of a factor whose figures are scaled to
a spread of a half (Gelman et al. 2008, Ann. Appl. Stat. 2, 1360, use Cauchy's curve with these scales) [from
memory]."""


@dataclass(frozen=True)
class OutcomeSeen:
    """Whether a batch had the outcome, and what it had in it.

    `present` are the materials and lots that it held; `figures` are numbers by name, those that are not known left out.
    """

    batch: str
    happened: bool
    present: frozenset[str]
    figures: Mapping[str, float]
    year_part: float | None = None


@dataclass(frozen=True)
class OutcomeCause:
    """A factor, or several that were never apart, and the outcome.

    `chance` that the outcome depends on it. `odds` are how many times the odds are with it, or for a figure one
    standard deviation higher, with the 95% interval. `with_it` and `without_it` are (batches that had the outcome,
    batches); for a figure those above and up to its median. `one_season` as in `culprits.Effect`.
    """

    factors: tuple[str, ...]
    figure: bool
    chance: float
    odds: Interval
    with_it: tuple[int, int]
    without_it: tuple[int, int]
    one_season: bool

    @property
    def named(self) -> bool:
        """Whether it is named as a cause."""
        return self.chance >= NAMED and not self.one_season and len(self.factors) == 1


def causes_of(seen: Sequence[OutcomeSeen]) -> tuple[OutcomeCause, ...]:
    """Weigh every factor against an outcome, the likeliest first.

    Parameters
    ----------
    seen : sequence of OutcomeSeen
        One for each batch of which it is known whether the outcome came.

    Returns
    -------
    tuple of OutcomeCause

    Raises
    ------
    TooFewBatches
        With fewer than `FEWEST_EACH` batches that had it, or that had it not.

    """
    had = np.array([one.happened for one in seen])
    if min(had.sum(), (~had).sum()) < FEWEST_EACH:
        raise TooFewBatches(
            msg(
                "{sum} of {seen} had it; {fewest_each} with it and {fewest_each} without are the fewest.",
                sum=msg_n("{number} batch", "{number} batches", int(had.sum())),
                seen=len(seen),
                fewest_each=FEWEST_EACH,
            ),
            msg("Note it with each batch, also when it did not come."),
        )
    waves = year_waves([one.year_part for one in seen])
    columns = _columns(seen)
    prior = min(CULPRITS_EXPECTED / max(len(columns), 1), 0.5)
    found = [(_one(seen, had, waves, names, values, prior), values) for names, values in columns]
    every = {tuple(values) for _, values in found}
    # Of two lots of which each batch held one, the one that goes with the outcome says it for both.
    told = [
        cause for cause, values in found if cause.figure or cause.odds.estimate >= 1 or tuple(1.0 - values) not in every
    ]
    return tuple(sorted(told, key=lambda cause: -cause.chance))


def _columns(seen: Sequence[OutcomeSeen]) -> list[tuple[tuple[str, ...], Array]]:
    """Each factor's column; those that are the same in all batches are one, and what never varies is none."""
    columns: dict[tuple[float, ...], list[str]] = {}
    for name in sorted(set().union(*(one.present for one in seen))):
        columns.setdefault(tuple(float(name in one.present) for one in seen), []).append(name)
    for name in sorted(set().union(*(one.figures for one in seen))):
        known = [one.figures.get(name, np.nan) for one in seen]
        middle = float(np.nanmedian(known))
        columns.setdefault(tuple(middle if np.isnan(value) else value for value in known), []).append(name)
    return [(tuple(names), np.array(values)) for values, names in columns.items() if np.ptp(values) > 0]


def _one(
    seen: Sequence[OutcomeSeen],
    had: NDArray[np.bool_],
    waves: Array,
    names: tuple[str, ...],
    values: Array,
    prior: float,
) -> OutcomeCause:
    figure = any(names[0] in one.figures for one in seen)
    spread = float(values.std())
    scaled = (values - values.mean()) / (2 * spread) if figure else values - values.mean()
    over = values > np.median(values) if figure else values > 0
    held, parts = {one.batch for one, there in zip(seen, over, strict=True) if there}, _parts(seen)
    if not figure:
        # It has to explain more than the time of the year when it was used, however sharp that season's edges are.
        inside = its_season(parts, held, LONGEST_SEASON)
        step = np.array([float(one.batch in inside) for one in seen])
        waves = np.column_stack([waves, step - step.mean()]) if np.ptp(step) > 0 else waves
    plain = np.column_stack([np.ones(len(had)), waves])
    sds = np.array([BASE_SD, *[WAVE_SD] * waves.shape[1]])
    without, _, _ = _laplace(plain, had, sds)
    with_factor, at, sd = _laplace(np.column_stack([plain, scaled]), had, np.array([*sds, FACTOR_SD]))
    odds = np.exp(with_factor - without) * prior / (1 - prior) if with_factor - without < 500 else np.inf
    unit = 0.5 if figure else 1.0  # a figure was scaled to a spread of a half
    return OutcomeCause(
        factors=names,
        figure=figure,
        chance=float(odds / (1 + odds)) if np.isfinite(odds) else 1.0,
        odds=Interval(*(float(np.exp(unit * value)) for value in (at, at - 1.96 * sd, at + 1.96 * sd))),
        with_it=(int(had[over].sum()), int(over.sum())),
        without_it=(int(had[~over].sum()), int((~over).sum())),
        one_season=not figure and at_one_season(parts, held),
    )


def _parts(seen: Sequence[OutcomeSeen]) -> dict[str, float | None]:
    return {one.batch: one.year_part for one in seen}


def _laplace(design: Array, had: NDArray[np.bool_], sds: Array) -> tuple[float, float, float]:
    """Log evidence of a logistic model with independent normal priors, and the last coefficient with its deviation."""
    precision = np.diag(sds**-2.0)
    beta = np.zeros(design.shape[1])
    for _ in range(100):
        chance = expit(design @ beta)
        slope = design.T @ (had - chance) - precision @ beta
        curvature = design.T @ (design * (chance * (1 - chance))[:, None]) + precision
        step = np.linalg.solve(curvature, slope)
        beta = beta + step / max(1.0, float(np.abs(step).max()))
        if np.abs(step).max() < 1e-9:
            break
    linear = design @ beta
    likelihood = float(np.sum(had * linear - np.logaddexp(0.0, linear)))
    chance = expit(linear)
    curvature = design.T @ (design * (chance * (1 - chance))[:, None]) + precision
    log_prior = -0.5 * float(beta @ precision @ beta) - float(np.log(sds).sum())
    evidence = likelihood + log_prior - 0.5 * float(np.linalg.slogdet(curvature)[1])
    return evidence, float(beta[-1]), float(np.sqrt(np.linalg.inv(curvature)[-1, -1]))
