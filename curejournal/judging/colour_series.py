"""A portion's colour over time: what it did, whether it is back, and when it may be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from curejournal.base.messages import msg, msg_n
from curejournal.batch.records import ColourReading, Entry
from curejournal.colour.difference import Interval, ciede2000
from curejournal.colour.sample import Grade, Lab, as_lab
from curejournal.colour.spaces import yellowness_e313
from curejournal.judging.colour_states import (
    AHEAD_DAYS,
    LATE_DAYS,
    LONE_WEIGHT,
    REMAINING,
    State,
    classify,
    lone_moment,
    name_of,
    perhaps,
    soon,
)
from curejournal.judging.curves import Array, ModelWeight, normal_points
from curejournal.judging.forecast import HORIZON_DAYS, Forecast, predict
from curejournal.judging.robust_fit import fit_robustly, unexpected
from curejournal.judging.sessions import OTHER_INSTRUMENT_SD, Session, sessions
from curejournal.judging.target_difference import beside_target, differences_from

DAY = timedelta(days=1)

BACK_CERTAINTY = 0.95
STAYS_CERTAINTY = 0.9
"""Certainties asked for being within tolerance at the last moment, which is two one-sided tests at 5% (Schuirmann
1987), and for having been so some days before and being so in two weeks. Ours: two claims in some two thousand were
false in the judgement study in tests/benchmarks."""


MIXED_CARDS_SD = 3 * OTHER_INSTRUMENT_SD
"""What a reading with one of several cards of unknown colours may be off against another's, in each coordinate. Ours:
three times what cards of known colours are."""
STAYS_DAYS = 14.0
"""How far ahead it is to stay within tolerance. Ours."""
STABLE_MOMENTS, STABLE_DAYS = 3, 14.0
"""What *stable* takes without saying on how little it rests: moments, and the days that they span. Ours."""


@dataclass(frozen=True)
class ColourPoint:
    """One moment's colour and its difference from the target.

    `weight` below 1 shows a reading that counts for less because it lies off the curve; `questioned` asks the
    maker to look at it again. `entries` are the ids of the readings in it.
    """

    at: datetime
    days: float
    lab: Lab
    lab_sd: Lab
    grade: Grade
    difference: Interval | None
    yellowness: float
    weight: float
    questioned: bool
    against_control: bool
    entries: tuple[int, ...]


@dataclass(frozen=True)
class ColourCurve:
    """The fitted journey for a chart: rows of equal length, 95% intervals.

    The differences are empty without a target colour.
    """

    days: tuple[float, ...]
    lab: tuple[Lab, ...]
    lab_low: tuple[Lab, ...]
    lab_high: tuple[Lab, ...]
    difference: tuple[float, ...]
    difference_low: tuple[float, ...]
    difference_high: tuple[float, ...]


@dataclass(frozen=True)
class ColourSeries:
    """What a portion's colour did and is doing.

    `proven_within` says that the interval lies within tolerance on two
    moments some days apart, to stay there; without it nothing is *back*.
    `difference_now`, `parts_now` (ΔL', ΔC', ΔH') and `yellowness_now` are at
    the last reading, by the fitted curve. `chances` are the shares of the curves for each state, and `perhaps` is the
    one other that the readings leave possible. `mixed_cards` are the cards of unknown colours that the readings were
    taken with, if more than one: between them colours compare badly, which is in the intervals. `approximate` counts
    the moments that were read without a colour chart.
    """

    state: State
    chances: tuple[tuple[State, float], ...]
    target_lab: Lab | None
    tolerance: float
    proven_within: bool
    moments: int
    points: tuple[ColourPoint, ...]
    lab_now: Lab | None
    difference_now: Interval | None
    parts_now: tuple[float, float, float] | None
    yellowness_now: float | None
    grey_scale_style_grade: str | None
    forecast: Forecast | None
    curve: ColourCurve | None
    models: tuple[ModelWeight, ...]
    perhaps: State | None = None
    mixed_cards: tuple[str, ...] = ()

    @property
    def approximate(self) -> int:
        """How many of its moments were read without a colour chart."""
        return sum(point.grade is Grade.INDICATIVE for point in self.points)

    @property
    def rests_on(self) -> str:
        """On how few readings *stable* rests, where they are fewer than `STABLE_MOMENTS` over `STABLE_DAYS`."""
        good = [point for point in self.points if not point.questioned]
        span = good[-1].days - good[0].days if good else 0.0
        if self.state is not State.STABLE or (len(good) >= STABLE_MOMENTS and span >= STABLE_DAYS):
            return ""
        return msg(
            "on {good} over {span}",
            good=msg_n("{number} reading", "{number} readings", len(good)),
            span=msg_n("{number} day", "{number} days", round(span)),
        )

    @property
    def last_is_strange(self) -> bool:
        """Whether the last moment does not fit those before: another bar, a bad photo, or a new change."""
        return bool(self.points) and self.points[-1].questioned

    @property
    def darkens(self) -> bool:
        """Whether it comes to its target colour from lighter, for longer than a turn lasts: browning that is meant.

        So does soap with vanillin whose target colour is brown: nothing that turned comes back there.
        """
        if self.target_lab is None or self.state not in (State.RECOVERING, State.RECOVERED):
            return False
        out = [p for p in self.points if not p.questioned and p.difference and p.difference.low > self.tolerance]
        lighter = all(point.lab[0] > self.target_lab[0] + self.tolerance for point in out)
        return lighter and any(point.days > LATE_DAYS for point in out)

    @property
    def words(self) -> str:
        """The state, and what it may be instead."""
        if self.darkens:
            return msg("darkened to its colour") if self.state is State.RECOVERED else msg("darkening to its colour")
        told = (
            msg("{state}; perhaps {perhaps}", state=self.state.value, perhaps=self.perhaps.value)
            if self.perhaps
            else self.state.value
        )
        return msg("{told}, {rests_on}", told=told, rests_on=self.rests_on) if self.rests_on else told


def fit_colour_series(
    readings: Sequence[Entry[ColourReading]],
    poured_at: datetime | None,
    target_lab: Lab | None = None,
    tolerance: float = 3.0,
    *,
    control: Sequence[Entry[ColourReading]] = (),
    target_sd: float = 0.0,
    back_days_apart: float = 5.0,
    curve_until: datetime | None = None,
) -> ColourSeries:
    """Follow one portion's colour.

    Parameters
    ----------
    readings : sequence of Entry
        Entries holding this portion's `ColourReading`s, in any order.
    poured_at : datetime or None
        Time zero; the first reading if unknown.
    target_lab : Lab or None
        The colour it should have, CIELAB D50/2.
    tolerance : float
        The ΔE00 from it that the maker accepts.
    control : sequence of Entry
        Readings of a control portion; used where in the same photo.
    target_sd : float
        What all readings together may be off, in each Lab coordinate, against the target colour, if that came from
        another instrument. It enters every comparison with that colour, and cancels between the readings.
    back_days_apart : float
        *Back* needs two moments within tolerance at least this many days apart.
    curve_until : datetime, optional
        How far the chart's curve runs; by default two weeks past the last reading.

    Returns
    -------
    ColourSeries
        From one reading up. Few readings give wide intervals and the state *too few readings*.

    """
    seen = sessions(readings, control=control, reference_lab=target_lab if control else None)
    if not seen:
        return _nothing(target_lab, tolerance)
    start = poured_at or seen[0].at
    days = np.array([(session.at - start) / DAY for session in seen])
    labs = np.array([session.lab for session in seen])
    mixed = sorted(frozenset().union(*(session.relative_cards for session in seen)))
    # Several relative cards err each in its own way, and nobody knows how.
    mixed_sd = MIXED_CARDS_SD if len(mixed) > 1 else 0.0
    covariances = np.array([session.covariance for session in seen]) + mixed_sd**2 * np.eye(3)
    lone = lone_moment(days, labs, target_lab, tolerance)
    fitted = fit_robustly(days, labs, covariances, target_lab, target_sd, np.where(lone, LONE_WEIGHT, 1.0))
    last = float(days[-1])
    until = max(last + 14.0, (curve_until - start) / DAY if curve_until else 0.0)
    grid = _days_to_draw(float(days[0]), last, until)
    # All days in one go, as most of the time goes into calls, not into days.
    every = fitted.at(np.concatenate([grid, days, last + np.array([STAYS_DAYS, 0.0, soon(last), AHEAD_DAYS])]))
    ends = [len(grid), len(grid) + len(days)]
    drawn, at_moments, lab_at = every[:, : ends[0]], every[:, ends[0] : ends[1]], every[:, -3:]
    away = away_then = away_ahead = None
    if target_lab is not None:
        away, away_then, away_ahead = np.split(ciede2000(np.array(target_lab), every[:, :-3]), ends, axis=1)
    questioned = fitted.outliers | lone
    chances = _chances(last, lab_at, at_moments, away_then, target_lab, tolerance)
    state = name_of(chances, len(seen), last)
    questioned[-1] |= unexpected(days, labs, covariances, fitted.weights, target_lab)
    proven = False
    if away_then is not None and away_ahead is not None and not questioned[-1]:
        proven = _proven_within(days, away_then, away_ahead, tolerance, back_days_apart)
    if state is State.RECOVERED and not proven:
        state = State.RECOVERING
    lab_now = at_moments[:, -1].mean(axis=0)
    return ColourSeries(
        state=state,
        chances=chances,
        target_lab=target_lab,
        tolerance=tolerance,
        proven_within=proven,
        moments=len(seen),
        points=_points(seen, days, target_lab, target_sd, fitted.weights, questioned),
        lab_now=as_lab(lab_now),
        yellowness_now=float(yellowness_e313(lab_now)),
        **beside_target(target_lab, lab_now, at_moments[:, -1] - lab_now),
        forecast=None if away is None else predict(grid, away, tolerance, start, last),
        curve=_curve(grid, drawn, away, until),
        models=fitted.curves.models,
        perhaps=perhaps(state, dict(chances), last),
        mixed_cards=tuple(mixed) if len(mixed) > 1 else (),
    )


def _days_to_draw(first: float, last: float, until: float) -> Array:
    """Days since the pour on which curves are drawn: closest together after the first reading and after the last."""
    past = first + (last - first) * np.linspace(0, 1, 13)[:-1] ** 2
    future = last + HORIZON_DAYS * np.linspace(0, 1, 18) ** 2
    return np.unique(np.concatenate([past, future, [until]]))


def _chances(
    last: float,
    lab_at: Array,
    at_moments: Array,
    away_then: Array | None,
    target_lab: Lab | None,
    tolerance: float,
) -> tuple[tuple[State, float], ...]:
    if away_then is None:
        start = at_moments[:, :1]
        reach = ciede2000(start, at_moments)
        going = ciede2000(start[:, 0], lab_at[:, 1]) < reach[:, -1]
        left = going & (reach.max(axis=1) > REMAINING)
    else:
        left = (away_then > tolerance).any(axis=1)
    names = classify(last, lab_at, None if target_lab is None else np.array(target_lab), tolerance, left)
    return tuple((state, float(np.mean(names == state))) for state in State if state is not State.TOO_FEW)


def _proven_within(days: Array, away_then: Array, away_ahead: Array, tolerance: float, apart: float) -> bool:
    """Whether the curves (draws, n) lie within tolerance at the last moment and another, and are to stay there."""
    share = (away_then <= tolerance).mean(axis=0)
    earlier = share[days <= days[-1] - apart]
    return bool(
        share[-1] >= BACK_CERTAINTY
        and earlier.size
        and earlier.max() >= STAYS_CERTAINTY
        and (away_ahead <= tolerance).mean() >= STAYS_CERTAINTY
    )


def _points(
    seen: Sequence[Session],
    days: Array,
    target: Lab | None,
    target_sd: float,
    weights: Array,
    questioned: NDArray[np.bool_],
) -> tuple[ColourPoint, ...]:
    labs = np.array([session.lab for session in seen])
    covariances = np.array([session.covariance for session in seen])
    differences: Sequence[Interval | None] = [None] * len(seen)
    if target is not None:
        errors = np.einsum(
            "mj,nij->nmi", normal_points(120, 3), np.linalg.cholesky(covariances + target_sd**2 * np.eye(3))
        )
        differences = differences_from(target, labs, errors)
    yellowness = yellowness_e313(labs)
    return tuple(
        ColourPoint(
            at=session.at,
            days=float(days[i]),
            lab=session.lab,
            lab_sd=as_lab(np.sqrt(np.diag(covariances[i]))),
            grade=session.grade,
            difference=differences[i],
            yellowness=float(yellowness[i]),
            weight=float(weights[i]),
            questioned=bool(questioned[i]),
            against_control=session.against_control,
            entries=session.entries,
        )
        for i, session in enumerate(seen)
    )


def _curve(grid: Array, drawn: Array, away: Array | None, until: float) -> ColourCurve:
    show = grid <= until + 1e-9
    grid, drawn, away = grid[show], drawn[:, show], None if away is None else away[:, show]
    low, high = np.quantile(drawn, [0.025, 0.975], axis=0)
    rows: tuple[tuple[float, ...], ...] = ((), (), ())
    if away is not None:
        rows = tuple(tuple(row.tolist()) for row in np.quantile(away, [0.5, 0.025, 0.975], axis=0))
    return ColourCurve(
        days=tuple(grid.tolist()),
        lab=tuple(as_lab(row) for row in drawn.mean(axis=0)),
        lab_low=tuple(as_lab(row) for row in low),
        lab_high=tuple(as_lab(row) for row in high),
        difference=rows[0],
        difference_low=rows[1],
        difference_high=rows[2],
    )


def _nothing(target_lab: Lab | None, tolerance: float) -> ColourSeries:
    return ColourSeries(
        state=State.TOO_FEW,
        chances=(),
        target_lab=target_lab,
        tolerance=tolerance,
        proven_within=False,
        moments=0,
        points=(),
        lab_now=None,
        difference_now=None,
        parts_now=None,
        yellowness_now=None,
        grey_scale_style_grade=None,
        forecast=None,
        curve=None,
        models=(),
    )
