"""Weight loss: how fast a batch dries now, when it is steady, and what it may end at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from curejournal.base.counting import digits
from curejournal.base.messages import msg
from curejournal.batch.records import Entry, Weighing
from curejournal.colour.difference import Interval
from curejournal.judging.curves import Array, Curves, ModelWeight, interval_of
from curejournal.judging.drying_dates import allowing_for_the_room, from_when
from curejournal.judging.drying_fit import FAR_OFF_CHI2, as_parts, fit_curves
from curejournal.judging.drying_models import RoomHistory

DAY = timedelta(days=1)
WEEK_DAYS = 7.0


class Drying(StrEnum):
    """What the weights say."""

    UNKNOWN = "not known"
    DRYING = "drying"
    GAINING = "gaining weight"
    STEADY = "steady"


@dataclass(frozen=True)
class DryingPoint:
    """A weighing per bar as a part of its subject's first, offset removed, with its standard deviation."""

    at: datetime
    days: float
    subject: str
    grams: float
    bars: int
    part: float
    part_sd: float
    questioned: bool
    entry: int


@dataclass(frozen=True)
class DryingCurve:
    """Part of the first weight over days, with its 95% interval."""

    days: tuple[float, ...]
    part: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]


@dataclass(frozen=True)
class DryingReport:
    """What the weights of a batch say.

    `loss_pct_week` is the loss predicted for the next seven days, in % of the
    weight, at the last weighing; negative means gaining. `measured_pct_week` is what the scale showed over the last
    week or more, per week; None without two such weighings of one bar or tray. `steady_at` is when
    it falls below the limit to stay (middle, then 95% interval; None is beyond
    `HORIZON_DAYS`). `determined` is false where the end weight is not
    identifiable yet, so that only a range can be given.
    """

    state: Drying
    words: str
    weighings: int
    subjects: tuple[str, ...]
    loss_pct: float | None
    loss_pct_week: Interval | None
    final_loss_pct: Interval | None
    most_loss_pct: float | None
    steady_at: datetime | None
    steady_interval: tuple[datetime | None, datetime | None]
    determined: bool
    points: tuple[DryingPoint, ...]
    curve: DryingCurve | None
    models: tuple[ModelWeight, ...]
    measured_pct_week: float | None = None
    shown_after_days: float = WEEK_DAYS

    @property
    def shown_at(self) -> datetime | None:
        """When two weighings can show that it is steady: the one date that pages tell."""
        return None if self.steady_at is None else self.steady_at + self.shown_after_days * DAY

    @property
    def shown_interval(self) -> tuple[datetime | None, datetime | None]:
        """Its 95% interval; an end that is None cannot be told."""
        low, high = (None if end is None else end + self.shown_after_days * DAY for end in self.steady_interval)
        return low, high


MOMENTS_A_DAY, FEWEST_DAYS = 4, 1.0
"""Weighings within six hours are one moment; a rate takes two of them a day apart. Ours."""
SETTLED_FROM_MOMENTS = 4
"""Moments from which an end weight can be told at all: a curve has three amplitudes. Ours."""
LATEST_DAYS = 0.5
"""A bar counts in the last week's change if it was weighed this near to the last weighing of all. Ours."""
NO_LOSS = -0.001
"""Least final loss of a curve that can be: none, and the scale's noise. Ours."""
PAST_POINTS, AHEAD_POINTS, AHEAD_POWER = 24, 40, 1.5
"""Days on which curves are looked at, up to the last weighing and after it, closer together at first. Ours: twice as
many moved 312 dates of steady weight of 25 drawn batches by half a day at most."""
HORIZON_DAYS = 180.0
"""How far ahead a steady weight is predicted. Ours: nobody waits longer."""
LONG_DAYS = 600.0
"""Age at which a bar has its end weight. Ours."""
DRAWN_AHEAD_DAYS = 28.0
"""How far past the last weighing the curve is drawn. Ours: four weighings, a week apart."""
SETTLED_WITHIN_PCT = 6.0
"""Width of the end weight's 95% interval, % of the fresh weight, within which it counts as settled. Ours."""
WATER_ERROR = 0.005
"""What the water's share of the fresh batch may be off by. Ours: a scale's step, and what evaporates at the pour."""
FEWEST_POSSIBLE = 0.05
"""Share of the curves that must be possible, or none is left out: the water on record is then doubted itself. Ours."""
SAME_DAY = 0.25
"""Days by which two weighings a week apart may come too early. Ours."""
GAINING_PCT_WEEK = -0.1
"""Loss in 7 days, % of weight, surely below which a batch gains. Ours: a scale's step makes as much of nothing."""
WEIGHED_ONCE = msg("weighed once: a second weighing a week later will show the rate")


