"""A journal's data as one workbook (XLSX, ISO/IEC 29500): a sheet of each kind, dates as dates, numbers as numbers.

Beside what was entered stand figures worked out from it, under headings that say so: age in days, loss in % since the
bar's first weighing, difference from the target colour. A spreadsheet knows no time zones: times are those of the
clock where they were entered; `journal.json` and the tables hold the offset.
"""

from __future__ import annotations

import io
import json
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from pydantic import AwareDatetime

from curejournal.base.messages import msg
from curejournal.batch.records import RECORDS
from curejournal.colour.difference import ciede2000
from curejournal.colour.sample import Lab
from curejournal.journal.plain_data import BatchRow, CardRow, Contents, PhotoRow, SettingRow, as_text
from curejournal.journal.spreadsheet import bare_type, columns_of, headings, type_hints

LONGEST_CELL = 32_767
"""Characters that a cell can hold (ISO/IEC 29500-1) [from memory]; longer text is cut, and says so."""
CUT = msg(" … (cut: the whole is in journal.json)")
_SHEETS: dict[str, type] = {"batches": BatchRow, "photos": PhotoRow, "cards": CardRow, "settings": SettingRow}
Row = Mapping[str, Any]


def as_workbook(data: Contents) -> bytes:
    """The workbook's bytes; a kind without entries has no sheet."""
    plain = json.loads(as_text(data))
    made = io.BytesIO()
    # No text of a maker's becomes a formula, a link or a number.
    safe = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False, "in_memory": True}
    import xlsxwriter  # to write a workbook alone

    with xlsxwriter.Workbook(made, safe) as book:
        formats = {
            "head": book.add_format({"bold": True}),
            "worked out": book.add_format({"bold": True, "italic": True}),
            "time": book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"}),
            "day": book.add_format({"num_format": "yyyy-mm-dd"}),
        }
        for name, table in _SHEETS.items():
            _sheet(book, formats, name, type_hints(table), plain[name], {})
        entries = sorted(plain["entries"], key=lambda row: (row["batch"], row["at"], row["id"]))
        derived = _derived(entries)
        for kind in RECORDS:
            rows = [{**entry, **entry["record"]} for entry in entries if entry["kind"] == kind]
            if rows:
                _sheet(book, formats, kind, columns_of(kind), rows, derived)
    return made.getvalue()


def _sheet(
    book: Any,
    formats: Mapping[str, Any],
    name: str,
    columns: Mapping[str, Any],
    rows: Sequence[Row],
    derived: Mapping[int, Mapping[str, float]],
) -> None:
    sheet = book.add_worksheet(name[:31])
    names = headings(columns)
    more = list(dict.fromkeys(figure for row in rows for figure in derived.get(row["id"], {}))) if derived else []
    for place, heading in enumerate(names):
        sheet.write_string(0, place, heading, formats["head"])
    for place, figure in enumerate(more, start=len(names)):
        sheet.write_string(0, place, figure, formats["worked out"])
    for line, row in enumerate(rows, start=1):
        place = 0
        for field, hint in columns.items():
            for value in _values(row.get(field), hint):
                _write(sheet, formats, line, place, value)
                place += 1
        for figure in more:
            _write(sheet, formats, line, place, derived.get(row["id"], {}).get(figure))
            place += 1
    sheet.freeze_panes(1, 0)
    sheet.autofilter(0, 0, len(rows), len(names) + len(more) - 1)
    sheet.set_column(0, len(names) + len(more), 14)


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
    """What is worked out for each entry, by its number; entries come batch by batch, in order of time."""
    found: dict[int, dict[str, float]] = {}
    corrected = {row["supersedes"] for row in entries}
    poured: dict[str, datetime] = {}
    first_g: dict[tuple[str, str, int], float] = {}
    targets: dict[tuple[str, str], Any] = {}
    current = [row for row in entries if row["id"] not in corrected]
    for row in current:
        if row["kind"] == "event" and row["record"].get("kind") == "poured":
            poured.setdefault(row["batch"], datetime.fromisoformat(row["at"]))
        if row["kind"] == "portion" and row["record"].get("target_lab"):
            targets[(row["batch"], row["record"]["name"])] = row["record"]["target_lab"]
    for row in current:
        figures = found.setdefault(row["id"], {})
        record, batch = row["record"], row["batch"]
        if batch in poured:
            figures["age, days"] = round((datetime.fromisoformat(row["at"]) - poured[batch]).total_seconds() / 86400, 3)
        if row["kind"] == "weighing":
            key = (batch, record["subject"], record.get("bars", 1))
            start = first_g.setdefault(key, record["grams"])
            if start > 0:
                figures["loss, %"] = round(100 * (1 - record["grams"] / start), 3)
        if row["kind"] == "colour" and (batch, record["portion"]) in targets:
            off = float(ciede2000(targets[(batch, record["portion"])], record["lab"]))
            figures["from the target, ΔE00"] = round(off, 3)
    return found
