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
from curejournal.base.normal import CHI2_1_AT_99, MEDIAN_CHI2_1
from curejournal.batch.records import Entry, Weighing
from curejournal.colour.difference import Interval
from curejournal.judging.curves import Array, Curves, Grids, ModelWeight, interval_of
from curejournal.judging.drying_dates import allowing_for_the_room, from_when
from curejournal.judging.drying_models import MODELS, ROOM_DAYS, RoomHistory, room_changed

DAY = timedelta(days=1)
WEEK_DAYS = 7.0


class Drying(StrEnum):
    """What the weights say."""

    UNKNOWN = "not known"
    DRYING = "drying"
    GAINING = "gaining weight"
    STEADY = "steady"


ROOM_NOISE = 0.001
"""Part of its weight by which a bar wanders with the room's humidity between weighings. Ours."""
SCALE_STEPS = 0.4
"""Standard deviation of a weighing in steps of the scale: rounding (0.29) and one more unsteady digit. Ours."""
OFFSET_SD = 0.02
"""Spread of bars about their common curve, and of the first weight that each is divided by. Ours."""


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
ROUGH_FROM = 1.1
"""Scatter over what the scale explains, from which weighings are weighted by how far off they are. Ours."""
GAINING_PCT_WEEK = -0.1
"""Loss in 7 days, % of weight, surely below which a batch gains. Ours: a scale's step makes as much of nothing."""
FAR_OFF_CHI2 = 10.83
"""99.9% point of chi-squared with one degree of freedom."""


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
    parts, sds, groups = _parts(entries)
    latest = float(days[-1])
    moments = len({round(float(day) * 4) for day in days})
    if moments < 2 or latest - float(days[0]) < 1.0:
        return _nothing(WEIGHED_ONCE, most, entries, days, parts, sds)
    curves, chi2, inflation = _fit(days, parts, sds, groups, room or RoomHistory())
    offsets = curves.extra[..., 0].mean(axis=0)
    long = curves.at(np.array([0.0, LONG_DAYS]))[..., 0]
    keep = _possible(1 - long[:, 1] / long[:, 0], water_share)
    ahead = latest + (HORIZON_DAYS * np.linspace(0, 1, 40) ** 1.5)
    grid = np.unique(np.concatenate([np.linspace(days[0], latest, 24), ahead]))
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
    determined = moments >= 4 and final.high - final.low < SETTLED_WITHIN_PCT
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
    keep = losses >= -0.001
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
        if days[last] >= days[-1] - 0.5 and before.size:
            span = float(days[last] - days[before[-1]])
            losses.append(100 * float(parts[before[-1]] / parts[last] - 1) * WEEK_DAYS / span)
    return float(np.median(losses)) if losses else None


def _parts(entries: Sequence[Entry[Weighing]]) -> tuple[Array, Array, NDArray[np.int_]]:
    """Weights as parts of their subject's first, with standard deviations and offset groups."""
    parts, sds, groups = [], [], []
    segments: dict[tuple[str, int, float], tuple[int, float]] = {}
    last_part: dict[str, float] = {}
    for entry in entries:
        weighing = entry.record
        key = (weighing.subject, weighing.bars, weighing.tare_g)
        per_bar = weighing.grams / weighing.bars
        if key not in segments:
            # A new segment goes on from where its subject stood.
            segments[key] = (len(segments), per_bar / last_part.get(weighing.subject, 1.0))
        group, unit = segments[key]
        part = per_bar / unit
        last_part[weighing.subject] = part
        parts.append(part)
        step = SCALE_STEPS * weighing.resolution_g / weighing.bars / unit
        sds.append(float(np.hypot(step, ROOM_NOISE * part)))
        groups.append(group)
    return np.array(parts), np.array(sds), np.array(groups)


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


UNSEEN_DAYS = 4.0
"""A room that changed later than this before the last weighing shows in no weight yet: it would only widen. Ours."""


def _fit(
    days: Array, parts: Array, sds: Array, groups: NDArray[np.int_], room: RoomHistory
) -> tuple[Curves, Array, float]:
    """Curves, squared distance of each weighing in standard deviations, and what the noise was multiplied by."""
    latest = float(days[-1])
    changed = (
        [room_changed(latest - UNSEEN_DAYS, follows) for follows in ROOM_DAYS] if len(days) >= 4 and latest > 9 else []
    )
    noted = room.model(latest)
    models = [*MODELS, *changed, *([noted] if noted is not None else [])]

    def fit(factor: float, weights: Array) -> tuple[Curves, Array]:
        precision = (weights / (sds * factor) ** 2)[:, None, None]
        curves = Grids(models, days, parts[:, None], precision, groups, OFFSET_SD).zoom().curves()
        fitted = curves.at(days)[..., 0] + curves.extra[..., 0][:, groups]
        return curves, ((parts - fitted.mean(axis=0)) / sds) ** 2

    weights = np.ones(len(days))
    curves, chi2 = fit(1.0, weights)
    spare = len(days) - int(groups.max()) - 3
    inflation = float(np.sqrt(max(1.0, np.median(chi2) / MEDIAN_CHI2_1))) if spare >= 3 else 1.0
    if spare >= 3 and (inflation > ROUGH_FROM or chi2.max() > FAR_OFF_CHI2 * inflation**2):
        weights = np.minimum(1.0, CHI2_1_AT_99 * inflation**2 / np.maximum(chi2, 1e-9))
        curves, chi2 = fit(inflation, weights)
    return curves, chi2 / inflation**2, inflation


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
        text += msg("; the end weight is not settled by these weighings: {low} to {high}% in all", low=low, high=high)
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
