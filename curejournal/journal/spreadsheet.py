"""A journal's data as tables for spreadsheets (CSV, RFC 4180), one of each kind of record, and back.

A cell of text that a spreadsheet would take for a formula gets an apostrophe
in front, which is taken off on the way back; numbers stay numbers. A colour is
three columns; lists are JSON in their cell.
"""

from __future__ import annotations

import csv
import heapq
import io
import json
import types
import typing
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing
from dataclasses import MISSING, dataclass, fields
from datetime import date, datetime
from functools import partial
from itertools import pairwise
from typing import Any, TextIO

from pydantic import AwareDatetime

from curejournal.base.bounds import IMPORT_ROW_CHARACTERS
from curejournal.base.messages import msg
from curejournal.batch.records import RECORDS
from curejournal.colour.sample import Lab
from curejournal.journal.plain_data import (
    FORMAT,
    FORMER,
    Again,
    BatchRow,
    CardRow,
    ContactRow,
    Data,
    EntryRow,
    PhotoRow,
    RowsAnew,
    SettingRow,
    held,
    plain_row,
    refuse_to_hold,
    refused,
    row_from_text,
    settled,
)
from curejournal.journal.record_json import RENAMED_FIELDS

# OWASP, CSV injection: what begins a formula, in the full-width forms of East Asia too. The apostrophe itself,
# so that one which was typed is not taken off.
_RUN = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠", "'")
TABLES: dict[str, type] = {
    "batches": BatchRow,
    "photos": PhotoRow,
    "cards": CardRow,
    "settings": SettingRow,
    "contacts": ContactRow,
}
_SUFFIX = ".csv"
_MOMENTS = {datetime, AwareDatetime, date}
_PLAIN = {str} | _MOMENTS
"""What stands in a cell as it is; anything else stands there as JSON."""
Write = Callable[[str], object]
"""Takes text, as a file does."""
Open = Callable[[], TextIO]
"""Opens a table, whose lines end as they stand in it."""

# Cells of more than its 131,072 characters are kept by nobody but hold whole cards and frozen evidence here.
csv.field_size_limit(10_000_000)


def type_hints(row: type[Any]) -> dict[str, Any]:
    """The type of each field of a row."""
    hints = typing.get_type_hints(row)
    return {field.name: hints[field.name] for field in fields(row)}


def columns_of(kind: str) -> dict[str, Any]:
    """The fields of a table of entries with their types: those of every entry, then those of the record."""
    entry = {name: hint for name, hint in type_hints(EntryRow).items() if name not in {"kind", "record"}}
    return {**entry, **type_hints(RECORDS[kind])}


def added_since(kind: str) -> dict[str, Any]:
    """The fields that an older record, or table, may lack, with what counts then."""
    every = (*fields(EntryRow), *fields(RECORDS[kind]))
    return {field.name: field.default for field in every if field.default is not MISSING}


def write_tables(data: Data, write: Callable[[str], Write]) -> None:
    """Write the tables, row by row; a kind without entries has none.

    Parameters
    ----------
    data : Data
        What to write.
    write : callable
        Begins the file of a name; what it gives takes text.
    """
    for name, row_type in TABLES.items():
        table = _Table(write(f"{name}{_SUFFIX}"), type_hints(row_type))
        for row in getattr(data, name):
            table.add(plain_row(name, row))
    of_kind: dict[str, _Table] = {}
    missing = {kind: added_since(kind) for kind in RECORDS}
    for entry in data.entries:
        kind = entry.kind
        if kind not in RECORDS:
            continue
        if kind not in of_kind:
            of_kind[kind] = _Table(write(f"entries {kind}{_SUFFIX}"), columns_of(kind))
        row = plain_row("entries", entry)
        of_kind[kind].add({**missing[kind], **row, **row["record"]})


def as_tables(data: Data) -> dict[str, str]:
    """The tables by their files' names; a kind without entries has none."""
    made: dict[str, io.StringIO] = {}

    def write(name: str) -> Write:
        made[name] = io.StringIO(newline="")
        return made[name].write

    write_tables(data, write)
    return {name: text.getvalue() for name, text in made.items()}


