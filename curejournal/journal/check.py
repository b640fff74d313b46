"""Every row, every hash and every reference of a journal, looked at."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, Table, or_, select, text
from sqlalchemy.exc import SQLAlchemyError

from curejournal.base.messages import msg
from curejournal.batch.workshop import ContactErased
from curejournal.journal import tables
from curejournal.journal.blueprint import strangers
from curejournal.journal.contacts import words_hash
from curejournal.journal.files import PART
from curejournal.journal.photos import Shelf
from curejournal.journal.record_json import KIND_OF
from curejournal.journal.seals import chain_breaks, key_of, row_hash
from curejournal.journal.seen_photos import SeenPhotos
from curejournal.journal.stored import StoredRow, any_text, stored_rows, wrong_with

Progress = Callable[[int, int], None]
"""Called with the number of photos done and of all."""
_PhotoRow = tuple[str, str, int]
# What a damaged database, or a damaged value in it, raises when it is read.
UNREADABLE = (SQLAlchemyError, sqlite3.Error, ValueError, TypeError, ArithmeticError, LookupError)
# More of one kind tell nothing more; ours.
_MOST = 100


@dataclass(frozen=True)
class Problem:
    """What a check found.

    `serious` is False for what does no harm: a file left by an intake that was
    cut short before it was confirmed. `photo` is the hash of the photo concerned, if its file is what is wrong.
    """

    what: str
    where: str
    serious: bool = True
    photo: str | None = None


def halves(progress: Progress | None) -> tuple[Progress | None, Progress | None]:
    """Progress of two steps that go through the same photos, each told as half of the way."""
    if progress is None:
        return None, None
    tell = progress
    return lambda done, all_of: tell(done, 2 * all_of), lambda done, all_of: tell(all_of + done, 2 * all_of)


def check(
    engine: Engine, shelf: Shelf, progress: Progress | None = None, seen: SeenPhotos | None = None
) -> tuple[Problem, ...]:
    """Everything that is wrong with a journal; nothing if it is whole.

    Parameters
    ----------
    engine : Engine
        The database.
    shelf : Shelf
        The folder of its photos.
    progress : callable, optional
        Told how many of the photos were read.
    seen : SeenPhotos, optional
        Those that need not be read again; what is read is noted there.
    """
    # Listed before the rows: a photo is there before its row, so that one taken in meanwhile is no stray.
    files = tuple(shelf.files())
    # Never committed: a damaged database may refuse even that.
    with engine.connect() as connection:
        problems = list(check_rows(connection))
        rows: list[_PhotoRow] = []
        with _reported(problems):
            photos = stored_rows(connection, tables.photo)
            sound = (row for _, row in photos if not wrong_with(tables.photo, row))
            rows.extend((row["sha256"], row["suffix"], row["size"]) for row in sound)
    problems.extend(_photos(shelf, rows, files, progress, seen))
    return tuple(problems)


def check_rows(connection: Connection) -> tuple[Problem, ...]:
    """Everything that is wrong with a database, the photos' files left aside."""
    problems: list[Problem] = []
    looks: list[Callable[[Connection], Iterator[Problem]]] = [_database, _chain, _crossed, _words]
    looks += [_rows_of(table) for table in tables.SEALED]
    for look in looks:
        with _reported(problems):
            found = look(connection)
            problems.extend(islice(found, _MOST))
            if next(found, None) is not None:
                problems.append(Problem("and more of the same", problems[-1].where))
    return tuple(problems)


@contextmanager
def _reported(problems: list[Problem]) -> Iterator[None]:
    try:
        yield
    except UNREADABLE as error:
        problems.append(Problem(f"the database cannot be read: {getattr(error, 'orig', error)}", "database"))


def _database(connection: Connection) -> Iterator[Problem]:
    if connection.dialect.name == "sqlite":
        with any_text(connection):
            for line in connection.scalars(text("PRAGMA integrity_check")):
                if line != "ok":
                    yield Problem(line, "database")
            for row in connection.execute(text("PRAGMA foreign_key_check")):
                yield Problem(f"row {row[1]} refers to a {row[2]} that is not there", msg("table {row}", row=row[0]))
    for name in strangers(connection, tables.HEAD):
        yield Problem("the definition differs from what the program made", msg("database, {name}", name=name))