def analyse_drying(
    weighings: Sequence[Entry[Weighing]],
    poured_at: datetime | None,
    *,
    water_share: float | None = None,
    limit_pct_week: float = 1.0,
    days_apart: float = 7.0,
    room: RoomHistory | None = None,
) -> DryingReport:
    """Judge a batch's drying from all its weighings together.

    Parameters
    ----------
    weighings : sequence of Entry
        Entries holding `Weighing`s of bars or trays, in any order.
    poured_at : datetime or None
        Time zero; the first weighing if unknown.
    water_share : float, optional
        The water's part of the fresh batch: no curve may lose more.
    limit_pct_week : float
        Loss in 7 days, % of weight, below which a batch is steady.
    days_apart : float
        *Steady* needs this between two weighings that both show it.
    room : RoomHistory, optional
        Humidity and temperature of the room, where they were noted.

    Returns
    -------
    DryingReport

    Notes
    -----
    All subjects share one curve and have an offset each. A change in the number of bars or in the tare starts
    a new offset, since the bars that left were not weighed alone.

    """
    entries = sorted(weighings, key=lambda entry: entry.at)
    most = None if water_share is None else 100 * water_share
    if not entries:
        return _nothing(msg("no weights yet"), most)
    start = poured_at or entries[0].at
    days = np.array([(entry.at - start) / DAY for entry in entries])
    parts, sds, groups = as_parts(entries)
    latest = float(days[-1])
    moments = len({round(float(day) * MOMENTS_A_DAY) for day in days})
    if moments < 2 or latest - float(days[0]) < FEWEST_DAYS:
        return _nothing(WEIGHED_ONCE, most, entries, days, parts, sds)
    curves, chi2, inflation = fit_curves(days, parts, sds, groups, room or RoomHistory())
    offsets = curves.extra[..., 0].mean(axis=0)
    long = curves.at(np.array([0.0, LONG_DAYS]))[..., 0]
    keep = _possible(1 - long[:, 1] / long[:, 0], water_share)
    ahead = latest + (HORIZON_DAYS * np.linspace(0, 1, AHEAD_POINTS) ** AHEAD_POWER)
    grid = np.unique(np.concatenate([np.linspace(days[0], latest, PAST_POINTS), ahead]))
    losses = _next_week(curves, grid)[keep]
    at_weighings = _next_week(curves, np.unique(days))[keep]
    rate = interval_of(at_weighings[:, -1])
    measured = _measured(days, parts, groups, days_apart)
    # Whatever the curves say, the scale has the last word on the week that it saw.
    moved = measured is not None and abs(measured) >= limit_pct_week
    steady = not moved and _steady(np.unique(days), at_weighings, limit_pct_week, days_apart)
    at, interval = from_when(grid, losses, limit_pct_week, start)
    at, interval = allowing_for_the_room(start + latest * DAY, at, interval, moved)
    curve_days = grid[grid <= latest + DRAWN_AHEAD_DAYS]
    final = interval_of(100 * (1 - long[keep, 1] / long[keep, 0]))
    determined = moments >= SETTLED_FROM_MOMENTS and final.high - final.low < SETTLED_WITHIN_PCT
    state = Drying.STEADY if steady else _moving(rate, measured if moved else None)
    return DryingReport(
        state=state,
        words=_words(state, rate, measured if moved else None, determined, final),
        weighings=len(entries),
        subjects=tuple(dict.fromkeys(entry.record.subject for entry in entries)),
        loss_pct=_lost(entries, days, parts, groups, curves.at(days)[keep][..., 0].mean(axis=0)),
        loss_pct_week=rate,
        final_loss_pct=final,
        most_loss_pct=most,
        steady_at=at,
        steady_interval=interval,
        determined=determined,
        points=tuple(
            _point(entry, float(day), float(part - offsets[group]), float(sd * inflation), bool(far > FAR_OFF_CHI2))
            for entry, day, part, sd, group, far in zip(entries, days, parts, sds, groups, chi2, strict=True)
        ),
        curve=_drying_curve(curve_days, curves.at(curve_days)[keep][..., 0]),
        models=curves.models,
        measured_pct_week=measured,
        shown_after_days=days_apart,
    )


def _moving(rate: Interval, moved_pct_week: float | None) -> Drying:
    """Whether a batch that is not steady dries or gains: as it moved on the scale, else as its curves say."""
    gaining = rate.high < GAINING_PCT_WEEK if moved_pct_week is None else moved_pct_week < 0
    return Drying.GAINING if gaining else Drying.DRYING


def _drying_curve(days: Array, drawn: Array) -> DryingCurve:
    """The mean of curves (M, T) on days (T,), and what 95 of 100 lie within."""
    low, high = np.quantile(drawn, [0.025, 0.975], axis=0)
    return DryingCurve(
        tuple(days.tolist()), tuple(drawn.mean(axis=0).tolist()), tuple(low.tolist()), tuple(high.tolist())
    )


