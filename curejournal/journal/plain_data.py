"""Everything of a journal as plain data, and a journal made of such data again.

`Contents` is the schema: JSON is its fields as they stand, the tables for
spreadsheets are in `spreadsheet`. The photos are beside it, as they lie in a journal.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from itertools import count
from pathlib import Path
from typing import Annotated, Any

from pydantic import AwareDatetime, ConfigDict, FailFast, Field, TypeAdapter, ValidationError
from sqlalchemy import Connection, Table
from sqlalchemy.exc import IntegrityError

from curejournal.base.messages import msg
from curejournal.journal import tables
from curejournal.journal.contacts import contact_row, words_hash
from curejournal.journal.copying import count_on, rows_of
from curejournal.journal.entering import refuse_misplaced
from curejournal.journal.errors import DataRefused, EntryRefused, RecordUnreadable
from curejournal.journal.former_settings import entries_of_settings
from curejournal.journal.photos import Shelf, TakenFrom
from curejournal.journal.record_json import columns_of_record, from_json, to_json, with_new_names
from curejournal.journal.rows import WITHDRAWN
from curejournal.journal.seals import seal_rows
from curejournal.journal.text import (
    card_columns,
    contact_columns,
    file_name,
    instant,
    local,
    plain_text,
    setting_columns,
)

FORMAT = msg("curejournal data 2")
FORMER = msg("curejournal data 1")
"""The format of exports before entries of the workshop, contacts and presses; it is read as before."""

Number = Annotated[int, Field(gt=0, lt=2**31)]


@dataclass(frozen=True)
class BatchRow:
    """A batch: when it started, who entered it, and when that was written down."""

    id: Number
    code: str
    name: str
    started_at: AwareDatetime
    by: str
    recorded_at: AwareDatetime


@dataclass(frozen=True)
class EntryRow:
    """An entry of the history. `supersedes` is the entry that it corrects, `photo` a photo's SHA-256.

    `batch` is a code, empty for the workshop itself. `press` is the key of the press that made it, `press_part` which
    of its entries this is, and `pressed_at` when that was by the clock of whoever pressed.
    """

    id: Number
    batch: str
    kind: str
    at: AwareDatetime
    by: str
    recorded_at: AwareDatetime
    supersedes: Number | None
    photo: str | None
    record: dict[str, Any]
    press: str | None = None
    press_part: Annotated[int, Field(ge=0, lt=2**31)] | None = None
    pressed_at: AwareDatetime | None = None


@dataclass(frozen=True)
class PhotoRow:
    """A photo, which lies at `photos/ab/abcd….jpg`; `width` and `height` in pixels, `size` in bytes."""

    sha256: str
    suffix: str
    size: Annotated[int, Field(gt=0, lt=2**63)]
    width: Number
    height: Number
    taken_at: AwareDatetime | None
    taken_from: TakenFrom | None
    original_name: str
    received_at: AwareDatetime


@dataclass(frozen=True)
class CardRow:
    """A definition of a card; the last of a name counts."""

    id: Number
    name: str
    copy_id: str
    toml: str
    added_at: AwareDatetime


@dataclass(frozen=True)
class SettingRow:
    """A value of a setting; the last of a name counts."""

    id: Number
    name: str
    value: Any
    set_at: AwareDatetime


@dataclass(frozen=True)
class ContactRow:
    """How somebody is called and reached, whom entries name by number; both are empty once erased.

    `first` is the number of the first row about the same person, if this one corrects it.
    """

    id: Number
    first: Number | None
    name: str
    details: str
    by: str
    recorded_at: AwareDatetime


@dataclass(frozen=True)
class Contents:
    """Everything of a journal but the photos' own bytes, each table in its order."""

    format: str
    batches: Annotated[tuple[BatchRow, ...], FailFast()]
    entries: Annotated[tuple[EntryRow, ...], FailFast()]
    photos: Annotated[tuple[PhotoRow, ...], FailFast()]
    cards: Annotated[tuple[CardRow, ...], FailFast()]
    settings: Annotated[tuple[SettingRow, ...], FailFast()]
    contacts: Annotated[tuple[ContactRow, ...], FailFast()] = ()


# pydantic takes no config for a plain dataclass; through a tuple of one it reaches every nested one.
_STRICT: Any = TypeAdapter(tuple[Contents], config=ConfigDict(extra="forbid", allow_inf_nan=False))


