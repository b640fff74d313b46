"""pH strips by photo: a packet's key enrolled once, a strip read beside the card and kept as an alkali test."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from pydantic import TypeAdapter

from curejournal.cure.records import AlkaliTest, Entry
from curejournal.journal.faults import NotInJournal
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import Journal
from curejournal.photo.card import Card
from curejournal.photo.measure import Area, measure
from curejournal.photo.placement import Points
from curejournal.photo.reading import read_photo
from curejournal.photo.strip import StripKey as StripKey
from curejournal.photo.strip import StripReading as StripReading
from curejournal.photo.strip import enrol_key, read_strip
from curejournal.workflow import ReadingDoubtful, doubts_about

_KEYS = TypeAdapter(dict[str, StripKey])


def strip_keys(journal: Journal) -> dict[str, StripKey]:
    """The keys of the journal by name; the latest of a name counts."""
    return _KEYS.validate_python(journal.setting("strip keys", {}))


def strip_key(journal: Journal, name: str) -> StripKey:
    """A key by name.

    Raises
    ------
    NotInJournal
    """
    keys = strip_keys(journal)
    if name not in keys:
        raise NotInJournal(f"The journal has no strip key “{name}”.", "Enrol it by a photo of the packet's key first.")
    return keys[name]


def enrol_strip_key(
    journal: Journal, data: bytes, card: Card, name: str, lot: str, areas: Mapping[float, Points]
) -> StripKey:
    """Measure a packet's key beside a card and keep it.

    Parameters
    ----------
    areas : mapping of pH to outline
        Where each colour of the key is, in pixels of the upright full-size picture.

    Raises
    ------
    KeyUnusable, NotAPicture, PictureDamaged, PictureTooLarge
    """
    names = {f"pH {ph:g}": ph for ph in areas}
    measured = measure(read_photo(data), card, [Area(f"pH {ph:g}", outline) for ph, outline in areas.items()])
    key = enrol_key(name, lot, measured, names)
    journal.set_setting("strip keys", _KEYS.dump_python({**strip_keys(journal), name: key}, mode="json"))
    return key


def read_strip_photo(data: bytes, card: Card, key: StripKey, pad: Points, lot: str) -> StripReading:
    """The pH of a strip in a photo; `pad` is where its pad is. Keeps nothing.

    Raises
    ------
    StripUnreadable, NotAPicture, PictureDamaged, PictureTooLarge
    """
    measured = measure(read_photo(data), card, [Area("pad", pad)])
    return read_strip(key, measured.areas[0], lot=lot, card=measured.card)


def keep_strip(
    journal: Journal,
    code: str,
    data: bytes,
    reading: StripReading,
    *,
    name: str,
    strength_pct: float,
    at: datetime,
    by: str,
    now: datetime,
    confirmed: bool = False,
) -> Entry:
    """Keep a strip's reading as an alkali test of a batch, with its photo.

    Parameters
    ----------
    name : str
        The photo's file name.
    strength_pct : float
        Grams of soap in 100 ml of distilled water.

    Raises
    ------
    ImpossibleRecord, ReadingDoubtful, NotInJournal
        Nothing is kept then.
    """
    record = AlkaliTest("strip", reading.ph, round(reading.half_width, 2), strength_pct)
    doubts = doubts_about(journal, code, record, at=at, now=now)
    if doubts and not confirmed:
        raise ReadingDoubtful(" ".join(doubt.text for doubt in doubts), doubts[0].do)
    photo = read_photo(data)
    kept = journal.keep_photo(data, PhotoFacts(photo.suffix, photo.width, photo.height, at, "maker", name))
    return journal.add(code, record, at=at, by=by, photo=kept.sha256)
