"""The workbook: read again by a reader that is not its writer (openpyxl), it holds what was entered, as what it is."""

import io
from datetime import UTC, date, datetime, timedelta

import openpyxl
import pytest

from curejournal.batch.records import ColourReading, Event, MakingDetails, Portion, Weighing
from curejournal.batch.stock import RoomLog
from curejournal.colour.difference import ciede2000
from curejournal.journal.store import Journal, NewEntry
from curejournal.soap.recipe import Alkali, Liquid, Oil, Recipe

AT = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
TARGET, SEEN = (88.0, 1.0, 12.0), (80.0, 4.0, 30.0)
FORMULA = "=1+1"


@pytest.fixture
def book(journal: Journal, tmp_path):
    reading = ColourReading(
        "cream", SEEN, ((1.0, 0, 0), (0, 1.0, 0), (0, 0, 1.0)), "measured", (), 9, SEEN, "c", "", (), "m"
    )
    journal.start_batch("B-1", FORMULA, at=AT, by="Ann", records=[Portion("cream", target_lab=TARGET)])
    records = [
        (0, Event("poured")),
        (2, Weighing("bar 1", 120.0, 0.1)),
        (9, Weighing("bar 1", 108.0, 0.1, confirmed=True)),
    ]
    recipe = Recipe((Oil("olive", 700.0, "OL-1"),), (Alkali("NaOH", 95.0),), (Liquid("water", 200.0),))
    records += [(0, recipe)]
    log = RoomLog("room.csv", ((AT, 18.5, 60.0), (AT + timedelta(hours=1), 19.0, None)))
    journal.add("", log, at=AT, by="Ann")
    records += [(3, reading), (1, MakingDetails("Ann", "Ben (invented)", best_before=date(2028, 3, 2)))]
    journal.add_many("B-1", [NewEntry(record, AT + timedelta(days=day)) for day, record in records], by="Ann")
    journal.export(tmp_path / "out")
    return openpyxl.load_workbook(io.BytesIO((tmp_path / "out" / "journal.xlsx").read_bytes()))


def rows(book, sheet):
    head, *lines = book[sheet].iter_rows(values_only=True)
    return [dict(zip(head, line, strict=True)) for line in lines]


def test_dates_are_dates_and_numbers_are_numbers(book):
    first, second = rows(book, "weighing")
    assert first["at"] == datetime(2026, 3, 4, 9, 30) and isinstance(first["grams"], int | float)
    assert (second["grams"], second["confirmed"], second["subject"]) == (108.0, True, "bar 1")
    (made,) = rows(book, "making details")
    assert made["best_before"] == datetime(2028, 3, 2) and made["scale_checked"] is None


def test_what_is_worked_out_stands_beside_what_was_entered(book):
    """Arithmetic: 108 of 120 g are 10% less; 9 days after the pour; CIEDE2000 by `colour`, tested against Sharma."""
    assert [row["loss, %"] for row in rows(book, "weighing")] == [0.0, 10.0]
    assert [row["age, days"] for row in rows(book, "weighing")] == [2.0, 9.0]
    (colour,) = rows(book, "colour")
    assert colour["from the target, ΔE00"] == pytest.approx(float(ciede2000(TARGET, SEEN)), abs=0.001)
    assert (colour["lab_L"], colour["lab_a"], colour["lab_b"]) == SEEN


def test_one_sheet_a_kind_and_no_text_becomes_a_formula(book):
    assert {"batches", "event", "weighing", "colour", "portion", "making details"} <= set(book.sheetnames)
    assert "alkali test" not in book.sheetnames
    (batch,) = rows(book, "batches")
    assert batch["name"] == FORMULA
    assert book["batches"].cell(2, list(batch).index("name") + 1).data_type == "s"


def test_what_one_entry_lists_has_a_row_for_each_item(book):
    """A room log's readings and a recipe's ingredients would else be JSON in a cell, which nobody can add up."""
    first, second = rows(book, "room readings")
    assert (first["at"], first["temperature_c"], first["humidity_pct"]) == (AT.replace(tzinfo=None), 18.5, 60.0)
    assert (second["temperature_c"], second["humidity_pct"]) == (19.0, None)
    listed = [(row["part"], row["name"], row["grams"], row["lot"]) for row in rows(book, "ingredients")]
    assert listed == [
        ("oils", "olive", 700.0, "OL-1"),
        ("alkalis", "NaOH", 95.0, ""),
        ("liquids", "water", 200.0, ""),
    ]
