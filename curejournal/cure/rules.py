"""The gauges: each rule looks at a batch and returns one finding; those of safety are in a room of their own."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

from curejournal.cure.context import Context
from curejournal.cure.findings import Finding, Verdict
from curejournal.cure.house import source_of
from curejournal.cure.journey import Journey
from curejournal.cure.kinds import KINDS
from curejournal.cure.records import Event, ScalarReading
from curejournal.cure.safety import alkali, lye_margin, surface
from curejournal.cure.states import State
from curejournal.cure.weight import Drying
from curejournal.soap.recipe import Recipe

DAY = timedelta(days=1)


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
        return Finding("age", Verdict.PASS, f"{int(days)} days old", rule, source, figures)
    until = context.poured_at + least * DAY
    return Finding("age", Verdict.PENDING, f"{int(days)} of {least:g} days", rule, source, figures, until, (until, until))


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
        return Finding("drying", Verdict.PASS, f"steady: {report.words}", rule, source, figures)
    damp = figures.get("room humidity, two weeks", (0.0, ""))[0] > DAMP_PCT or report.state is Drying.GAINING
    advice = "Dry the room; weigh again in a week." if damp else "Weigh again in a week."
    low, high = (None if at is None else max(context.on, at + apart * DAY) for at in report.steady_interval)
    until = None if report.steady_at is None else max(context.on, report.steady_at + apart * DAY)
    return Finding("drying", Verdict.PENDING, report.words, rule, source, figures, until, (low, high), advice)


DAMP_PCT = 60.0
"""Relative humidity above which drying may reverse [common practice, no source]."""


def _room(context: Context) -> dict[str, tuple[float, str]]:
    """Mean temperature and humidity of the last two weeks, where they were noted."""
    noted: dict[str, list[float]] = {}
    for at, reading in context.batch.records(ScalarReading):
        if reading.kind.startswith("room ") and at >= context.on - 14 * DAY:
            noted.setdefault(reading.kind, []).append(reading.value)
    return {f"{kind}, two weeks": (sum(v) / len(v), KINDS[kind].unit) for kind, v in noted.items() if kind in KINDS}


_COLOUR_VERDICT = {
    State.RECOVERED: Verdict.PASS,
    State.STABLE: Verdict.PASS,
    State.DISCOLOURING: Verdict.PENDING,
    State.RECOVERING: Verdict.PENDING,
    State.BROWNING: Verdict.PENDING,
    State.STABLE_OFF: Verdict.HOLD,
    State.TOO_FEW: Verdict.PENDING,
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
    if worst is Verdict.PENDING:
        ends = [_within_from(followed[name], apart) for name in named]
        until, low, high = (
            None if any(end is None for end in column) else max([context.on, *filter(None, column)])
            for column in zip(*ends, strict=True)
        )
    photos = worst is Verdict.PENDING and all(followed[name].state is State.TOO_FEW for name in named)
    advice = {
        Verdict.HOLD: "Not a safety matter: decide whether to sell it as it is. If so, enter the colour it has as "
        "the intended one.",
        Verdict.PENDING: "Photograph it with the card again.",
    }.get(worst, "")
    needs = "photos with the card some days apart" if photos and until is None else ""
    return Finding("colour", worst, words, rule, source, figures, until, (low, high), advice, needs)


def _within_from(journey: Journey, apart: float) -> tuple[datetime | None, datetime | None, datetime | None]:
    """When two readings `apart` days apart may show a portion within tolerance: middle, earliest, latest."""
    forecast = journey.forecast
    if forecast is None or not forecast.expected or journey.state in (State.DISCOLOURING, State.BROWNING):
        return None, None, None
    second = journey.points[-1].at + apart * DAY
    middle, low, high = (None if at is None else max(at, second) for at in (forecast.at, *forecast.interval))
    return middle, low, high


def _unproven(journey: Journey) -> bool:
    return journey.state is State.STABLE and journey.intended_lab is not None and not journey.proven_within


def _portion_verdict(journey: Journey) -> Verdict:
    # Without an intended colour there is nothing to come back to, so too few readings hold nobody up.
    if journey.intended_lab is None and journey.state is State.TOO_FEW:
        return Verdict.UNKNOWN
    return Verdict.PENDING if _unproven(journey) else _COLOUR_VERDICT[journey.state]


def _state_words(journey: Journey) -> str:
    return f"{journey.words}{', not yet proven within tolerance' if _unproven(journey) else ''}"


def _named(portion: str) -> str:
    return f"{portion}: " if portion else ""


def record_complete(context: Context) -> Finding:
    """What an inspector would ask for is there."""
    rule = "recipe and pour on record; lots and number of bars noted where missing"
    source = "ISO 22716 themes [from memory]; Regulation (EC) 1223/2009 [from memory]; local codes decide"
    recipe = context.batch.recipe
    if recipe is None or context.poured_at is None:
        known = {"the recipe": recipe, "the time of the pour": context.poured_at}
        missing = ", ".join(name for name, there in known.items() if there is None)
        words, advice = f"missing: {missing}", "Enter what is missing."
        return Finding("record complete", Verdict.PENDING, words, rule, source, advice=advice, needs=missing)
    lots = _without_lot(recipe)
    notes = []
    if lots:
        notes.append(f"no lot for {', '.join(lots)}")
    if not any(event.bars for _, event in context.batch.records(Event)):
        notes.append("number of bars not noted")
    return Finding(
        "record complete",
        Verdict.PASS,
        "; ".join(["recipe and pour are there", *notes]) if notes else "complete",
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
