"""Everything of a journal as plain data, and a journal made of such data again.

`Contents` is the schema: JSON is its fields as they stand, the tables for
spreadsheets are in `spreadsheet`. The photos are beside it, as they lie in a journal.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import AwareDatetime, ConfigDict, Field, TypeAdapter, ValidationError
from sqlalchemy import Connection, Table
from sqlalchemy.exc import IntegrityError

from curejournal.journal import tables
from curejournal.journal.copying import count_on, rows_of
from curejournal.journal.errors import DataRefused, EntryRefused, RecordUnreadable
from curejournal.journal.photos import Shelf, TakenFrom
from curejournal.journal.record_json import from_json, to_json
from curejournal.journal.rows import WITHDRAWN
from curejournal.journal.text import card_columns, file_name, instant, local, plain_text, setting_columns

FORMAT = "curejournal data 1"

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
    """An entry of the history. `batch` is a code, `supersedes` the entry it corrects, `photo` a photo's SHA-256."""

    id: Number
    batch: str
    kind: str
    at: AwareDatetime
    by: str
    recorded_at: AwareDatetime
    supersedes: Number | None
    photo: str | None
    record: dict[str, Any]


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
class Contents:
    """Everything of a journal but the photos' own bytes, each table in its order."""

    format: str
    batches: tuple[BatchRow, ...]
    entries: tuple[EntryRow, ...]
    photos: tuple[PhotoRow, ...]
    cards: tuple[CardRow, ...]
    settings: tuple[SettingRow, ...]


# pydantic takes no config for a plain dataclass; through a tuple of one it reaches every nested one.
_STRICT: Any = TypeAdapter(tuple[Contents], config=ConfigDict(extra="forbid", allow_inf_nan=False))


def contents(connection: Connection) -> Contents:
    """Everything in a database."""
    codes: dict[int, str] = {}
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
            json.loads(row.record),
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
    return Contents(FORMAT, tuple(batches), entries, photos, tuple(cards), tuple(settings))


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
        raise refused(f"{'.'.join(map(str, fault['loc'][1:])) or 'the file'}: {fault['msg']}") from error
    if data.format != FORMAT:
        raise refused(f"it says that its format is {data.format[:40]!r}, not {FORMAT!r}")
    return data


def json_schema() -> dict[str, Any]:
    """What `journal.json` may hold, as a JSON Schema (draft 2020-12)."""
    schema: dict[str, Any] = TypeAdapter(Contents, config=None).json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def refused(why: str) -> DataRefused:
    """The error for data that no journal can be made of."""
    return DataRefused(
        f"This data cannot be made into a journal: {why}.",
        "Correct it and try again.",
        "Nothing was brought in, and no journal was changed.",
    )


def fill(connection: Connection, data: Contents) -> None:
    """Put data into an empty database, each row under the rules by which rows are entered.

    Raises
    ------
    DataRefused
    """
    ids = {row.code: row.id for row in data.batches}
    rows: tuple[tuple[Table, Iterator[dict[str, Any]]], ...] = (
        (tables.batch, map(_batch, data.batches)),
        (tables.photo, map(_photo, data.photos)),
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
        raise refused(f"a number occurs twice, or a row refers to one that is not there ({error.orig})") from error
    count_on(connection)


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


def _setting(row: SettingRow) -> dict[str, Any]:
    return {"id": row.id, **setting_columns(row.name, row.value), "set_at_utc": instant(row.set_at)[0]}


def _entries(data: Contents, ids: dict[str, int]) -> Iterator[dict[str, Any]]:
    earlier: dict[int, EntryRow] = {}
    for row in sorted(data.entries, key=lambda row: row.id):
        corrected = earlier.get(row.supersedes or 0)
        if row.batch not in ids:
            raise EntryRefused(f"Entry {row.id} belongs to no batch that is there.")
        if row.supersedes and (corrected is None or corrected.batch != row.batch):
            raise EntryRefused(f"Entry {row.id} corrects none of its batch that came before it.")
        if row.kind == WITHDRAWN and corrected is None:
            raise EntryRefused(f"Entry {row.id} takes nothing back.")
        if corrected and row.kind != corrected.kind and WITHDRAWN not in {row.kind, corrected.kind}:
            raise EntryRefused(f"Entry {row.id} corrects an entry of another kind.")
        earlier[row.id] = row
        at, offset = instant(row.at)
        yield {
            "id": row.id,
            "batch_id": ids[row.batch],
            "kind": row.kind,
            "at_utc": at,
            "at_offset_minutes": offset,
            "author": plain_text(row.by, "person", 80),
            "recorded_at_utc": instant(row.recorded_at)[0],
            "record": to_json(from_json(row.kind, json.dumps(row.record))),
            "supersedes": row.supersedes,
            "photo_sha256": row.photo,
        }
