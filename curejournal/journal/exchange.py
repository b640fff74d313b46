"""A journal out into a folder of plain data and photos, and in again as a new journal."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection

from curejournal.base.bounds import IMPORT_BYTES
from curejournal.base.messages import msg
from curejournal.journal.backup import Backup
from curejournal.journal.check import check
from curejournal.journal.errors import JournalDamaged, in_plain_words
from curejournal.journal.files import new_folder, written_whole
from curejournal.journal.opening import open_database
from curejournal.journal.photos import Shelf
from curejournal.journal.plain_data import Contents, as_text, contents, fill, from_text, json_schema, refused
from curejournal.journal.seals import head as head_of
from curejournal.journal.spreadsheet import as_tables, from_tables
from curejournal.journal.workbook import as_workbook

DATA, SCHEMA, WORKBOOK = "journal.json", "schema.json", "journal.xlsx"


def write(connection: Connection, shelf: Shelf, to: Path) -> Backup:
    """Write everything into a new folder: `journal.json`, its schema, tables, a workbook of them, and the photos."""
    data = contents(connection)
    texts = {DATA: as_text(data), SCHEMA: json.dumps(json_schema(), indent=1) + "\n", **as_tables(data)}
    with in_plain_words(to), new_folder(to) as folder:
        for name, text in texts.items():
            with written_whole(folder / name) as file:
                # The mark tells spreadsheets that it is UTF-8.
                file.write(text.encode("utf-8-sig" if name.endswith(".csv") else "utf-8"))
        with written_whole(folder / WORKBOOK) as file:
            file.write(as_workbook(data))
        left_out = _copy_photos(data, shelf, Shelf(folder))
    return Backup(to, len(data.photos) - len(left_out), left_out, head_of(connection))


def read(source: Path) -> Contents:
    """The data of a `journal.json`, or of a folder of tables.

    Raises
    ------
    DataRefused
    """
    names = [source] if source.is_file() else sorted(source.glob("*.csv"))
    if not names:
        raise refused(msg("there is no file {source}, and no folder of tables", source=source))
    if sum(path.stat().st_size for path in names) > IMPORT_BYTES:
        raise refused(msg("it is far too large"))
    try:
        texts = {path.name: path.read_bytes().decode("utf-8-sig") for path in names}
    except UnicodeDecodeError:
        raise refused(msg("it is not text in UTF-8")) from None
    return from_text(texts[source.name]) if source.is_file() else from_tables(texts)


def bring_in(source: Path, to: Path, now: Callable[[], datetime]) -> Backup:
    """Make a journal, in a new folder, of data and the photos beside it; it takes its name once all is verified.

    Parameters
    ----------
    source : Path
        A `journal.json`, or a folder of tables.
    to : Path
        The folder; it must not exist, or be empty.
    now : callable
        The clock.

    Raises
    ------
    DataRefused, FolderInUse
    """
    with in_plain_words(source):
        data = read(source)
    beside = Shelf(source.parent if source.is_file() else source)
    with in_plain_words(to), new_folder(to) as folder:
        engine = open_database(folder, None, create=True, now=now)
        try:
            with engine.execution_options(writes=True).begin() as connection:
                fill(connection, data)
            left_out = _copy_photos(data, beside, Shelf(folder))
            problems = check(engine, Shelf(folder))
            with engine.connect() as connection:
                head = head_of(connection)
        finally:
            engine.dispose()
        for problem in problems:
            if problem.photo not in left_out:
                raise refused(msg("{where}: {what}", where=problem.where, what=problem.what))
    return Backup(to, len(data.photos) - len(left_out), left_out, head)


def _copy_photos(data: Contents, source: Shelf, target: Shelf) -> tuple[str, ...]:
    """Copy the photos that are there and sound; the hashes of the others."""
    left_out = []
    for photo in data.photos:
        try:
            target.put(source.get(photo.sha256, photo.suffix), photo.suffix)
        except JournalDamaged:
            left_out.append(photo.sha256)
    return tuple(left_out)
