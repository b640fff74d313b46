"""A journal as JSON and as tables, and back: the same journal, whatever was written in it."""

from __future__ import annotations

import csv
import io
import json
import re
import sqlite3
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from functools import partial
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curejournal.batch.records import RECORDS, Entry, Event, Portion, Weighing
from curejournal.journal.copying import fingerprint
from curejournal.journal.errors import DataRefused, FolderInUse
from curejournal.journal.exchange import bring_in, read
from curejournal.journal.plain_data import (
    FORMAT,
    BatchRow,
    CardRow,
    Contents,
    EntryRow,
    PhotoRow,
    SettingRow,
    as_text,
    from_text,
    held,
)
from curejournal.journal.record_json import to_json
from curejournal.journal.spreadsheet import as_tables, columns_of, escaped, from_tables, unescaped
from curejournal.journal.store import Changes, Journal, NewContact, NewEntry, PhotoFacts, Press
from tests.journal.refusing import brought_in
from tests.journal.strategies import TEXT, records
from tests.journal.test_copying import SQL

AT = datetime(2026, 3, 1, 10, 30, 0, 123456, tzinfo=timezone(timedelta(hours=2)))
FORMULA = '=HYPERLINK("https://example.org","look")'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A journal with a row of every kind, corrections and withdrawals, a photo, and names that are formulas."""
    place = tmp_path / "full"
    place.mkdir()
    with sqlite3.connect(place / "journal.sqlite") as database:
        database.executescript(SQL.read_text(encoding="utf-8"))
    database.close()
    with Journal.open(place) as journal:
        journal.keep_photo(b"the original", PhotoFacts(".jpg", 4000, 3000, AT, "exif", "=1+1.jpg"))
        journal.start_batch(FORMULA, "@SUM(A1)", at=AT, by="-Ana", records=[Event("note", note="+1\r\n\"';,")])
        first = journal.add(FORMULA, Weighing("-bar", -0.0), at=AT, by="Ben")
        journal.add(FORMULA, Weighing("-bar", 1e-300), at=AT, by="Ben", supersedes=first.id)
        journal.set_setting("house rules", -5)
        journal.set_setting("none", None)
        cleo = journal.keep_contact(NewContact("=Cleo (invented)", "the market,\nSaturdays"), by="Ana")
        journal.keep_contact(NewContact("Cleo B. (invented)", corrects=cleo.id), by="Ana")
        dan = journal.keep_contact(NewContact("Dan (invented)"), by="Ana")
        journal.erase_contact(dan.id, why="he asked for it", by="Ana", at=AT)
        pressed = Press("a press", AT)
        journal.commit(Changes([NewEntry(Event("trace"), AT, batch=FORMULA)], press=pressed), by="Ben")
    return place


def prints(place: Path) -> dict[str, tuple[int, str]]:
    with Journal.open(place, create=False) as journal, journal._reading() as connection:
        assert journal.check() == ()
        return fingerprint(connection)


def told(place: Path) -> list[tuple[Entry, ...]]:
    with Journal.open(place, create=False) as journal:
        return [journal.history(head.code) for head in journal.batches()]


@pytest.mark.parametrize("source", ["journal.json", "."], ids=["JSON", "tables"])
def test_out_and_in_is_the_same_journal_row_by_row(folder: Path, tmp_path: Path, source: str) -> None:
    with Journal.open(folder) as journal:
        written = journal.export(tmp_path / "out")
    again = bring_in(tmp_path / "out" / source, tmp_path / "again")
    assert (again.photos, again.left_out) == (written.photos, ()) == (1, ())
    # Records of older versions come back with the fields that were added since, so they are compared as records.
    # What was brought in has seals, and salts of contacts, of its own.
    own = dict.fromkeys(("seal", "contact"))
    entries, entries_again = ({**prints(place), **own, "entry": told(place)} for place in (folder, tmp_path / "again"))
    assert entries_again == entries
    with pytest.raises(FolderInUse):
        bring_in(tmp_path / "out" / source, tmp_path / "again")
    with Journal.open(folder) as journal, pytest.raises(FolderInUse):
        journal.export(tmp_path / "out")


def test_the_workbook_holds_what_the_tables_hold_as_what_it_is(folder: Path, tmp_path: Path) -> None:
    """Read by openpyxl: every row of every table, numbers as numbers, dates as dates of the clock where they were."""
    with Journal.open(folder) as journal:
        journal.export(tmp_path / "out")
    book = openpyxl.load_workbook(tmp_path / "out" / "journal.xlsx")
    tables = {path.stem: path for path in (tmp_path / "out").glob("*.csv")}
    listed = {"room readings", "ingredients"}
    kinds = [name for name in book.sheetnames if name not in listed]
    assert {name if name in tables else f"entries {name}" for name in kinds} == tables.keys()
    seen: set[type] = set()
    for name in kinds:
        path = tables[name] if name in tables else tables[f"entries {name}"]
        text = path.read_bytes().decode("utf-8-sig")
        wanted = list(csv.DictReader(io.StringIO(text, newline="")))
        head, *lines = book[name].iter_rows(values_only=True)
        found = [dict(zip(head, line, strict=True)) for line in lines]
        if "id" in head:  # entries stand batch by batch in the workbook
            found.sort(key=lambda row: row["id"])
            wanted.sort(key=lambda row: int(row["id"]))
        assert len(found) == len(wanted)
        for row, cells in zip(found, wanted, strict=True):
            for heading, cell in cells.items():
                seen.add(type(row[heading]))
                assert as_typed(cell, row[heading]) == row[heading], (name, heading)
    assert {str, int, float, bool, datetime} <= seen


def test_times_that_earlier_versions_wrote_in_quotes_are_read(folder: Path, tmp_path: Path) -> None:
    """A spreadsheet took them for text; they stand in their cells as they are now."""
    with Journal.open(folder) as journal:
        journal.export(tmp_path / "out")
    for path in (tmp_path / "out").glob("*.csv"):
        text = path.read_bytes().decode("utf-8-sig")
        assert '"""20' not in text or path.stem == "settings"
        quoted = re.sub(r"(?<=,)(20\d\d-\d\d-\d\dT[^,\r\n]*)", r'"""\1"""', text)
        path.write_bytes(b"\xef\xbb\xbf" + quoted.encode())
    bring_in(tmp_path / "out", tmp_path / "again")
    assert told(tmp_path / "again") == told(folder)