def contents(connection: Connection) -> Contents:
    """Everything in a database."""
    codes: dict[int | None, str] = {None: ""}
    batches = []
    for row in rows_of(connection, tables.batch):
        codes[row.id] = row.code
        started_at = local(row.started_at_utc, row.started_at_offset_minutes)
        batches.append(BatchRow(row.id, row.code, row.name, started_at, row.author, row.recorded_at_utc))
    entries = tuple(
        EntryRow(
            row.id,
            codes[row.batch_id],
            row.kind,
            local(row.at_utc, row.at_offset_minutes),
            row.author,
            row.recorded_at_utc,
            row.supersedes,
            row.photo_sha256,
            with_new_names(row.kind, json.loads(row.record)),
            row.press_key,
            row.press_part,
            local(row.pressed_at_utc, row.pressed_at_offset_minutes) if row.pressed_at_utc else None,
        )
        for row in rows_of(connection, tables.entry)
    )
    photos = tuple(
        PhotoRow(
            row.sha256,
            row.suffix,
            row.size,
            row.width,
            row.height,
            local(row.taken_at_utc, row.taken_at_offset_minutes) if row.taken_at_utc else None,
            row.taken_from,
            row.original_name,
            row.received_at_utc,
        )
        for row in rows_of(connection, tables.photo)
    )
    cards = (CardRow(r.id, r.name, r.copy_id, r.toml, r.added_at_utc) for r in rows_of(connection, tables.card))
    settings = (
        SettingRow(r.id, r.name, json.loads(r.value), r.set_at_utc) for r in rows_of(connection, tables.setting)
    )
    people = (
        ContactRow(r.id, r.first_id, r.name, r.details, r.author, r.recorded_at_utc)
        for r in rows_of(connection, tables.contact)
    )
    return Contents(FORMAT, tuple(batches), entries, photos, tuple(cards), tuple(settings), tuple(people))


def as_text(data: Contents) -> str:
    """The data as JSON."""
    return str(_STRICT.dump_json((data,), indent=1).decode()[1:-1].strip()) + "\n"


def from_text(text: str) -> Contents:
    """The data from JSON.

    Raises
    ------
    DataRefused
    """
    try:
        data: Contents = _STRICT.validate_json(f"[{text}]")[0]
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        raise refused(
            msg("{place}: {fault}", place=".".join(map(str, fault["loc"][1:])) or "the file", fault=fault["msg"])
        ) from error
    if data.format == FORMER:
        return _brought_up(data)
    if data.format != FORMAT:
        raise refused(
            msg(
                "it says that its format is {found}, not {expected}",
                found=f"{data.format[:40]!r}",
                expected=f"{FORMAT!r}",
            )
        )
    return data


def _brought_up(data: Contents) -> Contents:
    """Data of the former format as it is written today: what were settings is entered for the workshop."""
    rows = [(row.name, row.value, row.set_at) for row in data.settings]
    following = count(max((row.id for row in data.entries), default=0) + 1)
    try:
        made = tuple(
            EntryRow(
                next(following), "", one.kind, one.at, one.by, one.at, None, one.photo, one.record,
                one.press_key, 0 if one.press_key else None, one.at if one.press_key else None,
            )
            for one in entries_of_settings(rows, {photo.sha256 for photo in data.photos})
        )  # fmt: skip
    except (AttributeError, KeyError, TypeError) as error:
        raise refused(msg("a setting is not as this program wrote it")) from error
    return replace(data, format=FORMAT, entries=data.entries + made)


def json_schema() -> dict[str, Any]:
    """What `journal.json` may hold, as a JSON Schema (draft 2020-12)."""
    schema: dict[str, Any] = TypeAdapter(Contents, config=None).json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def refused(why: str) -> DataRefused:
    """The error for data that no journal can be made of."""
    return DataRefused(
        msg("This data cannot be made into a journal: {why}.", why=why),
        msg("Correct it and try again."),
        msg("Nothing was brought in, and no journal was changed."),
    )


