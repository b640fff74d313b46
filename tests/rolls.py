"""Pictures for a journal of three batches, and how they are taken in and placed."""

from __future__ import annotations

import hashlib
from datetime import datetime, timedelta, timezone
from functools import cache, wraps

from curejournal.batch.records import ColourReading, Event, Portion
from curejournal.batch.workshop import TagId
from curejournal.journal.store import Journal
from curejournal.photo.analysis import analyse
from curejournal.photo.find.tag import payload
from curejournal.workflow.photos import (
    Answers,
    Arrival,
    Cards,
    Clock,
    InboxItem,
    Marks,
    PhotoAnalysis,
    Source,
    import_photos,
    place,
)
from tests.photo.windows import drawn, window

HOME = timezone(timedelta(hours=2))
POURED = datetime(2026, 9, 1, 10, 0, tzinfo=HOME)
NOW = POURED + timedelta(days=60)
TAKEN = POURED + timedelta(days=9)
BY = "Kaja (invented)"
OURS = "OURS22"
CREAM, AMBER, BROWN = (88.0, 2.0, 14.0), (64.0, 16.0, 44.0), (36.0, 14.0, 20.0)


@cache
def picture(
    *labs: tuple[float, float, float], code: str = "B-1", of: str = OURS, at: datetime | None = TAKEN, seed: int = 0
) -> bytes:
    """The window card with a tag in its slot, over soap."""
    return drawn(*labs, tag=payload(of, code) if code else "", at=at, seed=seed).jpeg


_analyses: dict[tuple[str, str, str], PhotoAnalysis] = {}


@wraps(analyse)
def analysed_once(data: bytes, cards: Cards, marks: Marks | None = None) -> PhotoAnalysis:
    """The analysis of a photo, made once however many journals on whatever databases it is for."""
    key = hashlib.sha256(data).hexdigest(), cards.fingerprint, repr(marks or Marks())
    if key not in _analyses:
        _analyses[key] = analyse(data, cards, marks)
    return _analyses[key]


def three_batches(journal: Journal) -> None:
    """B-1, one portion; B-2, two layers whose target colours are known; B-3, two of which nothing is known."""
    journal.add("", TagId(OURS), at=journal.clock(), by="Ana")
    journal.start_batch("B-1", "Plain", at=POURED, by=BY, records=[Event("poured")])
    layers = [Portion("top", 0, CREAM, "swatch"), Portion("base", 1, BROWN, "swatch"), Event("poured")]
    journal.start_batch("B-2", "Two layers", at=POURED, by=BY, records=layers)
    journal.start_batch("B-3", "Unknown layers", at=POURED, by=BY, records=[Portion("a", 0), Portion("b", 1)])


def take(journal: Journal, *files: tuple[str, bytes], workers: int = 1, **how: object) -> list[Arrival]:
    sources = [Source(name, lambda data=data: data) for name, data in files]
    settings = {"card": window(), "by": BY, "now": NOW, "clock": Clock(HOME), "workers": workers}
    return import_photos(journal, sources, **{**settings, **how})


def put(journal: Journal, item: InboxItem, **answers: object) -> InboxItem:
    return place(journal, item.sha256, Answers(**answers), card=window(), by=BY, now=NOW)


def readings(journal: Journal, code: str) -> dict[str, tuple[float, float, float]]:
    return {record.portion: record.lab for _, record in journal.batch(code).records(ColourReading)}


def asked(arrival: Arrival) -> set[str]:
    assert arrival.outcome == "needs you", arrival
    return {question.kind for question in arrival.item.questions}