def _possible(losses: Array, water_share: float | None) -> NDArray[np.bool_]:
    """Which curves end at a loss that can be: from none to all the water. All of them, if nearly none does."""
    keep = losses >= NO_LOSS
    if water_share is not None:
        keep &= losses <= water_share + WATER_ERROR
    return keep if keep.mean() >= FEWEST_POSSIBLE else np.ones(len(losses), dtype=bool)


def _measured(days: Array, parts: Array, groups: NDArray[np.int_], apart: float) -> float | None:
    """Loss a week over the last `apart` days or more, % of the weight: the median of the bars, by the scale."""
    losses = []
    for group in np.unique(groups):
        own = np.flatnonzero(groups == group)
        last = own[-1]
        before = own[days[own] <= days[last] - apart + SAME_DAY]
        if days[last] >= days[-1] - LATEST_DAYS and before.size:
            span = float(days[last] - days[before[-1]])
            losses.append(100 * float(parts[before[-1]] / parts[last] - 1) * WEEK_DAYS / span)
    return float(np.median(losses)) if losses else None


def _lost(
    entries: Sequence[Entry[Weighing]], days: Array, parts: Array, groups: NDArray[np.int_], curve: Array
) -> float:
    """What the last weighed bar or tray has lost since its first weighing, %.

    As weighed; where bars left it or its tare changed, what it lost between two weighings that cannot be compared is
    read off the curve.
    """
    subject = entries[-1].record.subject
    own = [i for i, entry in enumerate(entries) if entry.record.subject == subject]
    left = 1.0
    for before, after in pairwise(own):
        known = groups[before] == groups[after]
        left *= float(parts[after] / parts[before] if known else curve[after] / curve[before])
    return 100 * (1 - left)


def _next_week(curves: Curves, days: Array) -> Array:
    now, later = curves.at(days)[..., 0], curves.at(days + WEEK_DAYS)[..., 0]
    return np.asarray(100 * (now - later) / now)


def _steady(days: Array, losses: Array, limit: float, apart: float) -> bool:
    """Whether the interval of the loss lies within the limit at the last weighing and one well before it."""
    low, high = np.quantile(losses, [0.025, 0.975], axis=0)
    within = (high < limit) & (low > -limit)
    return bool(within[-1] and within[days <= days[-1] - apart + SAME_DAY].any())


def _words(state: Drying, rate: Interval, measured: float | None, determined: bool, final: Interval) -> str:
    """The rate that holds: by the scale where that showed too much of a change, else by the curves."""
    if measured is not None:
        did, damp = ("gained", msg(": the room may be damp")) if state is Drying.GAINING else ("lost", "")
        text = msg(
            "{did} {measured}% a week by the last weighings{damp}",
            did=did,
            measured=digits(abs(measured), 1),
            damp=damp,
        )
        return text if determined else msg("{text}; the end weight is not settled yet", text=text)
    text = msg(
        "losing {estimate}% a week ({low} to {high})",
        estimate=digits(rate.estimate, 1),
        low=digits(rate.low, 1),
        high=digits(rate.high, 1),
    )
    if state is Drying.GAINING:
        gain, least, most = (digits(-value, 1) for value in (rate.estimate, rate.high, rate.low))
        text = msg(
            "gaining {gain}% a week ({least} to {most}): the room may be damp", gain=gain, least=least, most=most
        )
    if not determined:
        low, high = digits(final.low, 0), digits(final.high, 0)
        text += msg("; the end weight is not settled yet: {low} to {high}% lost in all", low=low, high=high)
    return text


def _point(entry: Entry[Weighing], day: float, part: float, part_sd: float, questioned: bool) -> DryingPoint:
    weighing = entry.record
    return DryingPoint(
        entry.at, day, weighing.subject, weighing.grams, weighing.bars, part, part_sd, questioned, entry.id
    )


def _nothing(
    words: str,
    most: float | None,
    entries: Sequence[Entry[Weighing]] = (),
    days: Array | Sequence[float] = (),
    parts: Array | Sequence[float] = (),
    sds: Array | Sequence[float] = (),
) -> DryingReport:
    return DryingReport(
        state=Drying.UNKNOWN,
        words=words,
        weighings=len(entries),
        subjects=tuple(dict.fromkeys(entry.record.subject for entry in entries)),
        loss_pct=None,
        loss_pct_week=None,
        final_loss_pct=None,
        most_loss_pct=most,
        steady_at=None,
        steady_interval=(None, None),
        determined=False,
        points=tuple(
            _point(entry, float(day), float(part), float(sd), False)
            for entry, day, part, sd in zip(entries, days, parts, sds, strict=True)
        ),
        curve=None,
        models=(),
    )
