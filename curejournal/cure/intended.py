"""The colour that a portion should have when cured, picked from what was measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from curejournal.colour.sample import Grade, Lab
from curejournal.cure.checks import Doubt
from curejournal.cure.house import HouseRules
from curejournal.cure.journey import State, follow
from curejournal.cure.records import Batch, ColourReading, Entry
from curejournal.cure.sessions import sessions
from curejournal.cure.words import lab_words
from curejournal.errors import CureJournalError

DAY = timedelta(days=1)
BATTER = timedelta(hours=1)
"""How long after the pour a reading may still be of batter that no fragrance has changed. Ours: turns start within
the hour [common practice, no source]."""


class NoColourToPick(CureJournalError):
    """There is no reading that an intended colour can be picked from."""


@dataclass(frozen=True)
class Picked:
    """A colour, where it is from in words, and what is doubtful about taking it."""

    lab: Lab
    words: str
    doubts: tuple[Doubt, ...] = ()


def from_earlier_batch(batch: Batch, earlier: Batch, portion: str, rules: HouseRules) -> Picked:
    """The colour of a cured earlier batch's portion: its latest moment with a good reading.

    Raises
    ------
    NoColourToPick
    """
    good = _good(earlier, portion)
    lab, last = _latest(good)
    doubts = list(_of_another_card(batch, last))
    poured = earlier.poured_at
    if poured is None or last.at - poured < rules.min_age_days * DAY:
        age = "of unknown age" if poured is None else f"{(last.at - poured) / DAY:.0f} days old"
        doubts.append(
            Doubt("not cured", f"{earlier.code} was {age} then.", "Photograph it again when cured, or take another.")
        )
    state = follow(good, poured).state
    if state in (State.TURNING, State.COMING_BACK, State.BROWNING):
        doubts.append(Doubt("changing", f"{earlier.code} was {state.value} then.", "Take one that is at rest."))
    return Picked(lab, f"{earlier.code} {portion}, {_seen(last)}", tuple(doubts))


def from_control(batch: Batch, portion: str) -> Picked:
    """The colour of a control portion of the same batch: its latest moment with a good reading.

    Raises
    ------
    NoColourToPick
        Also if the portion is no control.
    """
    if portion not in {known.name for known in batch.portions if known.control}:
        controls = ", ".join(known.name for known in batch.portions if known.control) or "none"
        raise NoColourToPick(f"“{portion}” is no control portion of {batch.code}.", f"Its controls: {controls}.")
    lab, last = _latest(_good(batch, portion))
    return Picked(lab, f"control {portion}, {_seen(last)}")


def from_batter(batch: Batch, entry: int) -> Picked:
    """The colour of one reading of this batch: of the pigmented batter before the fragrance went in.

    Raises
    ------
    NoColourToPick
    """
    found = next((seen for seen in batch.of(ColourReading) if seen.id == entry), None)
    reading = _reading(found) if found else None
    if found is None or reading is None or Grade(reading.grade) is Grade.NOT_USABLE:
        raise NoColourToPick(
            f"Entry {entry} is no usable colour of {batch.code}.", "The history shows the numbers of its readings."
        )
    doubts = []
    if Grade(reading.grade) is Grade.INDICATIVE:
        doubts.append(
            Doubt("indicative", "This reading is indicative: no colour chart was in the photo.", "Take another photo.")
        )
    if batch.poured_at is not None and found.at > batch.poured_at + BATTER:
        doubts.append(
            Doubt(
                "after the pour",
                f"This reading is from {(found.at - batch.poured_at) / timedelta(hours=1):.1f} hours after the pour.",
                "Choose one from before the fragrance went in.",
            )
        )
    return Picked(reading.lab, f"batter before fragrance, {_seen(found)}", tuple(doubts))


def _reading(entry: Entry) -> ColourReading:
    assert isinstance(entry.record, ColourReading)
    return entry.record


def _good(batch: Batch, portion: str) -> tuple[Entry, ...]:
    good = tuple(
        entry
        for entry in batch.of(ColourReading)
        if _reading(entry).portion == portion and Grade(_reading(entry).grade) in (Grade.MEASURED, Grade.RELATIVE)
    )
    if not good:
        seen = ", ".join(dict.fromkeys(_reading(entry).portion for entry in batch.of(ColourReading))) or "none"
        raise NoColourToPick(f"{batch.code} has no good reading of “{portion}”.", f"Portions that were read: {seen}.")
    return good


def _latest(good: Sequence[Entry]) -> tuple[Lab, Entry]:
    return sessions(good)[-1].lab, max(good, key=lambda entry: entry.at)


def _seen(entry: Entry) -> str:
    return f"read {entry.at:%Y-%m-%d} with card {_reading(entry).card}"


def _of_another_card(batch: Batch, entry: Entry) -> Sequence[Doubt]:
    """Colours relative to a card say nothing about those read with another."""
    picked = _reading(entry)
    others = {_reading(seen).card for seen in batch.of(ColourReading)} - {picked.card}
    if Grade(picked.grade) is not Grade.RELATIVE or not others:
        return ()
    return (
        Doubt(
            "another card",
            f"{lab_words(picked.lab)} is relative to card {picked.card}; this batch is read with {', '.join(others)}.",
            "Enrol the cards beside a chart, or read both batches with one card.",
        ),
    )
