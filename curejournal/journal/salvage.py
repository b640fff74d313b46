"""What is sound in a damaged journal, written into a new one."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection

from curejournal.base.messages import msg
from curejournal.journal import tables
from curejournal.journal.check import Problem, check
from curejournal.journal.contacts import contact_row
from curejournal.journal.database import DATABASE, TODAY, engine_for, known_revisions, migrate, sqlite_url
from curejournal.journal.errors import EntryRefused, JournalDamaged, in_plain_words
from curejournal.journal.files import new_folder
from curejournal.journal.former_settings import NOBODY
from curejournal.journal.opening import open_database
from curejournal.journal.photos import Shelf
from curejournal.journal.rows import WITHDRAWN
from curejournal.journal.seals import key_of, row_hash, seal_rows
from curejournal.journal.stored import StoredRow, wrong_with

# Row numbers that are tried one by one where a table breaks off and does not tell its last one: ten years of a busy
# workshop. Ours.
_MOST_ROWS = 200_000
_FIRST_VERSION = "0001"


@dataclass(frozen=True)
class Salvaged:
    """A journal of what was sound: where it is, how many rows of each table it has, and what could not be had."""

    path: Path
    kept: Mapping[str, int]
    photos: int
    lost: tuple[Problem, ...]


@dataclass
class _Found:
    """The sound rows of each table by their keys, and what was lost on the way."""

    revision: str
    rows: dict[str, dict[Any, StoredRow]] = field(default_factory=dict)
    lost: list[Problem] = field(default_factory=list)


def salvage(source: Path, to: Path, now: Callable[[], datetime]) -> Salvaged:
    """Write every row and photo of a journal's folder that is as it was kept into a new journal.

    Numbers of entries stay. What refers to something that was lost is kept without it: an entry of a lost batch under a
    placeholder, one of a lost photo without its photo.

    Parameters
    ----------
    source : Path
        The damaged journal's folder; nothing in it is changed.
    to : Path
        The new folder; it must not exist, or be empty.
    now : callable
        The clock.

    Raises
    ------
    JournalDamaged
        If nothing at all can be read.
    FolderInUse
    """
    if not (source / DATABASE).is_file():
        raise JournalDamaged(
            msg("There is no {database} in {source}.", database=DATABASE, source=source),
            msg("Name the journal's own folder."),
        )
    with in_plain_words(to), new_folder(to) as folder:
        copy = folder / "copy"
        copy.mkdir()
        for path in source.glob(f"{DATABASE}*"):
            shutil.copyfile(path, copy / path.name)
        found = _sound_rows(copy / DATABASE)
        shutil.rmtree(copy)
        _mend(found)
        _write(found, folder, now)
        photos = _copy_photos(found, Shelf(source), Shelf(folder))
        _verify(folder, now, found)
    return Salvaged(to, {name: len(rows) for name, rows in found.rows.items()}, photos, tuple(found.lost))


def _sound_rows(database: Path) -> _Found:
    try:
        with closing(sqlite3.connect(database)) as connection:
            connection.text_factory = lambda raw: raw.decode("utf-8", "surrogateescape")
            connection.row_factory = sqlite3.Row
            found = _Found(_revision(connection))
            seals: dict[tuple[str, str], str] | None = None
            if found.revision != _FIRST_VERSION:
                kept = _rows(connection, "seal", found.lost)
                seals = {(str(row["table_name"]), str(row["row_key"])): str(row["row_hash"]) for row in kept}
            for table in tables.SEALED:
                rows = found.rows[table.name] = {}
                if table.name == "contact" and seals is None:
                    continue
                for row in _rows(connection, table.name, found.lost):
                    key = row[key_of(table)]
                    if fault := _fault(table.name, key, row, seals):
                        found.lost.append(Problem(fault, f"{table.name} {key}"))
                    else:
                        rows[key] = row
    except sqlite3.Error as error:
        raise _nothing(str(error)) from error
    if not any(found.rows.values()):
        raise _nothing(msg("no row can be read"))
    known = {f"{name} {key}" for name, rows in found.rows.items() for key in rows}
    known |= {problem.where for problem in found.lost}
    for name, key in seals or {}:
        if f"{name} {key}" not in known:
            found.lost.append(Problem("it was kept, and is no longer there", f"{name} {key}"))
    return found


def _nothing(why: str) -> JournalDamaged:
    return JournalDamaged(
        msg("Nothing can be read from this database: {why}.", why=why),
        msg("Restore the latest backup into a new folder. The photos are files of their own, below photos/."),
    )


def _revision(connection: sqlite3.Connection) -> str:
    with suppress(sqlite3.Error):
        revision = connection.execute("SELECT version_num FROM alembic_version").fetchone()
        if revision is not None and revision[0] in known_revisions():
            return str(revision[0])
    # Its own word for it is lost: there are seals, or there are not.
    with suppress(sqlite3.Error):
        connection.execute("SELECT 1 FROM seal LIMIT 1")
        return tables.HEAD
    return _FIRST_VERSION


def _rows(connection: sqlite3.Connection, table: str, lost: list[Problem]) -> Iterator[StoredRow]:
    """The rows of a table; where it breaks off, each number is tried by itself."""
    last = 0
    try:
        for row in connection.execute(f"SELECT rowid AS number_of_row, * FROM {table} NOT INDEXED ORDER BY rowid"):
            last = row["number_of_row"]
            yield _plain(row)
    except sqlite3.Error as error:
        lost.append(Problem(f"the table is damaged after row {last}: {error}", table))
        if error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_ERROR, sqlite3.SQLITE_NOTADB):
            return  # there is no such table, or no database
        for number in range(last + 1, _last_number(connection, table) + 1):
            with suppress(sqlite3.Error):
                query = f"SELECT rowid AS number_of_row, * FROM {table} NOT INDEXED WHERE rowid = ?"
                one = connection.execute(query, (number,)).fetchone()
                if one is not None:
                    yield _plain(one)


def _plain(row: sqlite3.Row) -> StoredRow:
    return {name: row[name] for name in row.keys() if name != "number_of_row"}  # noqa: SIM118, of sqlite3.Row


def _last_number(connection: sqlite3.Connection, table: str) -> int:
    for query in (f"SELECT max(rowid) FROM {table}", f"SELECT seq FROM sqlite_sequence WHERE name = '{table}'"):
        with suppress(sqlite3.Error):
            found = connection.execute(query).fetchone()
            if found is not None and isinstance(found[0], int):
                return min(found[0], 10 * _MOST_ROWS)
    return _MOST_ROWS


def _fault(table: str, key: Any, row: StoredRow, seals: Mapping[tuple[str, str], str] | None) -> str:
    if unreadable := wrong_with(tables.metadata.tables[table], row):
        return msg("it {unreadable}", unreadable=unreadable)
    if seals is None:
        return ""
    sealed = seals.get((table, str(key)))
    if sealed is None:
        return msg("its seal is not there")
    return "" if sealed == row_hash(table, row) else msg("it is not as it was kept: its hash differs")


# --- what refers to something that was lost ------------------------------------------------


def _mend(found: _Found) -> None:
    entries, batches = found.rows["entry"], found.rows["batch"]
    for key, row in list(entries.items()):
        if row["supersedes"] is not None and row["supersedes"] not in entries:
            if row["kind"] == WITHDRAWN:
                found.lost.append(Problem("what it took back was lost, and so is it", msg("entry {key}", key=key)))
                del entries[key]
                continue
            _without(found, row, "supersedes", msg("kept, though what it corrected was lost"))
        if row["photo_sha256"] is not None and row["photo_sha256"] not in found.rows["photo"]:
            _without(found, row, "photo_sha256", msg("kept without its photo, whose row was lost"))
        if row["batch_id"] is not None and row["batch_id"] not in batches:
            batches[row["batch_id"]] = _placeholder(row)
            found.lost.append(
                Problem("its entries are kept under a code of its number", msg("batch {row}", row=row["batch_id"]))
            )
        contact = row.get("contact_id")
        if contact is not None and contact not in found.rows["contact"]:
            found.rows["contact"][contact] = _nobody(contact, row)
            found.lost.append(
                Problem("it is kept without its words, which were lost", msg("contact {contact}", contact=contact))
            )
    for row in found.rows["contact"].values():
        if row["first_id"] is not None and row["first_id"] not in found.rows["contact"]:
            row["first_id"] = None


def _without(found: _Found, row: StoredRow, column: str, what: str) -> None:
    row[column] = None
    found.lost.append(Problem(what, msg("entry {row}", row=row["id"])))


def _placeholder(entry: StoredRow) -> StoredRow:
    number = entry["batch_id"]
    about = {"id": number, "code": f"salvaged-{number}", "name": msg("Batch whose row was lost"), "author": NOBODY}
    started = {"started_at_utc": entry["at_utc"], "started_at_offset_minutes": entry["at_offset_minutes"]}
    return {**about, **started, "recorded_at_utc": entry["recorded_at_utc"]}


def _nobody(number: int, entry: StoredRow) -> StoredRow:
    words = contact_row(msg("(words lost)"), "")
    return {"id": number, "first_id": None, **words, "author": NOBODY, "recorded_at_utc": entry["recorded_at_utc"]}


# --- the new journal -----------------------------------------------------------------------


def _write(found: _Found, folder: Path, now: Callable[[], datetime]) -> None:
    engine = engine_for(sqlite_url(folder / DATABASE))
    try:
        with engine.execution_options(writes=True).begin() as connection:
            migrate(connection, TODAY, found.revision)
            connection.exec_driver_sql("PRAGMA defer_foreign_keys=ON")
            for table in tables.SEALED:
                _insert(connection, table.name, list(found.rows[table.name].values()))
            if found.revision != _FIRST_VERSION:
                seal_rows(connection)
    finally:
        engine.dispose()
    # An early one is upgraded here.
    open_database(folder, None, create=False, now=now).dispose()


def _insert(connection: Connection, table: str, rows: list[StoredRow]) -> None:
    if rows:
        names = list(rows[0])
        query = f"INSERT INTO {table} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"
        connection.exec_driver_sql(query, [tuple(row[name] for name in names) for row in rows])


def _copy_photos(found: _Found, source: Shelf, target: Shelf) -> int:
    copied = 0
    for sha256, row in found.rows["photo"].items():
        try:
            target.put(source.get(sha256, row["suffix"]), row["suffix"])
            copied += 1
        except JournalDamaged as error:
            found.lost.append(Problem(error.what, msg("photo {sha256}", sha256=sha256)))
    for path in source.files():
        # Its row was lost; the picture itself is still its maker's.
        if path.is_file() and path.stem not in found.rows["photo"]:
            with suppress(JournalDamaged, EntryRefused):
                target.put(source.get(path.stem, path.suffix), path.suffix)
                found.lost.append(Problem("its row was lost; the file is copied, and may be taken in again", path.name))
    return copied


def _verify(folder: Path, now: Callable[[], datetime], found: _Found) -> None:
    engine = open_database(folder, None, create=False, now=now)
    try:
        problems = check(engine, Shelf(folder))
    finally:
        engine.dispose()
    gone = {problem.where.removeprefix("photo ") for problem in found.lost}
    for problem in problems:
        if problem.serious and problem.photo not in gone:
            raise JournalDamaged(
                msg("What was salvaged does not verify: {where}: {what}.", where=problem.where, what=problem.what),
                msg("Report this."),
            )
