"""A journal's database filled with plain data, each row under the rules by which rows are entered."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict
from itertools import islice
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table
from sqlalchemy.exc import IntegrityError

from curejournal.base.messages import msg
from curejournal.journal import tables
from curejournal.journal.contacts import contact_row, words_hash
from curejournal.journal.copying import count_on
from curejournal.journal.entering import refuse_misplaced
from curejournal.journal.errors import EntryRefused, RecordUnreadable
from curejournal.journal.photos import Shelf
from curejournal.journal.plain_data import BatchRow, CardRow, ContactRow, Data, PhotoRow, SettingRow, refused
from curejournal.journal.record_json import KIND_OF, columns_of_record, from_json, to_json
from curejournal.journal.rows import WITHDRAWN
from curejournal.journal.seals import seal_rows
from curejournal.journal.text import card_columns, contact_columns, file_name, instant, plain_text, setting_columns

# Rows put in at once (ours: bounds the memory, and is large enough that the round trips do not count).
_CHUNK = 1000


def fill(connection: Connection, data: Data) -> None:
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
            while found := list(islice(some, _CHUNK)):
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


def _entries(data: Data, ids: dict[str, int | None]) -> Iterator[dict[str, Any]]:
    earlier: dict[int, tuple[str, str]] = {}
    codes, kinds = {code: code for code in ids}, {kind: kind for kind in KIND_OF.values()}
    for row in data.entries:
        corrected = earlier.get(row.supersedes or 0)
        if row.batch not in ids:
            raise EntryRefused(msg("Entry {id} belongs to no batch that is there.", id=row.id))
        if row.supersedes and (corrected is None or corrected[0] != row.batch):
            raise EntryRefused(msg("Entry {id} corrects none of its batch that came before it.", id=row.id))
        if row.kind == WITHDRAWN and corrected is None:
            raise EntryRefused(msg("Entry {id} takes nothing back.", id=row.id))
        if corrected and row.kind != corrected[1] and WITHDRAWN not in {row.kind, corrected[1]}:
            raise EntryRefused(msg("Entry {id} corrects an entry of another kind.", id=row.id))
        # The same few texts each time, not one of each row: there may be a hundred thousand.
        earlier[row.id] = (codes[row.batch], kinds.get(row.kind, row.kind))
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