@dataclass(frozen=True)
class _Writer:
    write: Write


class _Table:
    def __init__(self, write: Write, columns: Mapping[str, Any]) -> None:
        self._columns = columns
        self._rows = csv.writer(_Writer(write), quoting=csv.QUOTE_MINIMAL)
        self._rows.writerow(headings(columns))

    def add(self, row: Mapping[str, Any]) -> None:
        self._rows.writerow([cell for field, hint in self._columns.items() for cell in _cells(row.get(field), hint)])


def from_tables(tables: Mapping[str, Open], size: int) -> Data:
    """The data of tables, of which every row was looked at; they are read again each time they are iterated over.

    Parameters
    ----------
    tables : mapping of str to callable
        By the names of their files, what opens each.
    size : int
        Bytes of all.

    Raises
    ------
    DataRefused
    """
    kinds = {}
    for file in tables:
        name = file.removesuffix(_SUFFIX)
        if name.startswith("entries ") and (kind := name.removeprefix("entries ")) in RECORDS:
            kinds[kind] = tables[file]
        elif name not in TABLES:
            raise refused(msg("there is no table {file} in a journal", file=f"{file[:80]!r}"))

    def rows(name: str) -> Again[Any]:
        return Again(lambda: _rows(name, tables[f"{name}{_SUFFIX}"]) if f"{name}{_SUFFIX}" in tables else iter(()))

    entries = [Again(partial(_entries, kind, table)) for kind, table in kinds.items()]
    by_number = Again(lambda: heapq.merge(*entries, key=lambda row: row.id))
    data = RowsAnew(**{name: rows(name) for name in TABLES}, entries=by_number)
    for name in TABLES:
        for _ in getattr(data, name):
            pass
    in_order = all(one.id < following.id for some in entries for one, following in pairwise(some))
    former = f"contacts{_SUFFIX}" not in tables
    if in_order and not former:
        return data
    refuse_to_hold(size)
    return settled(held(data, FORMER if former else FORMAT))


def _rows(name: str, table: Open) -> Iterator[Any]:
    for row in _read(f"{name}{_SUFFIX}", table, type_hints(TABLES[name])):
        yield _made(name, row)


def _entries(kind: str, table: Open) -> Iterator[EntryRow]:
    record, columns, more, renamed = (
        type_hints(RECORDS[kind]),
        columns_of(kind),
        added_since(kind),
        _new_headings(kind),
    )
    for row in _read(f"entries {kind}{_SUFFIX}", table, columns, more, renamed):
        inside = {field: row.pop(field) for field in record if field in row}
        yield _made("entries", {**row, "kind": kind, "record": inside})


def _made(name: str, row: dict[str, Any]) -> Any:
    try:
        return row_from_text(name, json.dumps(row, allow_nan=False))
    except (ValueError, RecursionError) as error:
        raise refused(msg("a number is not one ({error})", error=error)) from error


def escaped(text: str) -> str:
    """Text that no spreadsheet runs."""
    return f"'{text}" if text.startswith(_RUN) else text


def unescaped(cell: str) -> str:
    """The text of an escaped cell."""
    return cell[1:] if cell.startswith("'") and cell[1:].startswith(_RUN) else cell


def bare_type(hint: Any) -> tuple[Any, bool]:
    """A type without its None and its limits, and whether it may be None."""
    if typing.get_origin(hint) is typing.Annotated:
        return bare_type(typing.get_args(hint)[0])
    if typing.get_origin(hint) in {typing.Union, types.UnionType}:
        (inner,) = (part for part in typing.get_args(hint) if part is not type(None))
        return bare_type(inner)[0], True
    if typing.get_origin(hint) is typing.Literal:
        return str, False
    return hint, False


def headings(columns: Mapping[str, Any]) -> list[str]:
    """The heading of each column: a colour has three."""
    return [
        name
        for field, hint in columns.items()
        for name in ([f"{field}_{axis}" for axis in "Lab"] if bare_type(hint)[0] == Lab else [field])
    ]


