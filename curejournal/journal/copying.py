"""A whole database copied row by row, and compared with its copy."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from itertools import islice
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, MetaData, Row, Table, func, select

from curejournal.base.messages import msg
from curejournal.journal.database import TODAY, Schema, engine_for, migrate, revision_of, sqlite_url
from curejournal.journal.errors import JournalDamaged
from curejournal.journal.files import written_whole

# Rows handed over at once (ours: bounds the memory, and is large enough that the round trips do not count).
_CHUNK = 1000


def tables_of(connection: Connection) -> tuple[Table, ...]:
    """The tables as they are in this database, those referred to first."""
    found = MetaData()
    found.reflect(connection)
    return tuple(table for table in found.sorted_tables if table.name != "alembic_version")


def rows_of(connection: Connection, table: Table) -> Iterator[Row[Any]]:
    """The rows of a table in the order of its key."""
    return iter(connection.execute(select(table).order_by(*table.primary_key)).yield_per(_CHUNK))


def fingerprint(connection: Connection) -> dict[str, tuple[int, str]]:
    """For each table its number of rows and a SHA-256 over all of them: equal if and only if the rows are."""
    prints = {}
    for table in tables_of(connection):
        names = sorted(column.name for column in table.columns)
        digest, count = hashlib.sha256(), 0
        for row in rows_of(connection, table):
            values = row._mapping
            digest.update(repr([values[name] for name in names]).encode())
            count += 1
        prints[table.name] = (count, digest.hexdigest())
    return prints


def copy_rows(source: Connection, target: Connection) -> None:
    """Copy every row of a journal into an empty one of the same version, and compare both.

    Raises
    ------
    JournalDamaged
        If the copy is not the same row by row.
    """
    into = {table.name: table for table in tables_of(target)}
    for table in tables_of(source):
        rows = rows_of(source, table)
        while chunk := [dict(row._mapping) for row in islice(rows, _CHUNK)]:
            target.execute(into[table.name].insert(), chunk)
    count_on(target)
    if fingerprint(source) != fingerprint(target):
        raise JournalDamaged(
            msg("The copied journal is not the same as the original."), msg("Try again, on another disk.")
        )


def count_on(connection: Connection) -> None:
    """After rows came with their numbers: let a server's counters go on after the last of them."""
    if connection.dialect.name != "postgresql":
        return
    for table in tables_of(connection):
        if "id" in table.columns:
            last = func.setval(func.pg_get_serial_sequence(table.name, "id"), func.max(table.c.id))
            connection.execute(select(last).having(func.count() > 0))


def snapshot(source: Connection, path: Path, schema: Schema = TODAY) -> None:
    """Write the database of one moment, not earlier than the connection's own, into a new SQLite file.

    Parameters
    ----------
    source : Connection
        In a transaction.
    path : Path
        The file; it takes its name once it is whole and on the disk.
    schema : Schema
        The steps with which a copy of a server's database is made.
    """
    with written_whole(path) as file:
        part = Path(file.name)
        if source.dialect.name == "sqlite":
            with (
                closing(read_only(Path(str(source.engine.url.database)))) as original,
                closing(sqlite3.connect(part)) as copy,
            ):
                original.backup(copy)
        else:
            engine = engine_for(sqlite_url(part))
            try:
                with engine.execution_options(writes=True).begin() as target:
                    migrate(target, schema, revision_of(source, msg("the server")) or schema.head)
                    copy_rows(source, target)
            finally:
                engine.dispose()
        with closing(sqlite3.connect(part)) as copy:
            # One file, with no log beside it.
            copy.execute("PRAGMA journal_mode=DELETE")


def read_only(database: Path) -> sqlite3.Connection:
    """An SQLite file, opened so that nothing in it can change."""
    return sqlite3.connect(f"{database.absolute().as_uri()}?mode=ro", uri=True)
