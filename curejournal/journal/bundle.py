"""One batch in one file, which another journal can open.

A ZIP file: `batch.json` holds the batch, every entry that it ever had, what its photos say of themselves, and the cards
that they were measured by; the photos lie beside it, as they are, under their SHA-256.
"""

from __future__ import annotations

import hashlib
import io
import json
import struct
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any

from pydantic import AwareDatetime, ConfigDict, FailFast, Field, TypeAdapter, ValidationError

from curejournal.base.bounds import BUNDLE_BYTES, BUNDLE_DATA_BYTES, BUNDLE_FILES
from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg, msg_n
from curejournal.batch.records import ColourReading, Entry, Event, Record, of_kind
from curejournal.journal.entering import without_contact
from curejournal.journal.errors import DataRefused
from curejournal.journal.photos import PhotoFacts, TakenFrom
from curejournal.journal.record_json import from_json, kind_of, to_json
from curejournal.journal.store import Journal

FORMAT = msg("curejournal batch 1")
DATA = "batch.json"


@dataclass(frozen=True)
class BundledEntry:
    """An entry; `supersedes` is the id of an earlier one in the bundle."""

    id: int
    kind: str
    at: AwareDatetime
    by: str
    recorded_at: AwareDatetime
    supersedes: int | None
    photo: str | None
    record: dict[str, Any]


@dataclass(frozen=True)
class BundledPhoto:
    """A photo: it lies at `photos/` + sha256 + suffix."""

    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    suffix: Annotated[str, Field(pattern=r"^\.[a-z0-9]{1,7}$")]
    width: Annotated[int, Field(gt=0)]
    height: Annotated[int, Field(gt=0)]
    taken_at: AwareDatetime | None
    taken_from: TakenFrom | None
    original_name: str

    @property
    def place(self) -> str:
        """Its name in the file."""
        return f"photos/{self.sha256}{self.suffix}"


@dataclass(frozen=True)
class BundledCard:
    """The definition of a card of the journal's own."""

    name: str
    copy_id: str
    toml: str


@dataclass(frozen=True)
class BundleData:
    """What `batch.json` holds."""

    format: str
    software: str
    code: str
    name: str
    started_at: AwareDatetime
    started_by: str
    entries: Annotated[tuple[BundledEntry, ...], FailFast()]
    photos: Annotated[tuple[BundledPhoto, ...], FailFast()]
    cards: Annotated[tuple[BundledCard, ...], FailFast()]


@dataclass(frozen=True)
class Bundle:
    """A bundle that was verified: every record reads, every reference holds, every photo has its hash."""

    data: BundleData
    records: Mapping[int, Record]
    photos: Mapping[str, bytes]


# What Python's zipfile raises over an archive that is none or is damaged; a ValueError where a place in it is negative.
_DAMAGED = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    ValueError,
    LookupError,
    RuntimeError,
    OSError,
    EOFError,
)

# Through a tuple of one, since pydantic takes no config for a plain dataclass.
_JSON = TypeAdapter(tuple[BundleData], config=ConfigDict(extra="forbid"))


