"""Every hash and every reference of a journal, looked at."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from sqlalchemy import Connection, or_, select, text
from sqlalchemy.exc import DBAPIError

from curejournal.journal import tables
from curejournal.journal.blueprint import strangers
from curejournal.journal.copying import rows_of
from curejournal.journal.faults import RecordUnreadable
from curejournal.journal.files import PART
from curejournal.journal.photos import Shelf
from curejournal.journal.record_json import from_json

Progress = Callable[[int, int], None]
"""Called with the number of photos done and of all."""


@dataclass(frozen=True)
class Problem:
    """What a check found.

    `serious` is False for what does no harm: a file left by an intake that was
    cut short before it was confirmed. `photo` is the hash of the photo concerned, if there is one.
    """

    what: str
    where: str
    serious: bool = True
    photo: str | None = None


def check(connection: Connection, shelf: Shelf, progress: Progress | None = None) -> tuple[Problem, ...]:
    """Everything that is wrong with a journal; nothing if it is whole.

    Parameters
    ----------
    connection : Connection
        Reading, in a transaction.
    shelf : Shelf
        The folder of its photos.
    progress : callable, optional
        Told how many of the photos were read.
    """
    problems: list[Problem] = []
    for look in (_database, _entries, lambda database: _photos(database, shelf, progress)):
        try:
            problems.extend(look(connection))
        except (DBAPIError, ValueError, TypeError) as error:
            # The last two: a damaged value that is no time, number or text.
            problems.append(Problem(f"the database cannot be read: {getattr(error, 'orig', error)}", "database"))
    return tuple(problems)


def _database(connection: Connection) -> Iterator[Problem]:
    if connection.dialect.name == "sqlite":
        for line in connection.scalars(text("PRAGMA integrity_check")):
            if line != "ok":
                yield Problem(line, "database")
        for row in connection.execute(text("PRAGMA foreign_key_check")):
            yield Problem(f"row {row[1]} refers to a {row[2]} that is not there", f"table {row[0]}")
    for name in strangers(connection, tables.HEAD):
        yield Problem("the definition differs from what the program made", f"database, {name}")


def _entries(connection: Connection) -> Iterator[Problem]:
    for row in rows_of(connection, tables.entry):
        try:
            from_json(row.kind, row.record)
        except RecordUnreadable as error:
            yield Problem(error.what, f"entry {row.id}")
    earlier = tables.entry.alias("earlier")
    crossed = (
        select(tables.entry.c.id)
        .join(earlier, tables.entry.c.supersedes == earlier.c.id)
        .where(or_(tables.entry.c.batch_id != earlier.c.batch_id, tables.entry.c.id <= earlier.c.id))
    )
    for number in connection.scalars(crossed):
        yield Problem("it corrects an entry of another batch or a later one", f"entry {number}")


def _photos(connection: Connection, shelf: Shelf, progress: Progress | None) -> Iterator[Problem]:
    rows = connection.execute(select(tables.photo.c.sha256, tables.photo.c.suffix, tables.photo.c.size)).all()
    for done, row in enumerate(rows, start=1):
        wrong = _spoilt(shelf, row.sha256, row.suffix, row.size)
        if wrong:
            yield Problem(f"the photo {wrong}", shelf.path(row.sha256, row.suffix).name, photo=row.sha256)
        if progress:
            progress(done, len(rows))
    known = {shelf.path(row.sha256, row.suffix) for row in rows}
    for path in shelf.files():
        where = str(path.relative_to(shelf.folder))
        if path.name.endswith(PART):
            yield Problem("left by an intake that was cut short", where, serious=False)
        elif path not in known:
            yield Problem("a file that no entry knows; its intake may have been cut short", where, serious=False)


def _spoilt(shelf: Shelf, sha256: str, suffix: str, size: int) -> str:
    path = shelf.path(sha256, suffix)
    try:
        with path.open("rb") as file:
            same = hashlib.file_digest(file, "sha256").hexdigest() == sha256
        found = path.stat().st_size
    except FileNotFoundError:
        return "is missing"
    except OSError as error:
        return f"cannot be read ({error.strerror})"
    if found != size:
        return f"has {found} bytes instead of {size}"
    return "" if same else "is not the one that was kept"