def _chain(connection: Connection) -> Iterator[Problem]:
    for number in chain_breaks(connection):
        yield Problem(
            "the chain of hashes breaks here: a seal was changed, put in or taken out",
            msg("seal {the_number}", the_number=number),
        )
    for table in tables.SEALED:
        key_in_seal = "CAST(s.row_key AS INTEGER)" if key_of(table) == "id" else "s.row_key"
        gone = (
            f"SELECT s.row_key FROM seal s WHERE s.table_name = '{table.name}' AND NOT EXISTS "
            f"(SELECT 1 FROM {table.name} t WHERE t.{key_of(table)} = {key_in_seal})"
        )
        with any_text(connection):
            for key in connection.scalars(text(gone)):
                yield Problem("it was kept, and is no longer there", f"{table.name} {key}")


def _crossed(connection: Connection) -> Iterator[Problem]:
    entry, earlier = tables.entry, tables.entry.alias("earlier")
    crossed = (
        select(entry.c.id)
        .join(earlier, entry.c.supersedes == earlier.c.id)
        .where(or_(entry.c.batch_id.is_distinct_from(earlier.c.batch_id), entry.c.id <= earlier.c.id))
    )
    for number in connection.scalars(crossed):
        yield Problem(
            "it corrects an entry of another batch or a later one", msg("entry {the_number}", the_number=number)
        )


def _words(connection: Connection) -> Iterator[Problem]:
    """The words of contacts against their own hash; only those whose erasure was entered may be blank."""
    entered = select(tables.entry.c.contact_id).where(tables.entry.c.kind == KIND_OF[ContactErased])
    erased = set(connection.scalars(entered))
    for key, row in stored_rows(connection, tables.contact):
        if not any(row[name] for name in ("name", "details", "salt")):
            if (row["first_id"] or key) not in erased:
                yield Problem(
                    "its words are gone, and nobody entered that they were erased", msg("contact {key}", key=key)
                )
        elif words_hash(row["salt"], row["name"], row["details"]) != row["words_hash"]:
            yield Problem("its words are not as they were kept: their hash differs", msg("contact {key}", key=key))


def _rows_of(table: Table) -> Callable[[Connection], Iterator[Problem]]:
    def look(connection: Connection) -> Iterator[Problem]:
        for key, row in stored_rows(connection, table, sealed=True):
            if fault := fault_of(table, row):
                yield Problem(fault, f"{table.name} {key}")

    return look


def fault_of(table: Table, row: StoredRow) -> str:
    """What is wrong with a row that came with its seal, in a sentence; empty if it is as it was kept."""
    sealed: Any = row.pop("sealed")
    unreadable = wrong_with(table, row)
    if sealed is None:
        return msg("it has no seal: something other than this program put it in") + (
            msg("; it {unreadable}", unreadable=unreadable) * bool(unreadable)
        )
    if sealed != row_hash(table.name, row):
        return msg("it is not as it was kept: its hash differs") + (
            msg("; it {unreadable}", unreadable=unreadable) * bool(unreadable)
        )
    return msg("it {unreadable}", unreadable=unreadable) * bool(unreadable)


def _photos(
    shelf: Shelf, rows: Sequence[_PhotoRow], files: Sequence[Path], progress: Progress | None, seen: SeenPhotos | None
) -> Iterator[Problem]:
    for done, (sha256, suffix, size) in enumerate(rows, start=1):
        path = shelf.path(sha256, suffix)
        wrong = "" if seen and path in seen else _spoilt(shelf, sha256, suffix, size)
        if wrong:
            yield Problem(f"the photo {wrong}", path.name, photo=sha256)
        elif seen:
            seen.note(path)
        if progress:
            progress(done, len(rows))
    known = {shelf.path(sha256, suffix) for sha256, suffix, _ in rows}
    for path in files:
        where = str(path.relative_to(shelf.folder))
        if PART in path.suffix:
            yield Problem("left by work that was cut short; harmless", where, serious=False)
        elif path not in known:
            yield Problem("no entry knows it; its intake may have been cut short; harmless", where, serious=False)


def _spoilt(shelf: Shelf, sha256: str, suffix: str, size: int) -> str:
    path = shelf.path(sha256, suffix)
    try:
        with path.open("rb") as file:
            same = hashlib.file_digest(file, "sha256").hexdigest() == sha256
        found = path.stat().st_size
    except FileNotFoundError:
        return msg("is missing")
    except OSError as error:
        return msg("cannot be read ({strerror})", strerror=error.strerror)
    if found != size:
        return msg("has {found} bytes instead of {size}", found=found, size=size)
    return "" if same else msg("is not the one that was kept")