def as_typed(cell: str, like: object) -> object:
    """A table's cell as the type of another value; a workbook knows milliseconds and no offsets."""
    if like is None:
        return None if cell in ("", "null") else cell
    if isinstance(like, bool):
        return cell == "true"
    if isinstance(like, int | float):
        return float(cell)
    if isinstance(like, datetime):
        at = datetime.fromisoformat(cell).replace(tzinfo=None)
        return like if abs(at - like) < timedelta(milliseconds=1) else at
    return unescaped(cell).replace("\r", "_x000D_")  # so XML keeps it (ISO/IEC 29500-1, ST_Xstring)


def test_a_server_writes_the_same_data_as_a_file(folder: Path, tmp_path: Path, postgresql_url: str) -> None:
    with Journal.open(folder) as journal:
        journal.copy_to(folder, url=postgresql_url)
        journal.export(tmp_path / "one")
    with Journal.open(folder, url=postgresql_url) as journal:
        journal.export(tmp_path / "two")
    for one in (path for path in (tmp_path / "one").iterdir() if path.is_file()):
        other = tmp_path / "two" / one.name
        if one.suffix == ".xlsx":  # a workbook says to the second when it was made
            with zipfile.ZipFile(one) as first, zipfile.ZipFile(other) as second:
                names = [name for name in first.namelist() if name != "docProps/core.xml"]
                assert [first.read(name) for name in names] == [second.read(name) for name in names]
        else:
            assert one.read_bytes() == other.read_bytes()


