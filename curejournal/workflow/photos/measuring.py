"""Use cases of a photo: measure it, file it with its readings, show it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo
from importlib.metadata import version
from typing import Literal

import numpy as np

from curejournal.base.errors import CureJournalError
from curejournal.batch.records import Batch, ColourReading, Entry, PhotoNote, Record
from curejournal.batch.validation import check_record
from curejournal.colour.difference import Interval, difference_interval
from curejournal.colour.sample import Grade, Reason
from curejournal.documents import pictures
from curejournal.journal.photos import KeptPhoto, PhotoFacts
from curejournal.journal.store import Journal
from curejournal.photo.analysis import is_mirrored
from curejournal.photo.card import Card
from curejournal.photo.find.placement import Points
from curejournal.photo.measure.measurement import Area, AreaColour, Measurement, measure
from curejournal.photo.read.picture_file import Photo, Taken, read_photo, taken_from_name

SOFTWARE = f"curejournal {version('curejournal')}"
Corners = Sequence[tuple[float, float]]
Box = tuple[float, float, float, float]
Places = Mapping[str, Box] | Mapping[str, Points]
"""Where each portion is: boxes x0, y0, x1, y1 or outlines, in pixels of the upright full-size picture."""


MIRRORED = Reason(
    "mirrored",
    "The picture is mirrored, as selfie cameras do.",
    "Use the main camera, or switch mirroring off.",
    Grade.NOT_USABLE,
)


class PhotoUndated(CureJournalError):
    """Nobody knows when a photo was taken."""


@dataclass(frozen=True)
class TakenIn:
    """What became of one photo: kept with its readings, already there, or left out for a reason."""

    name: str
    outcome: Literal["kept", "kept without colour", "already there", "not kept"]
    why: str
    photo: KeptPhoto | None
    measurement: Measurement | None
    entries: tuple[Entry, ...] = ()


def measure_photo(data: bytes, card: Card, areas: Places | None = None, corners: Corners | None = None) -> Measurement:
    """Measure a photo without keeping it.

    Raises
    ------
    NotAPicture, PictureDamaged, PictureTooLarge, CornersInvalid
    """
    return _measured(read_photo(data), card, areas, corners)


def _measured(photo: Photo, card: Card, areas: Places | None, corners: Corners | None) -> Measurement:
    """Measure a photo; a card that only a mirror shows is told so, since laying it anew would not help."""
    found = measure(photo, card, _areas(areas), corners)
    if found.corners or not is_mirrored(photo, card):
        return found
    return replace(found, reasons=(MIRRORED,))


def take_in(
    journal: Journal,
    code: str,
    data: bytes,
    *,
    name: str,
    card: Card | None,
    by: str,
    now: datetime,
    zone: tzinfo,
    areas: Places | None = None,
    portion: str = "",
    corners: Corners | None = None,
    at: datetime | None = None,
    caption: str = "",
    keep_without_colour: bool = False,
) -> TakenIn:
    """Measure a photo and file it under a batch with its readings, in one transaction.

    Parameters
    ----------
    journal, code
        Where it goes.
    data, name
        The file and its name, which may tell the date.
    card : Card, optional
        None keeps the picture for the story alone.
    areas : mapping of portion to box or outline, optional
        Which parts of the picture show which portion; through a card's window none is needed, and `portion`
        names what is seen (the batch's only portion if empty).
    at : datetime, optional
        When it was taken, if the maker says so; otherwise its EXIF date, then the date in its name.
    keep_without_colour : bool
        Keep a photo in which nothing can be measured, for the story; otherwise it is left out.

    Raises
    ------
    PhotoUndated, ImpossibleRecord, NotAPicture, PictureDamaged, PictureTooLarge, CornersInvalid, NotInJournal
        Nothing is kept then.
    """
    batch = journal.batch(code)
    known = journal.find_photo(hashlib.sha256(data).hexdigest())
    if known and known.sha256 in {entry.photo for entry in batch.entries}:
        return TakenIn(name, "already there", "This photo is already in this batch.", known, None)
    photo = read_photo(data)
    when, source = _when(photo, name, at, zone)
    measurement = _measured(photo, card, areas, corners) if card else None
    if measurement is not None and not measurement.usable and not keep_without_colour:
        return TakenIn(name, "not kept", reason_for_none(measurement), None, measurement)
    readings = _readings(batch, measurement, portion) if measurement else []
    why_no_colour = "" if readings else (reason_for_none(measurement) if measurement else "taken without a card")
    records: list[Record] = [photo_note(measurement if readings else None, caption, why_no_colour), *readings]
    for record in records:
        check_record(batch, record, when, now=now)
    facts = PhotoFacts(photo.suffix, photo.width, photo.height, when, source, name)
    kept, entries = journal.keep_filed(code, data, facts, records, at=when, by=by)
    also = _also_in(journal, batch.code, kept) if known else ""
    why = f"{why_no_colour.rstrip('.')}. {also}" if why_no_colour and also else why_no_colour or also
    return TakenIn(name, "kept" if readings else "kept without colour", why, kept, measurement, entries)


def _also_in(journal: Journal, code: str, photo: KeptPhoto) -> str:
    """Where else a photo is filed: under a wrong batch, perhaps."""
    others = [
        other.code
        for other in journal.all_batches()
        if other.code != code and photo.sha256 in {entry.photo for entry in other.entries}
    ]
    return f"The same photo is in batch {', '.join(others)} too." if others else ""


def when_taken(data: bytes, name: str, zone: tzinfo) -> datetime | None:
    """When a photo says it was taken, by its EXIF date or its name; None if neither tells.

    Raises
    ------
    NotAPicture, PictureDamaged, PictureTooLarge
    """
    photo = read_photo(data)
    return _when(photo, name, None, zone)[0] if photo.taken or taken_from_name(name) else None


def small_picture(journal: Journal, sha256: str, longest: int) -> bytes:
    """A kept photo as a small upright JPEG; made once, then read."""
    return journal.derived(
        sha256, f"small-{longest}.jpg", lambda: pictures.small(read_photo(journal.photo_bytes(sha256)), longest)
    )


def marked_picture(data: bytes, measurement: Measurement | None, longest: int) -> bytes:
    """A photo as a JPEG with what was found in it drawn in: the card, the areas, the faulty places.

    Raises
    ------
    NotAPicture, PictureDamaged, PictureTooLarge
    """
    photo = read_photo(data)
    return pictures.marked(photo, measurement, longest) if measurement else pictures.small(photo, longest)


def photo_note(measurement: Measurement | None, caption: str, why_no_colour: str) -> PhotoNote:
    """The note that files a photo; with the misfits of the card's patches, if it was measured."""
    if measurement is None:
        return PhotoNote(caption, why_no_colour)
    errors = tuple((patch.id, round(patch.error, 2)) for patch in measurement.patches if patch.error is not None)
    return PhotoNote(caption, why_no_colour, measurement.card, errors)


def reason_for_none(measurement: Measurement) -> str:
    """Why nothing was measured, and what to do about it."""
    reasons = measurement.reasons + tuple(reason for area in measurement.areas for reason in area.reasons)
    worst = max(reasons, key=lambda reason: reason.limit.rank, default=None)
    return f"{worst.text} {worst.remedy}" if worst else "No area was marked."


def colour_reading(measurement: Measurement, area: AreaColour, portion: str) -> ColourReading:
    """The record of an area that has a colour."""
    assert area.sample is not None
    return ColourReading(
        portion=portion,
        lab=area.sample.lab,
        covariance=area.sample.covariance,
        grade=area.grade.value,
        reasons=tuple(reason.text for reason in area.sample.reasons),
        pixels=area.pixels,
        spread=area.sample.spread,
        card=measurement.card,
        area=json.dumps([[round(v, 1) for v in point] for point in area.outline]),
        corners=tuple((round(x, 1), round(y, 1)) for x, y in measurement.corners),
        model=measurement.model,
        software=SOFTWARE,
    )


def difference(first: ColourReading, second: ColourReading) -> Interval:
    """How far two kept colours lie apart, ΔE00; their errors count as independent."""
    covariance = np.add(first.covariance, second.covariance)
    return difference_interval(first.lab, second.lab, covariance)


def _when(
    photo: Photo, name: str, at: datetime | None, zone: tzinfo
) -> tuple[datetime, Literal["exif", "file name", "maker"]]:
    if at is not None:
        return at, "maker"
    taken: Taken | None = photo.taken or taken_from_name(name)
    if taken is None:
        raise PhotoUndated(
            f"Nothing in “{name}” says when it was taken.",
            "Give the date and time with it; the file's own date proves nothing.",
        )
    if taken.offset is None:
        return taken.local.replace(tzinfo=zone), taken.source
    return datetime.fromisoformat(taken.isoformat), taken.source


def outline_of(place: Box | Points) -> Points:
    """A box as its corners, an outline as it is."""
    sides = [side for side in place if not isinstance(side, tuple)]
    return Area.box("", *sides).outline if sides else tuple(at for at in place if isinstance(at, tuple))


def _areas(places: Places | None) -> list[Area]:
    return [Area(name, outline_of(place)) for name, place in (places or {}).items()]


def _readings(batch: Batch, measurement: Measurement, portion: str) -> list[ColourReading]:
    names = [known.name for known in batch.portions]
    readings = []
    for area in measurement.areas:
        if area.sample is None:
            continue
        seen = area.name
        if area.name == "window":
            if not portion and len(names) > 1:
                raise CureJournalError(
                    f"This batch has the portions {', '.join(names)}.", "Say which one the window shows."
                )
            seen = portion or (names[0] if names else "soap")
        readings.append(colour_reading(measurement, area, seen))
    return readings
