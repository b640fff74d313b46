"""Pictures for a journal of three batches, and how they are taken in and placed."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import datetime, timedelta, timezone
from functools import cache, wraps

from curejournal.batch.records import ColourReading, Event, Portion
from curejournal.journal.store import Journal
from curejournal.photo.card import Card
from curejournal.photo.find.tag import payload
from curejournal.workflow.photos.folder_import import Arrival, Source, take_in_all
from curejournal.workflow.photos.inbox import Clock, place
from curejournal.workflow.photos.proposal import TrayItem, look_as_json, look_name
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


_looks: dict[tuple[str, str, str], bytes] = {}


@wraps(look_as_json)
def looked_once(data: bytes, card: Card, copies: Mapping[str, Card]) -> bytes:
    """A look at a photo, made once however many journals on whatever databases it is for."""
    asked = hashlib.sha256(data).hexdigest(), look_name(card), repr(copies)
    if asked not in _looks:
        _looks[asked] = look_as_json(data, card, copies)
    return _looks[asked]


def three_batches(journal: Journal) -> None:
    """B-1, one portion; B-2, two layers whose intended colours are known; B-3, two of which nothing is known."""
    journal.set_setting("tag id", OURS)
    journal.start_batch("B-1", "Plain", at=POURED, by=BY, records=[Event("poured")])
    layers = [Portion("top", 0, CREAM, "swatch"), Portion("base", 1, BROWN, "swatch"), Event("poured")]
    journal.start_batch("B-2", "Two layers", at=POURED, by=BY, records=layers)
    journal.start_batch("B-3", "Unknown layers", at=POURED, by=BY, records=[Portion("a", 0), Portion("b", 1)])


def take(journal: Journal, *files: tuple[str, bytes], workers: int = 1, **how: object) -> list[Arrival]:
    sources = [Source(name, lambda data=data: data) for name, data in files]
    settings = {"card": window(), "by": BY, "now": NOW, "clock": Clock(HOME), "workers": workers}
    return take_in_all(journal, sources, **{**settings, **how})


def put(journal: Journal, item: TrayItem, **answers: object) -> TrayItem:
    return place(journal, item.sha256, card=window(), by=BY, now=NOW, **answers)


def readings(journal: Journal, code: str) -> dict[str, tuple[float, float, float]]:
    return {record.portion: record.lab for _, record in journal.batch(code).records(ColourReading)}


def asked(arrival: Arrival) -> set[str]:
    assert arrival.outcome == "needs you", arrival
    return {question.about for question in arrival.item.questions}