def test_a_table_written_before_a_column_was_added_is_read(folder: Path, tmp_path: Path) -> None:
    with Journal.open(folder) as journal:
        journal.export(tmp_path / "out")
    path = tmp_path / "out" / "entries recipe.csv"
    rows = list(csv.DictReader(io.StringIO(path.read_bytes().decode("utf-8-sig"), newline="")))
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, [name for name in rows[0] if name != "embeds"], extrasaction="ignore")
    writer.writeheader()
    writer.writerows(rows)
    path.write_bytes(text.getvalue().encode())
    bring_in(tmp_path / "out", tmp_path / "again")
    assert told(tmp_path / "again") == told(folder)


def test_rows_that_come_in_are_on_the_disk_once(folder: Path, tmp_path: Path) -> None:
    with Journal.open(folder) as journal:
        notes = [NewEntry(Event("note", note="x" * 500), AT) for _ in range(2000)]
        journal.add_many(FORMULA, notes, by="Ana")
        journal.export(tmp_path / "out")
    logs = []

    def look(done: int, total: int) -> None:
        logs.extend(path.name for path in tmp_path.glob(".again.*/journal.sqlite-*") if path.stat().st_size > 100_000)

    bring_in(tmp_path / "out" / "journal.json", tmp_path / "again", look)
    assert (tmp_path / "again" / "journal.sqlite").stat().st_size > 1_000_000
    assert logs == [], "SQLite's log would hold each row a second time"


@pytest.mark.parametrize("source", ["journal.json", "."], ids=["JSON", "tables"])
def test_the_memory_of_an_import_does_not_grow_with_its_rows(tmp_path: Path, source: str) -> None:
    taken = []
    for count in (2_000, 12_000):
        place = tmp_path / str(count)
        with Journal.open(place / "full") as journal:
            journal.start_batch("B-1", "Oat", at=AT, by="Ana", records=[Event("poured")])
            journal.add_many("B-1", [NewEntry(Event("note", note="x" * 500), AT) for _ in range(count)], by="Ana")
            journal.export(place / "out")
        taken.append(brought_in("import", place / "out" / source, place)["memory"])
    assert taken[1] - taken[0] < 10_000_000, "held as a whole, ten thousand rows more take 24 MB at least"


@pytest.mark.parametrize("source", ["journal.json", "."], ids=["JSON", "tables"])
def test_data_written_before_fields_were_renamed_is_read(folder: Path, tmp_path: Path, source: str) -> None:
    """0.1 wrote a portion's `intended_lab` where `target_lab` stands now."""
    aim = Portion("cream", target_lab=(82.0, 1.5, 14.0), target_source="swatch", target_sd=0.5)
    with Journal.open(folder) as journal:
        journal.add(FORMULA, aim, at=AT, by="Ana")
        journal.export(tmp_path / "out")
    for path in (tmp_path / "out" / "journal.json", tmp_path / "out" / "entries portion.csv"):
        text = path.read_text("utf-8")
        assert "target_" in text
        path.write_text(re.sub(r"\btarget_(lab|source|from|card|sd)", r"intended_\1", text), "utf-8")
    bring_in(tmp_path / "out" / source, tmp_path / "again")
    with Journal.open(tmp_path / "again", create=False) as again:
        assert again.batch(FORMULA).of(Portion)[-1].record == aim


def test_work_goes_on_in_a_journal_that_was_brought_in(folder: Path, tmp_path: Path) -> None:
    with Journal.open(folder) as journal:
        journal.export(tmp_path / "out")
        last = journal.batch(FORMULA).of(Weighing)[-1]
    bring_in(tmp_path / "out" / "journal.json", tmp_path / "again")
    with Journal.open(tmp_path / "again", create=False) as again:
        assert again.add(FORMULA, Weighing("-bar", 1.0), at=AT, by="Ben", supersedes=last.id).id > last.id


def test_no_cell_begins_as_a_formula_and_numbers_stay_numbers(folder: Path, tmp_path: Path) -> None:
    with Journal.open(folder) as journal:
        journal.export(tmp_path / "out")
    weights = []
    for path in (tmp_path / "out").glob("*.csv"):
        for row in csv.DictReader(io.StringIO(path.read_bytes().decode("utf-8-sig"), newline="")):
            for cell in row.values():
                assert not cell.startswith(("=", "+", "@", "\t", "\r"))
                if cell.startswith("-"):
                    float(cell)
            weights += [row["grams"]] if path.name == "entries weighing.csv" else []
    assert "-0.0" in weights
    assert "1e-300" in weights


