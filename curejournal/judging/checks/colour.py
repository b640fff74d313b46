"""The check of colour: each portion the colour that it should be."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

import numpy as np

from curejournal.base.messages import join, msg, msg_n
from curejournal.batch.records import ColourAccepted
from curejournal.colour.difference import ciede2000
from curejournal.judging.browning import may_brown, out_of_date
from curejournal.judging.colour_series import ColourSeries
from curejournal.judging.colour_states import State
from curejournal.judging.context import Context
from curejournal.judging.findings import Check, Finding, Verdict
from curejournal.judging.limits import source_of

DAY = timedelta(days=1)
SOURCE = msg("tolerance: the maker's; days apart: {source_of}", source_of=source_of("colour_days_apart"))

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
    """Each portion the colour that it should be.

    Parameters
    ----------
    context : Context
        What is known of the batch at that time.

    Returns
    -------
    Finding
        The verdict of this check, with its words and advice.
    """
    apart = context.rules.colour_days_apart
    rule = msg(
        "each portion within its tolerance, interval and all, on two readings {apart:g} days apart, and at rest; or "
        "accepted as it is",
        apart=apart,
    )
    followed = {
        name: journey for name, journey in context.journeys.items() if journey.target_lab is not None or journey.moments
    }
    unread = [name for name, journey in context.journeys.items() if name not in followed and name]
    if not followed:
        return Finding(
            "colour",
            Verdict.UNKNOWN,
            msg("no colour was followed"),
            rule,
            SOURCE,
            advice=msg("A photo with the card starts it."),
        )
    verdicts = {name: _portion_verdict(context, name, journey) for name, journey in followed.items()}
    worst = max(verdicts.values(), key=list(Verdict).index)
    named = [name for name, verdict in verdicts.items() if verdict is worst]
    words = join("; ", (_named(name) + _portion_words(context, name, followed[name]) for name in named))
    if unread:
        words += msg("; no reading of {unread}", unread=join(", ", unread))
    until, low, high = None, None, None
    if worst is Verdict.PENDING:
        ends = [_within_from(followed[name], apart) for name in named]
        until, low, high = (
            None if any(end is None for end in column) else max([context.on, *filter(None, column)])
            for column in zip(*ends, strict=True)
        )
    photos = worst is Verdict.PENDING and all(followed[name].state is State.TOO_FEW for name in named)
    strange = any(followed[name].last_is_strange for name in named)
    advice = {
        Verdict.HOLD: msg(
            "Not a safety matter: decide whether to sell it as it is. If so, accept its colour, with your "
            "reason; the target stays."
        ),
        Verdict.PENDING: msg("Was the last photo of this bar? Photograph it with the card again.")
        if strange
        else msg("Photograph it with the card again."),
    }.get(worst, "")
    needs = msg("photos with the card some days apart") if photos and until is None else ""
    if worst is Verdict.PENDING and all(out_of_date(context, followed[name]) for name in named):
        needs = needs or msg("a new photo with the card")
    return Finding("colour", worst, words, rule, SOURCE, _figures(followed), until, (low, high), advice, needs)


def _figures(followed: Mapping[str, ColourSeries]) -> dict[str, tuple[float, str]]:
    return {
        msg("{name}: ΔE00", name=name): (journey.difference_now.estimate, "ΔE00")
        for name, journey in followed.items()
        if journey.difference_now is not None
    }


def accepted(context: Context, name: str, journey: ColourSeries) -> ColourAccepted | None:
    """The act by which a portion's colour was accepted as it is, while the colour is still that one.

    Parameters
    ----------
    context : Context
    name : str
        Of the portion.
    journey : ColourSeries
        What its colour does.

    Returns
    -------
    ColourAccepted or None
    """
    acts = [act for _, act in context.batch.records(ColourAccepted) if act.portion == name]
    if not acts or journey.lab_now is None:
        return None
    last = acts[-1]
    same = last.lab is None or float(ciede2000(np.array(last.lab), np.array(journey.lab_now))) <= journey.tolerance
    return last if same else None


def _within_from(journey: ColourSeries, apart: float) -> tuple[datetime | None, datetime | None, datetime | None]:
    """When two readings `apart` days apart may show a portion within tolerance: middle, earliest, latest."""
    forecast = journey.forecast
    if (
        forecast is None
        or not forecast.expected
        or journey.state
        in (
            State.DISCOLOURING,
            State.BROWNING,
            State.TOO_FEW,
        )
    ):
        return None, None, None
    second = journey.points[-1].at + apart * DAY
    middle, low, high = (None if at is None else max(at, second) for at in (forecast.at, *forecast.interval))
    return middle, low, high


def _unproven(journey: ColourSeries) -> bool:
    return journey.state is State.STABLE and journey.target_lab is not None and not journey.proven_within


def _portion_verdict(context: Context, name: str, journey: ColourSeries) -> Verdict:
    # Without a target there is nothing to come back to, so too few readings hold nobody up.
    if journey.target_lab is None and journey.state is State.TOO_FEW:
        return Verdict.UNKNOWN
    if journey.state in (State.STABLE_OFF, State.BROWNING) and accepted(context, name, journey):
        return Verdict.PASS
    verdict = Verdict.PENDING if _unproven(journey) else _COLOUR_VERDICT[journey.state]
    return Verdict.PENDING if verdict is Verdict.PASS and out_of_date(context, journey) else verdict


def _portion_words(context: Context, name: str, journey: ColourSeries) -> str:
    told = journey.words
    act = accepted(context, name, journey) if journey.state in (State.STABLE_OFF, State.BROWNING) else None
    notes = [msg("accepted as it is: {why}", why=act.why)] if act else []
    if _unproven(journey):
        notes.append(msg("not yet proven within tolerance"))
    if out_of_date(context, journey):
        days = int((context.on - journey.points[-1].at) / DAY)
        notes.append(msg("last photographed {days} days ago", days=days))
    if journey.last_is_strange:
        notes.append(msg("the last photo does not fit those before: another bar, a bad photo, or a new change"))
    if journey.approximate:
        notes.append(
            msg(
                "{approximate} among them",
                approximate=msg_n("{number} approximate reading", "{number} approximate readings", journey.approximate),
            )
        )
    if journey.mixed_cards:
        notes.append(
            msg(
                "read with cards of unknown colours: {mixed_cards}, which compare badly",
                mixed_cards=join(", ", journey.mixed_cards),
            )
        )
    if journey.state in (State.RECOVERED, State.STABLE) and may_brown(context):
        notes.append(msg("later browning cannot be excluded"))
    return join("; ", [told, *notes])


def _named(portion: str) -> str:
    return msg("{portion}: ", portion=portion) if portion else ""


CHECK = Check(
    "colour",
    colour,
    msg("Whether each portion has the colour that it should have."),
    needed=False,
    safety=False,
    source=SOURCE,
    rank=60,
)
