"""The check of colour: each portion the colour that it should be."""

from __future__ import annotations

from datetime import datetime, timedelta

from curejournal.cure.context import Context
from curejournal.cure.findings import Check, Finding, Verdict
from curejournal.cure.house import source_of
from curejournal.cure.journey import Journey
from curejournal.cure.states import State

DAY = timedelta(days=1)

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


CHECK = Check(
    "colour",
    colour,
    "Whether each portion has the colour that it should have.",
    needed=False,
    safety=False,
    source=f"tolerance: the maker's; days apart: {source_of('colour_days_apart')}",
    rank=60,
)
