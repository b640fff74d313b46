"""What a planned pour with a material may do, by the batches that held it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from curejournal.base.messages import join, msg, msg_n
from curejournal.colour.difference import Interval
from curejournal.judging.colour_series import ColourSeries
from curejournal.judging.curves import Array
from curejournal.judging.forecast import Forecast, forecast_from_history, one_more
from curejournal.materials.history import OUTCOMES, History, Outcome, Story, turn_seen

SMALLEST, LARGEST = 0.5, 100.0
"""Differences below are as good as none, ΔE00 (ours: half of just noticeable); none is above that of black to white."""


@dataclass(frozen=True)
class LotSeen:
    """What one lot did before: the least and the greatest turn of its portions, ΔE00, as they would be at this dose.

    `lot` is empty for portions whose lot nobody noted.
    """

    lot: str
    portions: int
    turn: tuple[float, float]


@dataclass(frozen=True)
class Expected:
    """What a planned pour with this material may do, from the batches that held it: medians and 95% intervals.

    `lot` is the one lot that it was told from; empty where all `lots` were taken together, as they are for a lot that
    has told nothing yet: `new_lot`.
    `turn` in ΔE00, None without any. `back` is when it may be within tolerance. `days`, `difference` (middle, low, high
    at each day) are the journey that it may take. `beyond_doses` is true for a dose that was never tried.
    """

    batches: int
    turn: Interval | None
    back: Forecast | None
    days: tuple[float, ...]
    difference: tuple[Interval, ...]
    beyond_doses: bool
    words: str
    lot: str = ""
    new_lot: str = ""
    lots: tuple[LotSeen, ...] = ()


def expect(history: History, dose_pct: float | None, poured_at: datetime, lot: str = "") -> Expected:
    """What a planned pour may do.

    Parameters
    ----------
    history : History
        Of its material.
    dose_pct : float or None
        % of the batter of the portion that it goes into; None for the usual one. Turns are taken as proportional to the
        dose.
    poured_at : datetime
        When it is to be poured.
    lot : str, optional
        Which lot of it. One that was seen before speaks for itself; for any other all lots are taken together.

    Returns
    -------
    Expected
        Intervals are those of one more batch: Student's t on logarithms, with a first guess of the spread between
        batches; see `forecast.one_more`.

    """
    lots = tuple(seen for one in history.lots if (seen := _lot_seen(one, dose_pct)) is not None)
    own = _of_lot(history, lot)
    new_lot = lot.strip() if own is None else ""
    history = own or history
    compared = [use for use in history.uses if turn_seen(use.story)]
    factors = np.array([_factor(use.ingredient.dose_pct, dose_pct) for use in compared])
    turns = np.array([use.story.turn.estimate for use in compared if use.story.turn is not None])
    known, left = history.known, history.turned
    returned = [story.back_days[0] if story.back_days else None for story in left]
    days, difference = _expected_journey([use.story.journey for use in compared], factors)
    doses = [use.ingredient.dose_pct for use in history.uses if use.ingredient.dose_pct is not None]
    beyond = dose_pct is not None and bool(doses) and not 0.8 * min(doses) <= dose_pct <= 1.25 * max(doses)
    count = len({use.story.batch for use in compared})
    return Expected(
        batches=count,
        turn=_one_more(np.log(np.maximum(turns * factors, SMALLEST))) if len(turns) else None,
        back=forecast_from_history(returned, poured_at),
        days=days,
        difference=difference,
        beyond_doses=beyond,
        words=_expected_words(history, known, count),
        lot=lot.strip() if own is not None else "",
        new_lot=new_lot,
        lots=lots,
    )


def _of_lot(history: History, lot: str) -> History | None:
    """The part of a history that is of one lot; None if that has told nothing yet."""
    uses = tuple(use for use in history.uses if use.ingredient.lot.strip().casefold() == lot.strip().casefold())
    told = any(turn_seen(use.story) or use.story.outcome != "not known yet" for use in uses)
    return replace(history, uses=uses) if lot.strip() and told else None


def _lot_seen(one: History, dose_pct: float | None) -> LotSeen | None:
    turns = [
        use.story.turn.estimate * _factor(use.ingredient.dose_pct, dose_pct)
        for use in one.uses
        if use.story.turn is not None and turn_seen(use.story)
    ]
    return LotSeen(one.uses[0].ingredient.lot, len(turns), (min(turns), max(turns))) if turns else None


def _factor(tried_pct: float | None, planned_pct: float | None) -> float:
    return planned_pct / tried_pct if tried_pct and planned_pct else 1.0


def _one_more(logs: Array, own_variance: float = 0.0) -> Interval:
    return Interval(*np.minimum(one_more(logs, own_variance), LARGEST).tolist())


def _expected_journey(
    journeys: Sequence[ColourSeries], factors: Array
) -> tuple[tuple[float, ...], tuple[Interval, ...]]:
    grid = np.geomspace(0.1, 90.0, 48)
    rows, variances = [], []
    for journey, factor in zip(journeys, factors, strict=True):
        curve = journey.curve
        if curve is None or not curve.difference:
            continue
        inside = (grid >= journey.points[0].days - 0.1) & (grid <= journey.points[-1].days + 0.1)
        middle, low, high = (
            np.log(np.maximum(factor * np.interp(grid, curve.days, row), SMALLEST))
            for row in (curve.difference, curve.difference_low, curve.difference_high)
        )
        rows.append(np.where(inside, middle, np.nan))
        variances.append(((high - low) / 3.92) ** 2)
    if not rows:
        return (), ()
    logs, own = np.array(rows), np.array(variances)
    known = np.isfinite(logs).any(axis=0)
    difference = []
    for column in np.flatnonzero(known):
        there = np.isfinite(logs[:, column])
        difference.append(_one_more(logs[there, column], float(own[there, column].mean())))
    return tuple(grid[known].tolist()), tuple(difference)


def _expected_words(history: History, known: Sequence[Story], compared: int) -> str:
    if not history.uses:
        return msg("no batch whose portions were followed tells what it does")
    if not known and not compared:
        return msg("used before, but no colour journey tells what it did")
    outcomes: tuple[Outcome, ...] = (*OUTCOMES.values(), "darkened as intended")
    counts = [(outcome, history.count(outcome)) for outcome in outcomes if history.count(outcome)]
    told = join(", ", (f"{number} {outcome}" for outcome, number in counts))
    waiting = history.count("not known yet")
    told += msg("{told}{waiting} not known yet", told=", " if told else "", waiting=waiting) if waiting else ""
    number = len(history.uses)
    return msg("of {the_number}: {told}", the_number=msg_n("{number} portion", "{number} portions", number), told=told)