@given(TEXT | st.sampled_from(["=1", "'=1", "''", "'", "-", "＝1", "\n", "'x", "x", ""]))
def test_escaping_is_undone_whatever_was_written(text: str) -> None:
    assert unescaped(escaped(text)) == text
    assert not escaped(text).startswith(("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"))


@pytest.mark.parametrize("kind", RECORDS)
def test_the_columns_of_every_kind_of_record_have_names_of_their_own(kind: str) -> None:
    assert len(columns_of(kind)) == len({*columns_of(kind)}) > 7
    assert not {"id", "batch", "at", "by", "recorded_at", "supersedes", "photo"} & {
        name for name in columns_of(kind) if name in RECORDS[kind].__dataclass_fields__
    }


TIMES = st.datetimes(
    datetime(1900, 1, 1), datetime(2100, 1, 1), timezones=st.sampled_from([UTC, timezone(timedelta(minutes=-210))])
)
JSON = st.recursive(st.none() | st.booleans() | st.integers(-(2**53), 2**53) | TEXT, st.lists)


@st.composite
def contents(draw: Callable[..., Any]) -> Contents:
    entries = []
    for number, kind in enumerate(draw(st.lists(st.sampled_from(list(RECORDS)), max_size=4)), start=1):
        record = json.loads(to_json(draw(records(kind))))
        before = draw(st.none() | st.just(1)) if number > 1 else None
        entries.append(EntryRow(number, draw(TEXT), kind, draw(TIMES), draw(TEXT), draw(TIMES), before, None, record))
    photo = PhotoRow("a" * 64, ".jpg", 5, 4, 3, draw(st.none() | TIMES), None, draw(TEXT), draw(TIMES))
    return Contents(
        FORMAT,
        (BatchRow(1, draw(TEXT), draw(TEXT), draw(TIMES), draw(TEXT), draw(TIMES)),),
        tuple(entries),
        (photo, replace(photo, taken_from="exif")),
        (CardRow(1, draw(TEXT), draw(TEXT), draw(TEXT), draw(TIMES)),),
        (SettingRow(1, draw(TEXT), draw(JSON), draw(TIMES)),),
    )


def of_tables(texts: Mapping[str, str]) -> Contents:
    tables = {name: partial(io.StringIO, text, newline="") for name, text in texts.items()}
    return held(from_tables(tables, sum(map(len, texts.values()))))


@settings(max_examples=80, deadline=None)
@given(contents())
def test_any_data_reads_back_equal_from_json_and_from_tables(data: Contents) -> None:
    assert from_text(as_text(data)) == data
    assert of_tables(as_tables(data)) == data


def test_a_spreadsheet_may_reorder_columns_and_shout_its_booleans(folder: Path, tmp_path: Path) -> None:
    with Journal.open(folder) as journal:
        journal.export(tmp_path / "out")
    tables = {path.name: path.read_bytes().decode("utf-8-sig") for path in (tmp_path / "out").glob("*.csv")}
    rows = list(csv.reader(io.StringIO(tables["entries weighing.csv"], newline="")))
    text = io.StringIO()
    csv.writer(text).writerows([[cell.upper() if cell == "false" else cell for cell in row[::-1]] for row in rows])
    assert of_tables({**tables, "entries weighing.csv": text.getvalue()}) == of_tables(tables)
    weighed = [rows[0], *rows[:0:-1]]
    text = io.StringIO()
    csv.writer(text).writerows(weighed)
    assert of_tables({**tables, "entries weighing.csv": text.getvalue()}) == of_tables(tables), "and rows"


def spoilt(data: dict[str, Any], where: str, value: Any) -> dict[str, Any]:
    """The same data with one value changed, at a path such as `entries.0.by`."""
    *path, last = (int(step) if step.isdigit() else step for step in where.split("."))
    place: Any = data
    for step in path:
        place = place[step]
    place[last] = value
    return data


