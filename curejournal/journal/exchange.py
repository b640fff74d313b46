"""A journal out into a folder of plain data and photos, and in again as a new journal."""

from __future__ import annotations

import codecs
import json
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from functools import partial
from pathlib import Path

from sqlalchemy import Connection, func, select

from curejournal.base.bounds import IMPORT_BYTES
from curejournal.base.messages import msg
from curejournal.journal import tables
from curejournal.journal.backup import Backup
from curejournal.journal.check import Progress, check, halves
from curejournal.journal.copying import rows_of
from curejournal.journal.database import DATABASE, engine_for, migrate, sqlite_url
from curejournal.journal.errors import JournalDamaged, in_plain_words
from curejournal.journal.files import new_folder, written_whole
from curejournal.journal.filling import fill
from curejournal.journal.json_stream import read_json
from curejournal.journal.photos import Shelf
from curejournal.journal.plain_data import Data, EntryRow, contents, entry_row, json_pieces, json_schema, refused
from curejournal.journal.seals import head as head_of
from curejournal.journal.spreadsheet import from_tables, write_tables
from curejournal.journal.workbook import write_workbook

DATA, SCHEMA, WORKBOOK = "journal.json", "schema.json", "journal.xlsx"


def write(connection: Connection, shelf: Shelf, to: Path, progress: Progress | None = None) -> Backup:
    """Write everything into a new folder: `journal.json`, its schema, tables, a workbook of them, and the photos.

    Rows are read and written one after the other, so that the memory it takes does not grow with the journal.
    """
    data = contents(connection)
    with in_plain_words(to), new_folder(to) as folder, ExitStack() as files:

        def begin(name: str) -> Callable[[str], object]:
            file = files.enter_context(written_whole(folder / name))
            if name.endswith(".csv"):
                file.write(codecs.BOM_UTF8)  # tells spreadsheets what it is
            return lambda text: file.write(text.encode())

        json_file = begin(DATA)
        for piece in json_pieces(data):
            json_file(piece)
        begin(SCHEMA)(json.dumps(json_schema(), indent=1) + "\n")
        write_tables(data, begin)
        kinds = set(connection.scalars(select(tables.entry.c.kind).distinct()))
        book = files.enter_context(written_whole(folder / WORKBOOK))
        write_workbook(data, kinds, entries_by_batch(connection), book, folder)
        photos, left_out = _copy_photos(data, shelf, Shelf(folder), count_photos(connection), progress)
    return Backup(to, photos, left_out, head_of(connection))


def entries_by_batch(connection: Connection) -> Iterator[EntryRow]:
    """Every entry, batch by batch in order of time, those of the workshop first."""
    codes = {row.id: row.code for row in rows_of(connection, tables.batch)}
    entry = tables.entry.c
    ordered = select(tables.entry).order_by(entry.batch_id.is_not(None), entry.batch_id, entry.at_utc, entry.id)
    for row in connection.execute(ordered.execution_options(yield_per=1000)):
        yield entry_row(row, codes)


def count_photos(connection: Connection) -> int:
    """How many photos there are."""
    return connection.scalar(select(func.count()).select_from(tables.photo)) or 0


def read(source: Path) -> Data:
    """The data of a `journal.json`, or of a folder of tables: looked at row by row, and read again when it is used.

    Raises
    ------
    DataRefused
    """
    names = [source] if source.is_file() else sorted(source.glob("*.csv"))
    if not names:
        raise refused(msg("there is no file {source}, and no folder of tables", source=source))
    size = sum(path.stat().st_size for path in names)
    if size > IMPORT_BYTES:
        raise refused(msg("it is far too large"))
    if source.is_file():
        return read_json(source)
    try:
        return from_tables({path.name: partial(path.open, encoding="utf-8-sig", newline="") for path in names}, size)
    except UnicodeDecodeError:
        raise refused(msg("it is not text in UTF-8")) from None


def bring_in(source: Path, to: Path, progress: Progress | None = None) -> Backup:
    """Make a journal, in a new folder, of data and the photos beside it; it takes its name once all is verified.

    Parameters
    ----------
    source : Path
        A `journal.json`, or a folder of tables.
    to : Path
        The folder; it must not exist, or be empty.
    progress : callable, optional
        Told how many times a photo was copied or read back, and how many times in all.

    Raises
    ------
    DataRefused, FolderInUse
    """
    with in_plain_words(source):
        data = read(source)
    beside = Shelf(source.parent if source.is_file() else source)
    with in_plain_words(to), new_folder(to) as folder:
        # Without SQLite's log, which would hold all rows a second time until they are committed.
        engine = engine_for(sqlite_url(folder / DATABASE), wal=False)
        try:
            with engine.execution_options(writes=True).begin() as connection:
                migrate(connection)
                fill(connection, data)
                total = count_photos(connection)
            copying, checking = halves(progress)
            photos, left_out = _copy_photos(data, beside, Shelf(folder), total, copying)
            problems = check(engine, Shelf(folder), checking)
            with engine.connect() as connection:
                head = head_of(connection)
        finally:
            engine.dispose()
        for problem in problems:
            if problem.photo not in left_out:
                raise refused(msg("{where}: {what}", where=problem.where, what=problem.what))
    return Backup(to, photos, left_out, head)


def _copy_photos(
    data: Data, source: Shelf, target: Shelf, total: int, progress: Progress | None
) -> tuple[int, tuple[str, ...]]:
    """Copy the photos that are there and sound; how many they are, and the hashes of the others."""
    left_out, copied = [], 0
    for done, photo in enumerate(data.photos, start=1):
        try:
            if not target.take_up(photo.sha256, photo.suffix):
                target.put(source.get(photo.sha256, photo.suffix), photo.suffix)
            copied += 1
        except JournalDamaged:
            left_out.append(photo.sha256)
        if progress:
            progress(done, total)
    return copied, tuple(left_out)