def fill(connection: Connection, data: Contents) -> None:
    """Put data into an empty database, each row under the rules by which rows are entered.

    Raises
    ------
    DataRefused
    """
    ids: dict[str, int | None] = {row.code: row.id for row in data.batches} | {"": None}
    rows: tuple[tuple[Table, Iterator[dict[str, Any]]], ...] = (
        (tables.batch, map(_batch, data.batches)),
        (tables.photo, map(_photo, data.photos)),
        (tables.contact, map(_contact, data.contacts)),
        (tables.entry, _entries(data, ids)),
        (tables.card, map(_card, data.cards)),
        (tables.setting, map(_setting, data.settings)),
    )
    try:
        for table, some in rows:
            if found := list(some):
                connection.execute(table.insert(), found)
    except (EntryRefused, RecordUnreadable) as error:
        raise refused(error.what.rstrip(".")) from error
    except IntegrityError as error:
        raise refused(
            msg("a number occurs twice, or a row refers to one that is not there ({orig})", orig=error.orig)
        ) from error
    count_on(connection)
    seal_rows(connection)


def _batch(row: BatchRow) -> dict[str, Any]:
    started_at, offset = instant(row.started_at)
    return {
        "id": row.id,
        "code": plain_text(row.code, "code", 40),
        "name": plain_text(row.name, "name", 120),
        "started_at_utc": started_at,
        "started_at_offset_minutes": offset,
        "author": plain_text(row.by, "person", 80),
        "recorded_at_utc": instant(row.recorded_at)[0],
    }


def _photo(row: PhotoRow) -> dict[str, Any]:
    Shelf(Path()).path(row.sha256, row.suffix)  # refuses what is no hash
    taken_at, offset = instant(row.taken_at) if row.taken_at else (None, None)
    facts = asdict(row) | {"original_name": file_name(row.original_name), "taken_at_utc": taken_at}
    facts |= {"taken_at_offset_minutes": offset, "received_at_utc": instant(row.received_at)[0]}
    return {name: value for name, value in facts.items() if name in tables.photo.columns}


def _card(row: CardRow) -> dict[str, Any]:
    text = card_columns(row.name, row.copy_id, row.toml)
    return {"id": row.id, **text, "added_at_utc": instant(row.added_at)[0]}


def _contact(row: ContactRow) -> dict[str, Any]:
    erased = not row.name and not row.details
    # Nothing is left of the words that were erased but a hash; that of none stands for it.
    blank = {"name": "", "details": "", "salt": "", "words_hash": words_hash("", "", "")}
    words = blank if erased else contact_row(**contact_columns(row.name, row.details))
    about = {"author": plain_text(row.by, "person", 80), "recorded_at_utc": instant(row.recorded_at)[0]}
    return {"id": row.id, "first_id": row.first, **words, **about}


def _setting(row: SettingRow) -> dict[str, Any]:
    return {"id": row.id, **setting_columns(row.name, row.value), "set_at_utc": instant(row.set_at)[0]}


def _entries(data: Contents, ids: dict[str, int | None]) -> Iterator[dict[str, Any]]:
    earlier: dict[int, EntryRow] = {}
    for row in sorted(data.entries, key=lambda row: row.id):
        corrected = earlier.get(row.supersedes or 0)
        if row.batch not in ids:
            raise EntryRefused(msg("Entry {id} belongs to no batch that is there.", id=row.id))
        if row.supersedes and (corrected is None or corrected.batch != row.batch):
            raise EntryRefused(msg("Entry {id} corrects none of its batch that came before it.", id=row.id))
        if row.kind == WITHDRAWN and corrected is None:
            raise EntryRefused(msg("Entry {id} takes nothing back.", id=row.id))
        if corrected and row.kind != corrected.kind and WITHDRAWN not in {row.kind, corrected.kind}:
            raise EntryRefused(msg("Entry {id} corrects an entry of another kind.", id=row.id))
        earlier[row.id] = row
        at, offset = instant(row.at)
        pressed_at, pressed_offset = instant(row.pressed_at) if row.pressed_at else (None, None)
        record = from_json(row.kind, json.dumps(row.record))
        refuse_misplaced(row.kind, record, ids[row.batch])
        yield {
            "id": row.id,
            "batch_id": ids[row.batch],
            "kind": row.kind,
            "at_utc": at,
            "at_offset_minutes": offset,
            "author": plain_text(row.by, "person", 80),
            "recorded_at_utc": instant(row.recorded_at)[0],
            "record": to_json(record),
            **columns_of_record(record),
            "supersedes": row.supersedes,
            "photo_sha256": row.photo,
            "press_key": row.press,
            "press_part": row.press_part,
            "pressed_at_utc": pressed_at,
            "pressed_at_offset_minutes": pressed_offset,
        }