def _new_headings(kind: str) -> dict[str, str]:
    """The headings of earlier versions with those of today."""
    hints = columns_of(kind)
    return {
        before: now
        for old, new in RENAMED_FIELDS.get(kind, {}).items()
        if new in hints
        for before, now in zip(headings({old: hints[new]}), headings({new: hints[new]}), strict=True)
    }


def _cells(value: Any, hint: Any) -> list[str]:
    kind, _ = bare_type(hint)
    if kind == Lab:
        return [""] * 3 if value is None else [json.dumps(number) for number in value]
    if value is None and kind is not Any:
        return [""]
    return [escaped(value) if kind in _PLAIN else json.dumps(value, ensure_ascii=False)]


class _Lines:
    """The lines of a table, of which no row may be far too long."""

    def __init__(self, text: TextIO) -> None:
        self._text = text
        self.of_row = 0
        """Characters since a row began; whoever has read one sets it to 0."""

    def __iter__(self) -> Iterator[str]:
        while line := self._text.readline(IMPORT_ROW_CHARACTERS):
            self.of_row += len(line)
            if self.of_row >= IMPORT_ROW_CHARACTERS:
                raise refused(msg("a row is far too long"))
            yield line


def _lines_read(file: str, table: Open) -> Iterator[tuple[int, list[str]]]:
    """The cells of each line with its number."""
    with closing(table()) as text:
        lines = _Lines(text)
        reader = csv.reader(lines, strict=True)
        try:
            for row in reader:
                lines.of_row = 0
                yield reader.line_num, row
        except csv.Error as error:
            raise refused(
                msg("line {line_num} of {file}: {error}", line_num=reader.line_num, file=file, error=error)
            ) from error


def _read(
    file: str,
    table: Open,
    columns: Mapping[str, Any],
    may_lack: Mapping[str, Any] | None = None,
    renamed: Mapping[str, str] | None = None,
) -> Iterator[dict[str, Any]]:
    rows = _lines_read(file, table)
    _, first = next(rows, (0, []))
    head = [(renamed or {}).get(name, name) for name in first]
    columns = {
        field: hint
        for field, hint in columns.items()
        if field not in (may_lack or {}) or set(headings({field: hint})) & set(head)
    }
    names = headings(columns)
    if sorted(head) != sorted(names):
        odd = sorted(set(head) ^ set(names))[:5]
        raise refused(
            msg("{file} does not have the columns that it should ({odd})", file=file, odd=", ".join(odd)[:200])
        )
    for number, row in rows:
        if len(row) != len(head):
            raise refused(
                msg(
                    "line {line_num} of {file} has {row} cells instead of {head}",
                    line_num=number,
                    file=file,
                    row=len(row),
                    head=len(head),
                )
            )
        cells = dict(zip(head, row, strict=True))
        try:
            yield {field: _value(cells, field, hint) for field, hint in columns.items()}
        except (ValueError, RecursionError) as error:
            raise refused(msg("line {line_num} of {file}: {error}", line_num=number, file=file, error=error)) from error


def _value(cells: Mapping[str, str], field: str, hint: Any) -> Any:
    kind, may_be_none = bare_type(hint)
    if kind == Lab:
        three = [cells[f"{field}_{axis}"] for axis in "Lab"]
        return None if may_be_none and not any(three) else [_number(cell, field) for cell in three]
    cell = cells[field]
    if may_be_none and cell == "":
        return None
    if kind in _MOMENTS and cell.startswith('"'):  # as earlier versions wrote it
        return json.loads(cell)
    if kind in _PLAIN:
        return unescaped(cell)
    if kind is float:
        return _number(cell, field)
    # A spreadsheet writes TRUE.
    return json.loads(cell.lower() if kind is bool else cell)


def _number(cell: str, field: str) -> float:
    try:
        return float(cell)
    except ValueError:
        raise ValueError(f"{field} is {cell[:40]!r}, which is not a number") from None
