"""The colour that a portion should have when cured, picked from what was measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from math import hypot

import numpy as np

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import Day, join, msg, msg_n
from curejournal.base.normal import Z95
from curejournal.batch.descriptions import describe_lab
from curejournal.batch.plausibility import Doubt
from curejournal.batch.records import Batch, ColourReading, Entry, Portion
from curejournal.colour.sample import Grade, Lab, Matrix3
from curejournal.judging.colour_series import ColourSeries, fit_colour_series
from curejournal.judging.colour_states import State
from curejournal.judging.limits import Limits
from curejournal.judging.sessions import OTHER_INSTRUMENT_SD, sessions

DAY = timedelta(days=1)
BATTER = timedelta(hours=1)
"""How long after the pour a reading may still be of batter that no fragrance has changed. Ours: turns start within
the hour [common practice, no source]."""


class NoColourToPick(CureJournalError):
    """There is no reading that a target colour can be picked from."""


@dataclass(frozen=True)
class TargetChoice:
    """A colour, where it is from in words, and what is doubtful about taking it.

    `card` is the one that it was read with, and `sd` what it may be off itself, in each Lab coordinate.
    """

    lab: Lab
    words: str
    doubts: tuple[Doubt, ...] = ()
    card: str = ""
    sd: float = 0.0


def from_earlier_batch(batch: Batch, earlier: Batch, portion: str, rules: Limits) -> TargetChoice:
    """The colour of a cured earlier batch's portion, as all its good readings together have it at the latest of them.

    Parameters
    ----------
    batch : Batch
        The one that gets the target.
    earlier : Batch
        The one that is cured.
    portion : str
        Name of a portion.
    rules : Limits
        The limits in force.

    Returns
    -------
    TargetChoice

    Raises
    ------
    NoColourToPick
    """
    good = _good(earlier, portion)
    last = max(good, key=lambda entry: entry.at)
    doubts = list(_of_another_card(batch, last))
    poured = earlier.poured_at
    if poured is None or last.at - poured < rules.min_age_days * DAY:
        age = (
            msg("of unknown age")
            if poured is None
            else msg("{poured} old", poured=msg_n("{number} day", "{number} days", round((last.at - poured) / DAY)))
        )
        doubts.append(
            Doubt(
                "not cured",
                msg("{code} was {age} then.", code=earlier.code, age=age),
                msg("Photograph it again when cured, or take another."),
            )
        )
    seen = fit_colour_series(good, poured)
    state = seen.state
    lab, sd = _now(seen)
    if state in (State.DISCOLOURING, State.RECOVERING, State.BROWNING):
        doubts.append(
            Doubt(
                "changing",
                msg("{code} was {state} then.", code=earlier.code, state=state.value),
                msg("Take one that is at rest."),
            )
        )
    return TargetChoice(
        lab,
        msg("{code} {portion}, {last}", code=earlier.code, portion=portion, last=_seen(last)),
        tuple(doubts),
        last.record.card,
        sd,
    )


def from_control(batch: Batch, portion: str) -> TargetChoice:
    """The colour of a control portion of the same batch: its latest moment with a good reading.

    Parameters
    ----------
    batch : Batch
    portion : str
        The control.

    Returns
    -------
    TargetChoice

    Raises
    ------
    NoColourToPick
        Also if the portion is no control.
    """
    if portion not in {known.name for known in batch.portions if known.control}:
        controls = join(", ", (known.name for known in batch.portions if known.control)) or "none"
        raise NoColourToPick(
            msg("“{portion}” is not a control portion of {code}.", portion=portion, code=batch.code),
            msg("Its controls: {controls}.", controls=controls),
        )
    good = _good(batch, portion)
    last, moment = max(good, key=lambda entry: entry.at), sessions(good)[-1]
    return TargetChoice(
        moment.lab,
        msg("control {portion}, {last}", portion=portion, last=_seen(last)),
        (),
        last.record.card,
        _sd(moment.covariance),
    )


def from_batter(batch: Batch, entry: int) -> TargetChoice:
    """The colour of one reading of this batch: of the pigmented batter before the fragrance went in.

    Parameters
    ----------
    batch : Batch
    entry : int
        Id of the entry of the reading.

    Returns
    -------
    TargetChoice

    Raises
    ------
    NoColourToPick
    """
    found = next((seen for seen in batch.of(ColourReading) if seen.id == entry), None)
    reading = found.record if found else None
    if found is None or reading is None or Grade(reading.grade) is Grade.NOT_USABLE:
        raise NoColourToPick(
            msg("Entry {entry} is not a usable colour of {code}.", entry=entry, code=batch.code),
            msg("The history shows the numbers of its readings."),
        )
    doubts = []
    if Grade(reading.grade) is Grade.INDICATIVE:
        doubts.append(
            Doubt(
                "indicative",
                msg("This reading is indicative: no colour chart was in the photo."),
                msg("Take another photo."),
            )
        )
    if batch.poured_at is not None and found.at > batch.poured_at + BATTER:
        doubts.append(
            Doubt(
                "after the pour",
                msg(
                    "This reading is from {hours:.1f} hours after the pour.",
                    hours=(found.at - batch.poured_at) / timedelta(hours=1),
                ),
                msg("Choose one from before the fragrance went in."),
            )
        )
    (moment,) = sessions([found])
    words = msg("batter before fragrance, {found}", found=_seen(found))
    return TargetChoice(reading.lab, words, tuple(doubts), reading.card, _sd(moment.covariance))


def target_sd(portion: Portion, readings: Sequence[Entry[ColourReading]]) -> float:
    """What all readings of a portion together may be off against its target colour, in each Lab coordinate.

    The target colour's own error; and, if it was not read on soap with the very card that the portion is read with,
    what readings of one card share. A control in the same photo shares all of that, and so leaves nothing.

    Parameters
    ----------
    portion : Portion
        Name of a portion.
    readings : sequence of Entry[ColourReading]
        Of this portion.

    Returns
    -------
    float
        In Lab units.
    """
    if portion.target_lab is None or portion.target_source == "control portion":
        return 0.0
    cards = {entry.record.card for entry in readings}
    soap = portion.target_source in ("cured earlier batch", "batter before fragrance")
    if portion.target_source is None or (soap and (not portion.target_card or cards <= {portion.target_card})):
        return portion.target_sd
    # Two cards err each in its own way; a typed colour is taken as an instrument's, which hardly does.
    of_aim = OTHER_INSTRUMENT_SD if portion.target_card else 0.0
    return hypot(portion.target_sd, OTHER_INSTRUMENT_SD, of_aim)


def from_swatch(batch: Batch, lab: Lab, words: str, card: str = "") -> TargetChoice:
    """A colour as typed, or of a swatch photographed with a card.

    Parameters
    ----------
    batch : Batch
    lab : Lab
        CIELAB D50/2.
    words : str
        Where it is from.
    card : str
        That it was photographed with; empty if it was typed.

    Returns
    -------
    TargetChoice
    """
    relative = {
        entry.record.card
        for entry in batch.of(ColourReading)
        if Grade(entry.record.grade) is Grade.RELATIVE and entry.record.card != card
    }
    doubts = (
        Doubt(
            "relative card",
            msg(
                "This batch is read with {relative}, whose own colours are not known.",
                relative=join(", ", sorted(relative)),
            ),
            msg(
                "Enrol that card beside a chart, or pick the colour of a control, of the batter, or of an earlier "
                "batch."
            ),
        ),
    )
    return TargetChoice(lab, msg("swatch {words}", words=words), doubts if relative else (), card)


def _good(batch: Batch, portion: str) -> tuple[Entry[ColourReading], ...]:
    good = tuple(
        entry
        for entry in batch.of(ColourReading)
        if entry.record.subject == portion and Grade(entry.record.grade) in (Grade.MEASURED, Grade.RELATIVE)
    )
    if not good:
        seen = join(", ", dict.fromkeys(entry.record.subject for entry in batch.of(ColourReading))) or "none"
        raise NoColourToPick(
            msg("{code} has no good reading of “{portion}”.", code=batch.code, portion=portion),
            msg("Portions that were read: {seen}.", seen=seen),
        )
    return good


def _now(seen: ColourSeries) -> tuple[Lab, float]:
    """The colour at the last reading by the fitted curve, and its standard deviation in each coordinate."""
    curve, last = seen.curve, seen.points[-1]
    if curve is None or seen.moments < 3:
        return last.lab, max(last.lab_sd)
    at = int(np.argmin(np.abs(np.array(curve.days) - last.days)))
    spread = np.subtract(curve.lab_high[at], curve.lab_low[at]) / (2 * Z95)
    return curve.lab[at], float(np.sqrt(np.mean(spread**2)))


def _sd(covariance: Matrix3) -> float:
    return float(np.sqrt(np.trace(np.array(covariance)) / 3))


def _seen(entry: Entry[ColourReading]) -> str:
    return msg("read {at} with card {card}", at=Day(entry.at), card=entry.record.card)


def _of_another_card(batch: Batch, entry: Entry[ColourReading]) -> Sequence[Doubt]:
    """Colours relative to a card say nothing about those read with another."""
    picked = entry.record
    others = sorted({seen.record.card for seen in batch.of(ColourReading)} - {picked.card})
    if Grade(picked.grade) is not Grade.RELATIVE or not others:
        return ()
    return (
        Doubt(
            "another card",
            msg(
                "{lab} is relative to card {card}; this batch is read with {others}.",
                lab=describe_lab(picked.lab),
                card=picked.card,
                others=join(", ", others),
            ),
            msg("Enrol the cards beside a chart, or read both batches with one card."),
        ),
    )


def from_reading(earlier: Batch, entry: Entry[ColourReading], rules: Limits) -> TargetChoice:
    """The colour of one reading of an earlier batch, as its picture shows it on that day.

    Parameters
    ----------
    earlier : Batch
        The batch that was read.
    entry : Entry[ColourReading]
        The reading.
    rules : Limits
        The limits in force.

    Returns
    -------
    TargetChoice

    Raises
    ------
    NoColourToPick
        If that reading is of no use.
    """
    reading = entry.record
    if Grade(reading.grade) is Grade.NOT_USABLE:
        raise NoColourToPick(
            msg("The colour in this picture cannot be used."), msg("Touch another picture, or take a new photo.")
        )
    doubts = []
    if earlier.poured_at is None or entry.at - earlier.poured_at < rules.min_age_days * DAY:
        doubts.append(
            Doubt(
                "not cured",
                msg("{code} had not cured when this picture was taken.", code=earlier.code),
                msg("Its colour may still have changed: a later picture tells more."),
            )
        )
    (moment,) = sessions([entry])
    words = msg("{code} {portion}, {last}", code=earlier.code, portion=reading.subject, last=_seen(entry))
    return TargetChoice(reading.lab, words, tuple(doubts), reading.card, _sd(moment.covariance))
