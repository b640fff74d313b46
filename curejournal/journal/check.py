"""Every hash and every reference of a journal, looked at."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Engine, or_, select, text
from sqlalchemy.exc import DBAPIError

from curejournal.journal import tables
from curejournal.journal.blueprint import strangers
from curejournal.journal.copying import rows_of
from curejournal.journal.errors import RecordUnreadable
from curejournal.journal.files import PART
from curejournal.journal.photos import Shelf
from curejournal.journal.record_json import from_json

Progress = Callable[[int, int], None]
"""Called with the number of photos done and of all."""
_PhotoRow = tuple[str, str, int]


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


def check(engine: Engine, shelf: Shelf, progress: Progress | None = None) -> tuple[Problem, ...]:
    """Everything that is wrong with a journal; nothing if it is whole.

    Parameters
    ----------
    engine : Engine
        The database.
    shelf : Shelf
        The folder of its photos.
    progress : callable, optional
        Told how many of the photos were read.
    """
    # Listed before the rows: a photo is there before its row, so that one taken in meanwhile is no stray.
    files = tuple(shelf.files())
    problems: list[Problem] = []
    rows: list[_PhotoRow] = []
    # Never committed: a damaged database may refuse even that.
    with engine.connect() as connection:
        for look in (_database, _entries):
            with _reported(problems):
                problems.extend(look(connection))
        with _reported(problems):
            photo = tables.photo.c
            rows.extend(connection.execute(select(photo.sha256, photo.suffix, photo.size)).tuples())
    problems.extend(_photos(shelf, rows, files, progress))
    return tuple(problems)


@contextmanager
def _reported(problems: list[Problem]) -> Iterator[None]:
    try:
        yield
    except (DBAPIError, ValueError, TypeError) as error:
        # The last two: a damaged value that is no time, number or text.
        problems.append(Problem(f"the database cannot be read: {getattr(error, 'orig', error)}", "database"))


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


def _photos(
    shelf: Shelf, rows: Sequence[_PhotoRow], files: Sequence[Path], progress: Progress | None
) -> Iterator[Problem]:
    for done, (sha256, suffix, size) in enumerate(rows, start=1):
        wrong = _spoilt(shelf, sha256, suffix, size)
        if wrong:
            yield Problem(f"the photo {wrong}", shelf.path(sha256, suffix).name, photo=sha256)
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
        return "is missing"
    except OSError as error:
        return f"cannot be read ({error.strerror})"
    if found != size:
        return f"has {found} bytes instead of {size}"
    return "" if same else "is not the one that was kept"
