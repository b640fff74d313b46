"""Rows made into values, and the questions that are asked of the tables."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, Select, Table, and_, exists, func, select

from curejournal.batch.records import Batch, Decision, Entry, Renamed, Withdrawn, of_kind
from curejournal.journal.photos import KeptPhoto, PhotoFacts
from curejournal.journal.record_json import KIND_OF, from_json
from curejournal.journal.tables import batch as batch_table
from curejournal.journal.tables import entry as entry_table
from curejournal.journal.tables import photo as photo_table
from curejournal.journal.text import local


@dataclass(frozen=True)
class BatchHead:
    """A batch without its entries: how many are current, over how many photos, and when the latest was."""

    code: str
    name: str
    started_at: datetime
    started_by: str
    last_entry_at: datetime | None
    entries: int
    photos: int


@dataclass(frozen=True)
class KeptCard:
    """The definition of a card as it was kept last."""

    name: str
    copy_id: str
    toml: str
    added_at: datetime


WITHDRAWN, SIGNED = KIND_OF[Withdrawn], KIND_OF[Decision]
_later = entry_table.alias("later")
CURRENT = and_(entry_table.c.kind != WITHDRAWN, ~exists().where(_later.c.supersedes == entry_table.c.id))
"""Neither corrected nor withdrawn."""
IN_TIME = (entry_table.c.at_utc, entry_table.c.id)
"""The order of time; of two entries of one time the first recorded first."""
OF_A_BATCH = entry_table.c.batch_id.is_not(None)
"""Of a batch, not of the workshop itself."""


def _heads() -> Select[Any]:
    last = entry_table.alias("last")
    last_id = (
        select(entry_table.c.id)
        .where(entry_table.c.batch_id == batch_table.c.id, CURRENT)
        .order_by(entry_table.c.at_utc.desc(), entry_table.c.at_offset_minutes.desc())
        .limit(1)
        .correlate(batch_table)
        .scalar_subquery()
    )
    counts = (
        select(
            entry_table.c.batch_id,
            func.count().label("entries"),
            func.count(entry_table.c.photo_sha256.distinct()).label("photos"),
        )
        .where(CURRENT, OF_A_BATCH)
        .group_by(entry_table.c.batch_id)
        .subquery()
    )
    return (
        select(batch_table, last.c.at_utc, last.c.at_offset_minutes, counts.c.entries, counts.c.photos)
        .select_from(batch_table)
        .outerjoin(last, last.c.id == last_id)
        .outerjoin(counts, counts.c.batch_id == batch_table.c.id)
        .order_by(batch_table.c.started_at_utc.desc(), batch_table.c.id.desc())
    )


HEADS = _heads()
"""Every batch with what `as_head` needs, the latest started first."""


def as_batch(code: str, first_name: str, entries: tuple[Entry, ...]) -> Batch:
    """A batch with its current entries in order of time, under the last of its names."""
    names = [entry.record.name for entry in of_kind(entries, Renamed)]
    return Batch(code, names[-1] if names else first_name, entries)


def new_names(connection: Connection) -> dict[int, str]:
    """The last names of the batches that were renamed, by their numbers."""
    renamed = select(entry_table).where(entry_table.c.kind == KIND_OF[Renamed], CURRENT).order_by(*IN_TIME)
    found = ((row.batch_id, as_entry(row)) for row in connection.execute(renamed))
    return {batch_id: entry.record.name for batch_id, one in found for entry in of_kind([one], Renamed)}


def as_head(row: Row[Any], new_name: str | None) -> BatchHead:
    """A row of `HEADS` as a value."""
    return BatchHead(
        row.code,
        row.name if new_name is None else new_name,
        local(row.started_at_utc, row.started_at_offset_minutes),
        row.author,
        local(row.at_utc, row.at_offset_minutes) if row.at_utc else None,
        row.entries or 0,
        row.photos or 0,
    )


def kept(sha256: str) -> Select[Any]:
    """The photo of a hash."""
    return select(photo_table).where(photo_table.c.sha256 == sha256)


def latest(table: Table, name: str | None = None) -> Select[Any]:
    """The last row of each name, or of one."""
    newer = table.alias("newer")
    query = select(table).where(~exists().where(newer.c.name == table.c.name, newer.c.id > table.c.id))
    return query if name is None else query.where(table.c.name == name)


def as_card(row: Row[Any]) -> KeptCard:
    """A row of the cards as a value."""
    return KeptCard(row.name, row.copy_id, row.toml, row.added_at_utc)


def as_entry(row: Row[Any]) -> Entry:
    """A row of the entries as a value; `RecordUnreadable` if this version does not know its record."""
    return Entry(
        row.id,
        local(row.at_utc, row.at_offset_minutes),
        row.author,
        row.recorded_at_utc,
        from_json(row.kind, row.record),
        row.supersedes,
        row.photo_sha256,
        row.press_key,
        local(row.pressed_at_utc, row.pressed_at_offset_minutes) if row.pressed_at_utc else None,
    )


def as_photo(row: Row[Any]) -> KeptPhoto:
    """A row of the photos as a value."""
    taken_at = local(row.taken_at_utc, row.taken_at_offset_minutes) if row.taken_at_utc else None
    facts = PhotoFacts(row.suffix, row.width, row.height, taken_at, row.taken_from, row.original_name)
    return KeptPhoto(row.sha256, row.size, facts, row.received_at_utc)
