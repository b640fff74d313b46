"""pH strips by photo: a packet's key enrolled once, a strip read beside the card and kept as an alkali test."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import datetime

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg
from curejournal.batch.records import AlkaliTest, Entry
from curejournal.batch.workshop import StripKeyEnrolled, StripKeyStep
from curejournal.colour.sample import Grade
from curejournal.journal.errors import NotInJournal
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import Journal
from curejournal.photo.card import Card
from curejournal.photo.measure.measurement import Area, Measurement, measure
from curejournal.photo.placement import Points
from curejournal.photo.read.picture_file import read_photo
from curejournal.photo.strip import KeyStep, enrol_key, read_strip
from curejournal.photo.strip import StripKey as StripKey
from curejournal.photo.strip import StripReading as StripReading
from curejournal.workflow.batches import ask, doubts_about
from curejournal.workflow.photos.adding import Source


class NoColour(CureJournalError):
    """A photo of a key or strip that gives no colour at all."""


def strip_keys(journal: Journal) -> dict[str, StripKey]:
    """The keys of the journal by name; the latest of a name counts."""
    kept = (entry.record for entry in journal.of_workshop(StripKeyEnrolled))
    return {
        key.name: StripKey(
            key.name, key.lot, key.card, tuple(KeyStep(step.ph, step.lab, step.covariance) for step in key.steps)
        )
        for key in kept
    }


def strip_key(journal: Journal, name: str) -> StripKey:
    """A key by name.

    Raises
    ------
    NotInJournal
    """
    keys = strip_keys(journal)
    if name not in keys:
        raise NotInJournal(
            msg("The journal has no strip key “{name}”.", name=name),
            msg("Enrol it by a photo of the packet's key first."),
        )
    return keys[name]


def check_photo(seen: Measurement) -> Measurement:
    """A photo as it was seen, if it gives colours.

    Raises
    ------
    NoColour
        By what is wrong with the photo itself: no card, blur, darkness.
    """
    wrong = [reason for reason in seen.reasons if reason.limit is Grade.NOT_USABLE]
    if wrong:
        what = join(" ", [msg("No colour can be told from this photo."), *(reason.text for reason in wrong)])
        raise NoColour(what, join(" ", dict.fromkeys(reason.remedy for reason in wrong)))
    return seen


def enrol_strip_key(
    journal: Journal, data: bytes, card: Card, name: str, lot: str, areas: Mapping[float, Points], *, by: str
) -> StripKey:
    """Measure a packet's key beside a card and keep it.

    Parameters
    ----------
    areas : mapping of pH to outline
        Where each colour of the key is, in pixels of the upright full-size picture.

    Raises
    ------
    NoColour, KeyUnusable, NotAPicture, PictureDamaged, PictureTooLarge
    """
    names = {msg("pH {ph:g}", ph=ph): ph for ph in areas}
    fields = [Area(msg("pH {ph:g}", ph=ph), outline) for ph, outline in areas.items()]
    measured = check_photo(measure(read_photo(data), card, fields))
    key = enrol_key(name, lot, measured, names)
    steps = tuple(StripKeyStep(step.ph, step.lab, step.covariance) for step in key.steps)
    journal.add("", StripKeyEnrolled(key.name, key.lot, key.card, steps), at=journal.clock(), by=by)
    return key


def read_strip_photo(data: bytes, card: Card, key: StripKey, pad: Points, lot: str) -> StripReading:
    """The pH of a strip in a photo; `pad` is where its pad is. Keeps nothing.

    Raises
    ------
    NoColour, StripUnreadable, NotAPicture, PictureDamaged, PictureTooLarge
    """
    measured = check_photo(measure(read_photo(data), card, [Area("pad", pad)]))
    # A phone begins a field with a capital of its own.
    same = lot.casefold() == key.lot.casefold()
    return read_strip(key, measured.areas[0], lot=key.lot if same else lot, card=measured.card)


def as_test(reading: StripReading, strength_pct: float) -> AlkaliTest:
    """The alkali test that a reading is; `strength_pct` are grams of soap in 100 ml of distilled water."""
    return AlkaliTest("strip", reading.ph, round(reading.half_width, 2), strength_pct)


def keep_strip(
    journal: Journal,
    code: str,
    source: Source,
    test: AlkaliTest,
    *,
    at: datetime,
    by: str,
    now: datetime,
    confirmed: bool = False,
) -> Entry:
    """Keep a strip's reading as an alkali test of a batch, with its photo; the same twice is one entry.

    Parameters
    ----------
    source : Source
        The photo.
    test : AlkaliTest
        See `as_test`.

    Raises
    ------
    ImpossibleRecord, ReadingDoubtful, NotInJournal
        Nothing is kept then.
    """
    ask(doubts_about(journal, code, test, at=at, now=now), confirmed)
    data = source.read()
    photo = read_photo(data)
    for filed, entry in journal.entries_of_photo(hashlib.sha256(data).hexdigest()):
        if (filed, entry.record, entry.at) == (code, test, at):
            return entry
    facts = PhotoFacts(photo.suffix, photo.width, photo.height, at, "maker", source.name)
    return journal.keep_filed(code, data, facts, [test], at=at, by=by)[1][0]
