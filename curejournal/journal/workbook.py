"""A journal's data as one workbook (XLSX, ISO/IEC 29500): a sheet of each kind, dates as dates, numbers as numbers.

Beside what was entered stand figures worked out from it, under headings that say so: age in days, loss in % since the
bar's first weighing, difference from the target colour. A spreadsheet knows no time zones: times are those of the
clock where they were entered; `journal.json` and the tables hold the offset.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from itertools import groupby
from pathlib import Path
from types import MappingProxyType
from typing import Any, BinaryIO

from pydantic import AwareDatetime

from curejournal.base.messages import msg
from curejournal.batch.records import RECORDS
from curejournal.colour.difference import ciede2000
from curejournal.colour.sample import Lab
from curejournal.journal.plain_data import Data, EntryRow, plain_row
from curejournal.journal.spreadsheet import TABLES, added_since, bare_type, columns_of, headings, type_hints

LONGEST_CELL = 32_767
"""Characters that a cell can hold (ISO/IEC 29500-1) [from memory]; longer text is cut, and says so."""
CUT = msg(" … (cut: the whole is in journal.json)")
Row = Mapping[str, Any]
AGE, LOSS, OFF_TARGET = "age, days", "loss, %", "from the target, ΔE00"
_FIGURES = {AGE: "", LOSS: "weighing", OFF_TARGET: "colour"}  # of every kind of entry, or of one


def _room_readings(entry: Row) -> Iterator[Row]:
    for at, temperature_c, humidity_pct in entry["record"]["readings"]:
        yield {"entry": entry["id"], "at": at, "temperature_c": temperature_c, "humidity_pct": humidity_pct}


def _ingredients(entry: Row) -> Iterator[Row]:
    for part in ("oils", "alkalis", "acids", "liquids", "additives", "embeds"):
        for one in entry["record"].get(part, ()):
            name = next(one[field] for field in ("key", "name", "batch", "kind") if field in one)
            yield {"entry": entry["id"], "batch": entry["batch"], "part": part, **one, "name": name}


_LISTS: dict[str, tuple[str, dict[str, Any], Callable[[Row], Iterator[Row]]]] = {
    "room log": (
        "room readings",
        {"entry": int, "at": AwareDatetime, "temperature_c": float, "humidity_pct": float},
        _room_readings,
    ),
    "recipe": (
        "ingredients",
        {"entry": int, "batch": str, "part": str, "name": str, "grams": float, "lot": str, "portion": str},
        _ingredients,
    ),
}
"""Sheets with a row for each item of what one entry lists; there it is JSON in a cell. Of more rows than a sheet holds
(1,048,576) the rest stands in the tables alone."""


def write_workbook(data: Data, kinds: Collection[str], by_batch: Iterable[EntryRow], to: BinaryIO, aside: Path) -> None:
    """Write the workbook, row by row.

    Parameters
    ----------
    data : Data
        What to write.
    kinds : collection of str
        The kinds of entries that there are; no other has a sheet.
    by_batch : iterable of EntryRow
        The entries batch by batch, in order of time.
    to : file
        Where to write it.
    aside : Path
        The folder in which sheets lie meanwhile, on the same disk.
    """
    import xlsxwriter  # to write a workbook alone

    # No text of a maker's becomes a formula, a link or a number.
    safe = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(to, {**safe, "constant_memory": True, "tmpdir": str(aside)}) as book:
        formats = {
            "head": book.add_format({"bold": True}),
            "worked out": book.add_format({"bold": True, "italic": True}),
            "time": book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"}),
            "day": book.add_format({"num_format": "yyyy-mm-dd"}),
        }
        sheets = [_Sheet(book, formats, name, type_hints(table)) for name, table in TABLES.items()]
        for sheet in sheets:
            for one in getattr(data, sheet.name):
                sheet.add(plain_row(sheet.name, one))
        of_kind = {kind: _Sheet(book, formats, kind, columns_of(kind), _FIGURES) for kind in RECORDS if kind in kinds}
        lists = {
            kind: (_Sheet(book, formats, *_LISTS[kind][:2]), _LISTS[kind][2]) for kind in of_kind if kind in _LISTS
        }
        _add_entries(by_batch, of_kind, lists)
        for sheet in (*sheets, *of_kind.values(), *(listed for listed, _ in lists.values())):
            sheet.finish()


def _add_entries(by_batch: Iterable[EntryRow], of_kind: Mapping[str, _Sheet], lists: Mapping[str, Any]) -> None:
    missing = {kind: added_since(kind) for kind in of_kind}
    for _, some in groupby(by_batch, key=lambda entry: entry.batch):
        entries = [plain_row("entries", entry) for entry in some]
        derived = _derived(entries)
        for entry in (entry for entry in entries if entry["kind"] in of_kind):
            kind = entry["kind"]
            of_kind[kind].add({**missing[kind], **entry, **entry["record"]}, derived.get(entry["id"], {}))
            listed, items = lists.get(kind, (None, None))
            for item in items(entry) if items else ():
                listed.add(item)


class _Sheet:
    """A sheet that takes a row at a time."""

    def __init__(
        self,
        book: Any,
        formats: Mapping[str, Any],
        name: str,
        columns: Mapping[str, Any],
        figures: Mapping[str, str] = MappingProxyType({}),
    ) -> None:
        self.name, self._formats, self._columns = name, formats, columns
        self._sheet, self._line = book.add_worksheet(name[:31]), 0
        self._figures = [figure for figure, kind in figures.items() if kind in ("", name)]
        self._width = len(headings(columns)) + len(self._figures)
        for place, heading in enumerate((*headings(columns), *self._figures)):
            known = place < self._width - len(self._figures)
            self._sheet.write_string(0, place, heading, formats["head" if known else "worked out"])

    def add(self, row: Row, derived: Mapping[str, float] = MappingProxyType({})) -> None:
        self._line += 1
        cells = [value for field, hint in self._columns.items() for value in _values(row.get(field), hint)]
        for place, value in enumerate((*cells, *map(derived.get, self._figures))):
            _write(self._sheet, self._formats, self._line, place, value)

    def finish(self) -> None:
        self._sheet.freeze_panes(1, 0)
        self._sheet.autofilter(0, 0, self._line, self._width - 1)
        self._sheet.set_column(0, self._width, 14)


def _values(value: Any, hint: Any) -> list[Any]:
    """The cells of a field: three for a colour, one otherwise."""
    kind, _ = bare_type(hint)
    if kind == Lab:
        return [None] * 3 if value is None else list(value)
    if value is not None and kind in (datetime, AwareDatetime):
        return [datetime.fromisoformat(value)]
    if value is not None and kind is date:
        return [date.fromisoformat(value)]
    if value is None or isinstance(value, bool | int | float | str):
        return [value]
    return [json.dumps(value, ensure_ascii=False)]


def _write(sheet: Any, formats: Mapping[str, Any], line: int, place: int, value: Any) -> None:
    if isinstance(value, bool):
        sheet.write_boolean(line, place, value)
    elif isinstance(value, int | float) and abs(value) < 1e15:
        sheet.write_number(line, place, value)
    elif isinstance(value, datetime) and value.year >= 1900:
        sheet.write_datetime(line, place, value.replace(tzinfo=None), formats["time"])
    elif isinstance(value, date) and not isinstance(value, datetime) and value.year >= 1900:
        sheet.write_datetime(line, place, datetime(value.year, value.month, value.day), formats["day"])
    elif value is not None:
        text = str(value)
        sheet.write_string(line, place, text if len(text) <= LONGEST_CELL else text[: LONGEST_CELL - len(CUT)] + CUT)


def _derived(entries: Sequence[Row]) -> dict[int, dict[str, float]]:
    """What is worked out for each entry of a batch, by its number; entries come in order of time."""
    found: dict[int, dict[str, float]] = {}
    corrected = {row["supersedes"] for row in entries}
    first_g: dict[tuple[str, str, int], float] = {}
    current = [row for row in entries if row["id"] not in corrected]
    poured, targets = _poured_and_targets(current)
    for row in current:
        figures = found.setdefault(row["id"], {})
        record, batch = row["record"], row["batch"]
        if batch in poured:
            figures[AGE] = round((datetime.fromisoformat(row["at"]) - poured[batch]).total_seconds() / 86400, 3)
        if row["kind"] == "weighing":
            key = (batch, record["subject"], record.get("bars", 1))
            start = first_g.setdefault(key, record["grams"])
            if start > 0:
                figures[LOSS] = round(100 * (1 - record["grams"] / start), 3)
        if row["kind"] == "colour" and not record.get("part") and (batch, record["portion"]) in targets:
            off = float(ciede2000(targets[(batch, record["portion"])], record["lab"]))
            figures[OFF_TARGET] = round(off, 3)
    return found


def _poured_and_targets(current: Sequence[Row]) -> tuple[dict[str, datetime], dict[tuple[str, str], Any]]:
    """When each batch was poured first, and the target colour of each portion."""
    poured: dict[str, datetime] = {}
    targets: dict[tuple[str, str], Any] = {}
    for row in current:
        record = row["record"]
        if row["kind"] == "event" and record.get("kind") == "poured":
            poured.setdefault(row["batch"], datetime.fromisoformat(row["at"]))
        if row["kind"] == "portion" and record.get("target_lab"):
            targets[(row["batch"], record["name"])] = record["target_lab"]
    return poured, targets