BAD = {
    "format": "curejournal data 99",
    "batches.0.code": "",
    "batches.0.name": "\u202eturned",
    "batches.0.started_at": "2026-03-01T10:30:00",
    "batches.0.id": 2**40,
    "batches.0.more": 1,
    "entries.0.batch": "B-none",
    "entries.0.at": "0001-01-01T00:00:00+14:00",
    "entries.0.kind": "moonlight",
    "entries.0.record": {},
    "entries.0.supersedes": 9999,
    "entries.1.id": 1,
    "entries.0.photo": "b" * 64,
    "photos.0.sha256": "../../../etc/passwd",
    "photos.0.suffix": "/../x",
    "photos.0.size": -1,
    "photos.0.size ": 5,
    "cards.0.toml": "\0",
    "settings.0.value": float("nan"),
}


@pytest.mark.parametrize("where", BAD)
def test_data_that_no_journal_would_take_is_refused_with_a_sentence(folder: Path, tmp_path: Path, where: str) -> None:
    with Journal.open(folder) as journal:
        journal.export(tmp_path / "out")
    path = tmp_path / "out" / "journal.json"
    path.write_text(json.dumps(spoilt(json.loads(path.read_text()), where, BAD[where])))
    with pytest.raises(DataRefused) as caught:
        bring_in(path, tmp_path / "again")
    assert caught.value.what.endswith(".")
    assert [item.name for item in tmp_path.iterdir() if "again" in item.name] == []


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("batches.csv", "id,code\n1,B-1\n"),
        ("batches.csv", "id,code,name,started_at,by,recorded_at\n1,B-1\n"),
        ("batches.csv", "id,code,name,started_at,by,recorded_at\nx,B,N,2026-01-01T00:00Z,A,2026-01-01T00:00Z\n"),
        ("batches.csv", 'id,code,name,started_at,by,recorded_at\n1,"B'),
        ("settings.csv", "id,name,value,set_at\n1,a," + "[" * 5000 + ",2026-01-01T00:00Z\n"),
        ("settings.csv", "id,name,value,set_at\n1,a,NaN,2026-01-01T00:00Z\n"),
        ("entries moonlight.csv", "id\n"),
        ("diary.csv", "id\n"),
    ],
)
def test_tables_that_cannot_be_read_are_refused_with_a_sentence(tmp_path: Path, name: str, text: str) -> None:
    (tmp_path / name).write_text(text)
    with pytest.raises(DataRefused):
        read(tmp_path)
    with pytest.raises(DataRefused):
        read(tmp_path / "nothing here")
    (tmp_path / name).write_bytes(b"\xff\xfe")
    with pytest.raises(DataRefused, match=r"UTF-8|no table"):
        read(tmp_path)


@pytest.mark.parametrize("fault", ["missing", "damaged"])
def test_photos_that_are_not_there_are_told(folder: Path, tmp_path: Path, fault: str) -> None:
    with Journal.open(folder) as journal:
        journal.export(tmp_path / "out")
    photo = next((tmp_path / "out" / "photos").rglob("*.jpg"))
    photo.write_bytes(b"THE ORIGINAL") if fault == "damaged" else photo.unlink()
    made = bring_in(tmp_path / "out" / "journal.json", tmp_path / "again")
    assert (made.photos, made.left_out) == (0, (photo.stem,))
    with Journal.open(tmp_path / "again") as again:
        assert [problem.photo for problem in again.check() if problem.serious] == [photo.stem]


def test_the_schema_beside_the_data_describes_every_field(folder: Path, tmp_path: Path) -> None:
    with Journal.open(folder) as journal:
        journal.export(tmp_path / "out")
    schema = json.loads((tmp_path / "out" / "schema.json").read_text())
    data = json.loads((tmp_path / "out" / "journal.json").read_text())
    assert set(schema["properties"]) == set(data)
    for name in set(data) - {"format"}:
        row = schema["properties"][name]["items"]["$ref"].rsplit("/", 1)[1]
        assert set(schema["$defs"][row]["properties"]) == set(data[name][0])
