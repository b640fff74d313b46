"""The gauges: each rule looks at a batch and returns one finding. A new rule is one function in `RULES`."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum
from itertools import groupby
from typing import Literal

from curejournal.cure.alkali_course import AlkaliSummary
from curejournal.cure.house import HouseRules, source_of
from curejournal.cure.journey import Journey
from curejournal.cure.kinds import KINDS
from curejournal.cure.records import Batch, Event, ScalarReading, SurfaceNote
from curejournal.cure.states import State
from curejournal.cure.weight import Drying, DryingReport
from curejournal.soap.lye import LyeCheck
from curejournal.soap.recipe import Recipe

DAY = timedelta(days=1)


MOST_SUPERFAT_PCT = 40.0
"""Superfat above which no recipe is as weighed: salt bars and pure coconut soap have 15 to 25% [common practice, no
source]. Ours."""


class Verdict(StrEnum):
    """What a gauge says, best first. *Not known* lets nothing pass that needs knowing."""

    GO = "go"
    UNKNOWN = "not known"
    WAIT = "wait"
    HOLD = "hold"


Gauge = Literal["age", "drying", "alkali", "colour", "surface", "lye margin", "record complete"]


@dataclass(frozen=True)
class Finding:
    """What one gauge says, with its evidence.

    `figures` maps a name to (value, unit). `rule` is the rule as applied and
    `source` where its limit comes from. `until` is when it may turn to *go*,
    `until_interval` its 95% interval (None is unknown). `advice` is the useful
    thing to do, and `needs` what the maker has to supply, where time alone does not help.
    """

    gauge: Gauge
    verdict: Verdict
    words: str
    rule: str
    source: str
    figures: Mapping[str, tuple[float, str]] = field(default_factory=dict)
    until: datetime | None = None
    until_interval: tuple[datetime | None, datetime | None] = (None, None)
    advice: str = ""
    needs: str = ""


@dataclass(frozen=True)
class Context:
    """All that a rule may look at: the batch up to `on`, and what was worked out from it."""

    batch: Batch
    on: datetime
    rules: HouseRules
    poured_at: datetime | None
    lye: LyeCheck | None
    lye_problem: str
    drying: DryingReport
    alkali: AlkaliSummary
    journeys: Mapping[str, Journey]

    @property
    def margin_proven(self) -> bool:
        """Whether the recipe leaves fat over even at the low end of its interval, and can be that of a soap."""
        lye = self.lye
        return lye is not None and lye.lye_g > 0 and lye.superfat_interval_pct[0] >= 0 and not self.margin_absurd

    @property
    def margin_absurd(self) -> bool:
        """Whether the recipe leaves so much fat over that a weight in it must be wrong."""
        return self.lye is not None and self.lye.superfat_nominal_pct > MOST_SUPERFAT_PCT

    @property
    def titrated_good(self) -> bool:
        """Whether a titration speaks for the batch."""
        return self.alkali.clearing is not None and self.alkali.clearing.method == "titration"


def age(context: Context) -> Finding:
    """Old enough."""
    least = context.rules.min_age_days
    rule, source = f"at least {least:g} days since the pour", source_of("min_age_days")
    if context.poured_at is None:
        return Finding(
            "age",
            Verdict.UNKNOWN,
            "the pour is not on record",
            rule,
            source,
            advice="Enter when it was poured.",
            needs="the time of the pour",
        )
    days = (context.on - context.poured_at) / DAY
    figures = {"age": (days, "days")}
    if days >= least:
        return Finding("age", Verdict.GO, f"{int(days)} days old", rule, source, figures)
    until = context.poured_at + least * DAY
    return Finding("age", Verdict.WAIT, f"{int(days)} of {least:g} days", rule, source, figures, until, (until, until))


def drying(context: Context) -> Finding:
    """Weight steady."""
    limit, apart = context.rules.loss_pct_week, context.rules.weighings_days_apart
    rule = f"loss below {limit:g}% in 7 days, interval and all, on two weighings {apart:g} days apart or more"
    source, report = source_of("loss_pct_week"), context.drying
    figures: dict[str, tuple[float, str]] = {}
    if report.loss_pct_week is not None:
        figures = {
            "loss a week": (report.loss_pct_week.estimate, "%"),
            "loss a week, low": (report.loss_pct_week.low, "%"),
            "loss a week, high": (report.loss_pct_week.high, "%"),
        }
    if report.loss_pct is not None:
        figures["lost so far"] = (report.loss_pct, "%")
    if report.most_loss_pct is not None:
        figures["water that went in"] = (report.most_loss_pct, "%")
    figures |= _room(context)
    if report.state is Drying.UNKNOWN:
        return Finding(
            "drying",
            Verdict.UNKNOWN,
            report.words,
            rule,
            source,
            figures,
            advice="Weigh the same marked bars each week.",
            needs=f"weights {apart:g} days apart",
        )
    if report.state is Drying.STEADY:
        return Finding("drying", Verdict.GO, f"steady: {report.words}", rule, source, figures)
    damp = figures.get("room humidity, two weeks", (0.0, ""))[0] > DAMP_PCT or report.state is Drying.GAINING
    advice = "Dry the room; weigh again in a week." if damp else "Weigh again in a week."
    low, high = (None if at is None else max(context.on, at + apart * DAY) for at in report.steady_interval)
    until = None if report.steady_at is None else max(context.on, report.steady_at + apart * DAY)
    return Finding("drying", Verdict.WAIT, report.words, rule, source, figures, until, (low, high), advice)


DAMP_PCT = 60.0
"""Relative humidity above which drying may reverse [common practice, no source]."""


def _room(context: Context) -> dict[str, tuple[float, str]]:
    """Mean temperature and humidity of the last two weeks, where they were noted."""
    noted: dict[str, list[float]] = {}
    for at, reading in context.batch.records(ScalarReading):
        if reading.kind.startswith("room ") and at >= context.on - 14 * DAY:
            noted.setdefault(reading.kind, []).append(reading.value)
    return {f"{kind}, two weeks": (sum(v) / len(v), KINDS[kind].unit) for kind, v in noted.items() if kind in KINDS}


def alkali(context: Context) -> Finding:
    """No free alkali, as far as tests can tell."""
    limit, usual = context.rules.free_alkali_pct, context.rules.ph_usual_to
    rule = (
        f"free alkali at most {limit:g}% NaOH by titration; or by meter at most pH {usual:g} at 1% where the "
        "recipe leaves fat over; a high reading holds until a later good test of the same or a stronger kind"
    )
    source, summary = source_of("free_alkali_pct"), context.alkali
    figures: dict[str, tuple[float, str]] = {}
    for test in summary.tests:
        if test.titration is not None:
            figures["free alkali"] = (test.titration.free_alkali_pct, "% NaOH")
            figures["free alkali, high"] = (test.titration.interval_pct[1], "% NaOH")
        if test.ph is not None:
            figures["pH, low"], figures["pH, high"] = ((end, "at 1%") for end in test.ph.interval)

    def finding(verdict: Verdict, words: str, advice: str = "") -> Finding:
        needs = "an alkali test by meter or titration" if verdict is Verdict.UNKNOWN else ""
        return Finding("alkali", verdict, words, rule, source, figures, advice=advice, needs=needs)

    if summary.holding:
        high = max(summary.holding, key=lambda test: test.at)
        lift = {"strip": "strip or meter at 1%, or titration,", "meter": "meter at 1%, or titration,"}.get(
            high.method, "titration"
        )
        return finding(
            Verdict.HOLD,
            f"{high.method} of {_day(high.at)}: {high.words}",
            f"Keep it apart and do not sell it. Only a later good {lift} lifts this.",
        )
    if summary.clearing is not None and (context.titrated_good or context.margin_proven):
        words = f"{summary.clearing.method} of {_day(summary.clearing.at)}: {summary.clearing.words}"
        if not context.titrated_good:
            words += "; free alkali itself not known (not titrated)"
        return finding(Verdict.GO, words)
    if summary.clearing is not None:
        return finding(
            Verdict.UNKNOWN,
            "a usual pH alone does not show that no lye is over, and the recipe's margin is not proven",
            "Titrate, or complete the recipe.",
        )
    if not summary.tests:
        return finding(
            Verdict.UNKNOWN, "no alkali test yet", "Measure the pH of a 1% solution by meter at least; better, titrate."
        )
    last = summary.tests[-1]
    if last.method == "strip":
        advice = "Measure a 1% solution with a calibrated meter, or titrate: a strip can hold a batch, not clear it."
    else:
        advice = "Test again in a week at 1% by calibrated meter, or titrate."
    return finding(Verdict.UNKNOWN, f"{last.method} of {_day(last.at)}: {last.words}", advice)


_COLOUR_VERDICT = {
    State.BACK: Verdict.GO,
    State.STEADY: Verdict.GO,
    State.TURNING: Verdict.WAIT,
    State.COMING_BACK: Verdict.WAIT,
    State.BROWNING: Verdict.WAIT,
    State.SETTLED_OFF: Verdict.HOLD,
    State.TOO_FEW: Verdict.WAIT,
}


def colour(context: Context) -> Finding:
    """Each portion the colour that it should be."""
    apart = context.rules.colour_days_apart
    rule = f"each portion within its tolerance, interval and all, on two readings {apart:g} days apart, and at rest"
    source = f"tolerance: the maker's; days apart: {source_of('colour_days_apart')}"
    followed = {
        name: journey
        for name, journey in context.journeys.items()
        if journey.intended_lab is not None or journey.moments
    }
    if not followed:
        return Finding(
            "colour", Verdict.UNKNOWN, "no colour was followed", rule, source, advice="A photo with the card starts it."
        )
    verdicts = {name: _portion_verdict(journey) for name, journey in followed.items()}
    ranks = list(Verdict)
    worst = max(verdicts.values(), key=ranks.index)
    named = [name for name, verdict in verdicts.items() if verdict is worst]
    figures = {
        f"{name}: ΔE00": (journey.difference_now.estimate, "ΔE00")
        for name, journey in followed.items()
        if journey.difference_now is not None
    }
    words = "; ".join(f"{_named(name)}{_state_words(followed[name])}" for name in named)
    until, low, high = None, None, None
    if worst is Verdict.WAIT:
        ends = [_within_from(followed[name], apart) for name in named]
        until, low, high = (
            None if any(end is None for end in column) else max([context.on, *filter(None, column)])
            for column in zip(*ends, strict=True)
        )
    photos = worst is Verdict.WAIT and all(followed[name].state is State.TOO_FEW for name in named)
    advice = {
        Verdict.HOLD: "Not a safety matter: decide whether to sell it as it is. If so, enter the colour it has as "
        "the intended one.",
        Verdict.WAIT: "Photograph it with the card again.",
    }.get(worst, "")
    needs = "photos with the card some days apart" if photos and until is None else ""
    return Finding("colour", worst, words, rule, source, figures, until, (low, high), advice, needs)


def _within_from(journey: Journey, apart: float) -> tuple[datetime | None, datetime | None, datetime | None]:
    """When two readings `apart` days apart may show a portion within tolerance: middle, earliest, latest."""
    forecast = journey.forecast
    if forecast is None or not forecast.expected or journey.state in (State.TURNING, State.BROWNING):
        return None, None, None
    second = journey.points[-1].at + apart * DAY
    middle, low, high = (None if at is None else max(at, second) for at in (forecast.at, *forecast.interval))
    return middle, low, high


def _unproven(journey: Journey) -> bool:
    return journey.state is State.STEADY and journey.intended_lab is not None and not journey.proven_within


def _portion_verdict(journey: Journey) -> Verdict:
    # Without an intended colour there is nothing to come back to, so too few readings hold nobody up.
    if journey.intended_lab is None and journey.state is State.TOO_FEW:
        return Verdict.UNKNOWN
    return Verdict.WAIT if _unproven(journey) else _COLOUR_VERDICT[journey.state]


def _state_words(journey: Journey) -> str:
    return f"{journey.words}{', not yet proven within tolerance' if _unproven(journey) else ''}"


def _named(portion: str) -> str:
    return f"{portion}: " if portion else ""


_SURFACE: dict[str, tuple[Verdict, str, str]] = {
    "clear": (Verdict.GO, "clear", ""),
    "ash": (Verdict.GO, "soda ash: a matter of looks, it can be washed or planed off", ""),
    "sweat": (Verdict.WAIT, "beads of moisture", "Dry the room's air; look again in a few days."),
    "orange spots": (Verdict.HOLD, "orange spots: the fat goes rancid", "Set the bars aside; look at the others."),
    "lye pocket": (
        Verdict.HOLD,
        "a lye pocket: caustic",
        "Wear gloves and keep it apart; do not sell it. Enter “clear” only for bars without any.",
    ),
    "weeping": (Verdict.HOLD, "oil or lye weeps out", "Wear gloves and keep it apart; test what comes out."),
}


def surface(context: Context) -> Finding:
    """Nothing on the surface that speaks against it."""
    rule = "no orange spots, lye pockets or weeping since the bars were last noted as clear; no beads at the last look"
    source = "[common practice, no source]"
    looks = context.batch.records(SurfaceNote)
    if not looks:
        return Finding(
            "surface", Verdict.UNKNOWN, "nobody noted a look", rule, source, advice="Look at the bars and note it."
        )
    # A pocket seen in one bar is undone neither by another bar on the same day nor by ash later: only by “clear”.
    standing: list[tuple[datetime, SurfaceNote]] = []
    for _, group in groupby(looks, key=lambda look: look[0].date()):
        today = list(group)
        bad = [look for look in today if _SURFACE[look[1].look][0] is Verdict.HOLD]
        cleared = not bad and any(note.look == "clear" for _, note in today)
        standing = [] if cleared else [*standing, *bad]
    at, note = max([*reversed(standing), *today], key=lambda look: list(Verdict).index(_SURFACE[look[1].look][0]))
    verdict, words, advice = _SURFACE[note.look]
    return Finding("surface", verdict, f"{words} ({_day(at)})", rule, source, advice=advice)


def lye_margin(context: Context) -> Finding:
    """Fat left over at the low end of what is published."""
    rule = (
        "superfat above zero over the whole interval of published saponification values, and no more than "
        f"{MOST_SUPERFAT_PCT:g}%, or a good titration"
    )
    source = "ranges in the list of oils, each with its source"
    if context.lye is None:
        words = context.lye_problem or "no recipe"
        return Finding("lye margin", Verdict.UNKNOWN, words, rule, source, advice="Enter the recipe as weighed.")
    low, high = context.lye.superfat_interval_pct
    figures = {
        "superfat": (context.lye.superfat_nominal_pct, "%"),
        "superfat, low": (low, "%"),
        "superfat, high": (high, "%"),
        "superfat, worst case": (context.lye.superfat_worst_pct[0], "%"),
    }
    words = f"superfat {low:.1f} to {high:.1f}%"
    if context.lye.lye_g <= 0:
        return Finding("lye margin", Verdict.UNKNOWN, "the recipe has no alkali", rule, source, figures)
    if context.margin_proven or context.titrated_good:
        more = "" if context.margin_proven else ", and titrated good"
        return Finding("lye margin", Verdict.GO, words + more, rule, source, figures)
    if context.margin_absurd:
        return Finding(
            "lye margin",
            Verdict.WAIT,
            f"{words}: no soap has that much, so a weight in the recipe is wrong",
            rule,
            source,
            figures,
            advice="Correct the recipe, or titrate.",
            needs="the recipe as weighed",
        )
    verdict = Verdict.HOLD if context.lye.superfat_nominal_pct < 0 else Verdict.WAIT
    return Finding(
        "lye margin",
        verdict,
        f"{words}: lye may be over",
        rule,
        source,
        figures,
        advice="Titrate before selling. If the recipe was mistyped, correct it.",
        needs="a titration",
    )


def record_complete(context: Context) -> Finding:
    """What an inspector would ask for is there."""
    rule = "recipe and pour on record; lots and number of bars noted where missing"
    source = "ISO 22716 themes [from memory]; Regulation (EC) 1223/2009 [from memory]; local codes decide"
    recipe = context.batch.recipe
    if recipe is None or context.poured_at is None:
        known = {"the recipe": recipe, "the time of the pour": context.poured_at}
        missing = ", ".join(name for name, there in known.items() if there is None)
        words, advice = f"missing: {missing}", "Enter what is missing."
        return Finding("record complete", Verdict.WAIT, words, rule, source, advice=advice, needs=missing)
    lots = _without_lot(recipe)
    notes = []
    if lots:
        notes.append(f"no lot for {', '.join(lots)}")
    if not any(event.bars for _, event in context.batch.records(Event)):
        notes.append("number of bars not noted")
    return Finding(
        "record complete",
        Verdict.GO,
        "; ".join(notes) or "complete",
        rule,
        source,
        {"materials without a lot": (float(len(lots)), "")},
        advice="Complete the record before an inspector asks." if notes else "",
    )


def _without_lot(recipe: Recipe) -> list[str]:
    lots = [
        *((oil.key, oil.lot) for oil in recipe.oils),
        *((alkali.kind, alkali.lot) for alkali in recipe.alkalis),
        *((additive.name, additive.lot) for additive in recipe.additives),
    ]
    return [name for name, lot in lots if not lot]


RULES: tuple[Callable[[Context], Finding], ...] = (
    alkali,
    lye_margin,
    surface,
    age,
    drying,
    colour,
    record_complete,
)
"""Every gauge, those of safety first."""


def _day(at: datetime) -> str:
    return f"{at.day} {at:%B}"
