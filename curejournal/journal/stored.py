"""Rows as they are stored, damaged ones too, and what is wrong with one."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from typing import Any

from sqlalchemy import BigInteger, Connection, Integer, Table, text

from curejournal.base.messages import msg, msg_n
from curejournal.journal import tables
from curejournal.journal.errors import EntryRefused, JournalDamaged, RecordUnreadable
from curejournal.journal.photos import Shelf
from curejournal.journal.record_json import columns_of_record, from_json
from curejournal.journal.text import local

# Rows handed over at once (ours: bounds the memory, and is large enough that the round trips do not count).
_CHUNK = 1000
StoredRow = dict[str, Any]


@contextmanager
def any_text(connection: Connection) -> Iterator[None]:
    """Let bytes that are no UTF-8 come out of SQLite as lone surrogates, not as an error; a server holds none."""
    driver: Any = connection.connection.driver_connection
    if connection.dialect.name != "sqlite":
        yield
        return
    before, driver.text_factory = driver.text_factory, lambda raw: raw.decode("utf-8", "surrogateescape")
    try:
        yield
    finally:
        driver.text_factory = before


def stored_rows(connection: Connection, table: Table, *, sealed: bool = False) -> Iterator[tuple[Any, StoredRow]]:
    """The rows of a table in the order of its key, each with its key, as the database holds them.

    Parameters
    ----------
    connection : Connection
        In a transaction.
    table : Table
        Any of the journal's; columns that the database has not are not asked for.
    sealed : bool
        Add the hash in the row's seal as `sealed`, None if it has none.
    """
    (key,) = (column.name for column in table.primary_key)
    query, more = f"SELECT t.* FROM {table.name} t", ""
    if sealed:
        query = f"SELECT t.*, s.row_hash AS sealed FROM {table.name} t"
        more = f" LEFT JOIN seal s ON s.table_name = '{table.name}' AND s.row_key = CAST(t.{key} AS VARCHAR(64))"
    ordered = text(f"{query}{more} ORDER BY t.{key}").execution_options(yield_per=_CHUNK)
    with any_text(connection):
        for row in connection.execute(ordered).mappings():
            yield row[key], dict(row)


def wrong_with(table: Table, row: Mapping[str, Any]) -> str:
    """What keeps a stored row from being read, in words after “it”; empty if nothing does."""
    for column in table.columns:
        value = row.get(column.name)
        if value is None:
            if not column.nullable:
                return msg("has no {name}", name=column.name)
        elif fault := _fault(column.type, column.name, value):
            return fault
    try:
        return _MEANING[table.name](row) if table.name in _MEANING else ""
    except RecordUnreadable as error:
        return msg("cannot be read: {what}", what=error.what)
    except EntryRefused as error:
        return msg("cannot be read: {what}", what=error.what)
    except (ValueError, OverflowError, RecursionError) as error:
        return msg("cannot be read: {error}", error=error)


def _fault(kind: Any, name: str, value: Any) -> str:
    if isinstance(kind, (Integer, BigInteger)):
        return "" if type(value) is int else msg("has a {name} that is not a whole number", name=name)
    if isinstance(kind, tables.UtcDateTime):
        try:
            if isinstance(value, str):
                datetime.fromisoformat(value)
            else:
                value.isoformat()
        except (ValueError, AttributeError):
            return msg("has a {name} that is not a time: {value}", name=name, value=f"{str(value)[:40]!a}")
        return ""
    if not isinstance(value, str):
        return msg("has a {name} that is not text", name=name)
    try:
        value.encode("utf-8")
    except UnicodeEncodeError:
        return msg("has a {name} that is not text: bytes that are not UTF-8", name=name)
    return ""


def _times(row: Mapping[str, Any]) -> str:
    """A time with an offset that there can be: `local` refuses any other."""
    for name, value in row.items():
        if name.endswith("_offset_minutes") and value is not None:
            at = row[name.replace("_offset_minutes", "_utc")]
            local(datetime.fromisoformat(at) if isinstance(at, str) else at, value)
    return ""


def _entry(row: Mapping[str, Any]) -> str:
    record = from_json(row["kind"], row["record"])
    odd = [name for name, value in columns_of_record(record).items() if name in row and row[name] != value]
    return msg("has another {odd} than its record", odd=odd[0]) if odd else _times(row)


def _photo(row: Mapping[str, Any]) -> str:
    Shelf.named(row["sha256"], row["suffix"])
    return _times(row)


def _setting(row: Mapping[str, Any]) -> str:
    json.loads(row["value"])
    return ""


_MEANING = {"batch": _times, "photo": _photo, "entry": _entry, "setting": _setting}


def refuse_damaged(connection: Connection, names: Sequence[str]) -> None:
    """Refuse a database in which a row cannot be read.

    Raises
    ------
    JournalDamaged
    """
    found = [
        f"{name} {str(key)!a} {fault}"
        for name in names
        for key, row in stored_rows(connection, tables.metadata.tables[name])
        if (fault := wrong_with(tables.metadata.tables[name], row))
    ]
    if found:
        raise damaged_rows(found)


def damaged_rows(found: Sequence[str]) -> JournalDamaged:
    """The error for rows that are not as they were kept; the first three are named."""
    more = (
        msg(", and {found}", found=msg_n("{number} other", "{number} others", len(found) - 3)) if len(found) > 3 else ""
    )
    return JournalDamaged(
        msg("The journal is damaged: {found}{more}.", found="; ".join(found[:3]), more=more),
        msg(
            "Make a copy of the whole folder first. Then restore the latest backup into a new folder, or let "
            "“curejournal journal salvage” write all that is sound into a new journal."
        ),
        msg("Nothing was changed, and earlier backups are as they were."),
    )