def write_bundle(journal: Journal, code: str, software: str) -> bytes:
    """A batch with its whole history, its photos and its own cards.

    Raises
    ------
    NotInJournal, JournalDamaged
    """
    code = journal.batch(code).code
    head = next(one for one in journal.batches() if one.code == code)
    history = journal.history(code)
    photos = [journal.photo(sha256) for sha256 in dict.fromkeys(entry.photo for entry in history if entry.photo)]
    used = {entry.record.card for entry in of_kind(history, ColourReading)}
    data = BundleData(
        FORMAT,
        software,
        code,
        head.name,
        head.started_at,
        head.started_by,
        tuple(
            BundledEntry(
                entry.id,
                kind_of(entry.record),
                entry.at,
                entry.by,
                entry.recorded_at,
                entry.supersedes,
                entry.photo,
                json.loads(to_json(without_contact(entry.record))),
            )
            for entry in history
        ),
        tuple(
            BundledPhoto(
                photo.sha256,
                photo.facts.suffix,
                photo.facts.width,
                photo.facts.height,
                photo.facts.taken_at,
                photo.facts.taken_from,
                photo.facts.original_name,
            )
            for photo in photos
        ),
        tuple(BundledCard(card.name, card.copy_id, card.toml) for card in journal.cards() if card.name in used),
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as file:
        file.writestr(zipfile.ZipInfo(DATA), _JSON.dump_json((data,))[1:-1], zipfile.ZIP_DEFLATED)
        for photo in data.photos:
            file.writestr(zipfile.ZipInfo(photo.place), journal.photo_bytes(photo.sha256))
    return out.getvalue()


def read_bundle(source: bytes) -> Bundle:
    """Verify a bundle as a whole before anything of it is used.

    Raises
    ------
    DataRefused
    """
    try:
        with zipfile.ZipFile(io.BytesIO(source)) as file:
            _refuse_beyond(file, len(source))
            (data,) = _JSON.validate_json(b"[" + file.read(DATA) + b"]")
            named = [photo.sha256 for photo in data.photos]
            if len(set(named)) < len(named):
                raise _refused(msg("it names a photo twice"))
            photos = {photo.sha256: file.read(photo.place) for photo in data.photos}
    except ValidationError as fault:
        first = fault.errors(include_url=False)[0]
        raise _refused(msg("{place}: {fault}", place=".".join(map(str, first["loc"])), fault=first["msg"])) from fault
    except _DAMAGED as fault:
        raise _refused(msg("it is not a bundle of a batch, or it is damaged")) from fault
    if data.format != FORMAT:
        raise _refused(msg("its format is “{found}”, not “{expected}”", found=data.format[:40], expected=FORMAT))
    damaged = [sha256 for sha256, photo in photos.items() if hashlib.sha256(photo).hexdigest() != sha256]
    if damaged:
        raise _refused(
            msg("{damaged} not as written", damaged=msg_n("{number} photo", "{number} photos", len(damaged)))
        )
    return Bundle(data, _records(data), photos)


def _refuse_beyond(file: zipfile.ZipFile, size: int) -> None:
    """Refuse an archive that would grow beyond `base.bounds`, before anything of it is unpacked."""
    parts = file.infolist()
    if size > BUNDLE_BYTES or len(parts) > BUNDLE_FILES:
        raise _refused(msg("it is far too large"))
    for part in parts:
        if part.filename == DATA and part.file_size > BUNDLE_DATA_BYTES:
            raise _refused(msg("its data are far too large"))
        if part.filename != DATA and part.compress_type != zipfile.ZIP_STORED:
            raise _refused(msg("its photos are packed, as those of bundles are not"))
    if sum(part.file_size for part in parts if part.filename != DATA) > size:
        raise _refused(msg("it claims to hold more than its own size"))


def _records(data: BundleData) -> dict[int, Record]:
    records: dict[int, Record] = {}
    known = {photo.sha256 for photo in data.photos}
    for entry in data.entries:
        if entry.id in records or (entry.supersedes is not None and entry.supersedes not in records):
            raise _refused(msg("entry {id} occurs twice, or corrects one that is not there", id=entry.id))
        if entry.photo is not None and entry.photo not in known:
            raise _refused(msg("the photo of entry {id} is not there", id=entry.id))
        try:
            records[entry.id] = from_json(entry.kind, json.dumps(entry.record))
        except CureJournalError as fault:
            raise _refused(fault.what.rstrip(".")) from fault
    return records


def take_bundle(journal: Journal, bundle: Bundle, *, code: str = "", by: str, now: datetime) -> str:
    """Enter a verified bundle as a new batch, all of it or nothing; its code there is returned.

    Parameters
    ----------
    journal, bundle
        Where it goes, and what `read_bundle` gave.
    code : str
        Its code in this journal; its own if empty.
    by, now
        Who brings it in, and when: noted at its end. Each entry keeps its own author and time; when it was written down
        is when it was brought in.

    Raises
    ------
    CodeInUse, EntryRefused, SignedByOther
    """
    data = bundle.data
    origin = Event(
        "note",
        note=msg(
            "brought in from a bundle of batch {code}, written by {software}", code=data.code, software=data.software
        ),
    )
    history = [
        Entry(one.id, one.at, one.by, now, bundle.records[one.id], one.supersedes, one.photo) for one in data.entries
    ]
    return journal.bring_in(
        code or data.code,
        data.name,
        at=data.started_at,
        by=data.started_by,
        history=[*history, Entry(0, now, by, now, origin)],
        photos=[
            (
                bundle.photos[one.sha256],
                PhotoFacts(one.suffix, one.width, one.height, one.taken_at, one.taken_from, one.original_name),
            )
            for one in data.photos
        ],
        cards={card.name: (card.toml, card.copy_id) for card in data.cards},
    )


def _refused(why: str) -> DataRefused:
    return DataRefused(msg("This bundle cannot be opened: {why}.", why=why), msg("Ask for it to be written again."))
