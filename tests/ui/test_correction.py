"""An entry is put right where it is shown: touched, changed in the form that made it, saved."""

from __future__ import annotations

from dataclasses import fields
from datetime import timedelta
from pathlib import Path

import pytest

from curejournal.batch.records import (
    RECORDS,
    AlkaliTest,
    BarsBack,
    BarsOut,
    BatchKind,
    ColourAccepted,
    Complaint,
    Deviation,
    Entry,
    Event,
    MakingDetails,
    PacketCheck,
    Place,
    Portion,
    Record,
    Renamed,
    ScalarReading,
    SurfaceNote,
    Weighing,
    WeighingCheck,
)
from curejournal.batch.workshop import WORKSHOP_RECORDS
from curejournal.journal.store import Journal
from curejournal.ui.forms import correction
from curejournal.ui.forms.fields import FIELDS
from tests.ui.journals import NOW
from tests.ui.pages import only, section, text_of


def entry_of(folder: Path, code: str, record: Record | type) -> Entry:
    with Journal.open(folder) as journal:
        found = [e for e in journal.batch(code).entries if e.record == record or type(e.record) is record]
    return found[-1]


def test_a_weight_is_put_right_in_three_presses_and_both_stay(small: Path) -> None:
    wrong = entry_of(small, "B-1", Weighing("bar 1", 107.6, 0.1))
    at = section("B-1", "History")
    at.button(key=f"touch-history-{wrong.id}").click().run()
    at.number_input(key=f"correct-{wrong.id}-grams").set_value(107.8)
    at.button(key=f"correct-{wrong.id}-save").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        weights = [weighing.grams for _, weighing in journal.batch("B-1").records(Weighing)]
        assert wrong.id in {entry.id for entry in journal.history("B-1")}
    assert 107.8 in weights and 107.6 not in weights
    assert "corrected by" in text_of(at)


# What is on record of B-1 already is left out; each with the field that is changed, and what to.
OTHERS: dict[Record, tuple[str, object]] = {
    BarsOut(2, "Corner shop (invented)", "sample"): ("to", "Mill shop (invented)"),
    BarsBack(1, "dented"): ("why", "a corner was dented"),
    Complaint("it is soft"): ("outcome", "another bar was sent"),
    BatchKind("test pour", "to try a scent"): ("why", "to try a new scent"),
    Place("rack 1"): ("rack", "rack 2"),
    MakingDetails(weighed_by="Ann (invented)"): ("weighed_by", "Bea (invented)"),
    Deviation("a bottle without a lot"): ("what", "a bottle without a label"),
    WeighingCheck("lye", "weighed twice"): ("how", "weighed by two people"),
    PacketCheck("P-1", 9.0, 9.4): ("strip_ph", 9.5),
    ColourAccepted("soap", "as the customer wants it"): ("why", "as the customer wanted it"),
    Renamed("Plain olive"): ("name", "Plain olive soap"),
}
STANDING: dict[type[Record], tuple[str, object]] = {
    Event: ("note", "slowly"),
    Weighing: ("grams", 107.8),
    AlkaliTest: ("which", "bar 2"),
    SurfaceNote: ("note", "by the window"),
    ScalarReading: ("room temperature", 20.5),
    Portion: ("control", True),
}


@pytest.mark.parametrize("kind", [*STANDING, *map(type, OTHERS)], ids=lambda kind: kind.__name__)
def test_every_kind_of_entry_is_put_right_in_three_presses(kind: type[Record], small: Path) -> None:
    """One touches the entry, changes a field (of which each is one touch), and saves."""
    changes = STANDING | {type(record): change for record, change in OTHERS.items()}
    code = "B-2" if kind in (Event, Portion) else "B-1"  # of a long history the oldest are behind one more press
    with Journal.open(small) as journal:
        if kind is BarsBack:
            journal.add(code, BarsOut(2, "Corner shop (invented)", "sold"), at=NOW - timedelta(hours=3), by="Ann")
        for example in OTHERS:
            if type(example) is kind:
                journal.add(code, example, at=NOW - timedelta(hours=2), by="Ann")
    wrong = entry_of(small, code, kind)
    at = section(code, "History")
    at.button(key=f"touch-history-{wrong.id}").click().run()
    field, value = changes[kind]
    fields_here = [*at.text_input, *at.text_area, *at.number_input, *at.selectbox, *at.radio, *at.checkbox]
    (asked,) = [one for one in fields_here if one.key == f"correct-{wrong.id}-{field}"]
    asked.set_value(value)
    at.button(key=f"correct-{wrong.id}-save").click().run()
    assert not at.exception and not at.error
    if any(button.key == "keep-doubted" for button in at.button):  # what is unlikely is asked about first
        at.button(key="keep-doubted").click().run()
    now = entry_of(small, code, kind)
    assert (now.supersedes, now.at) == (wrong.id, wrong.at) and now.record != wrong.record


def test_no_kind_of_entry_is_left_out_above() -> None:
    of_batches = set(RECORDS.values()) - set(WORKSHOP_RECORDS.values()) - set(correction.ELSEWHERE)
    assert of_batches == {*STANDING, *map(type, OTHERS)}


@pytest.mark.parametrize("where", ["weights", "surface"])
def test_readings_are_put_right_where_they_are_read(where: str, small: Path) -> None:
    wrong = entry_of(small, "B-1", Weighing if where == "weights" else SurfaceNote)
    at = section("B-1", "Readings")
    at.button(key=f"touch-{where}-{wrong.id}").click().run()
    if where == "weights":
        at.number_input(key=f"correct-{wrong.id}-grams").set_value(106.2)
    else:
        at.radio(key=f"correct-{wrong.id}-look").set_value("ash")
    at.button(key=f"correct-{wrong.id}-save").click().run()
    now = entry_of(small, "B-1", type(wrong.record))
    assert (now.supersedes, now.at) == (wrong.id, wrong.at) and now.record != wrong.record


def test_an_unlikely_correction_is_asked_about_under_the_entry(small: Path) -> None:
    wrong = entry_of(small, "B-1", Weighing)
    at = section("B-1", "History")
    at.button(key=f"touch-history-{wrong.id}").click().run()
    at.number_input(key=f"correct-{wrong.id}-grams").set_value(10.65)
    at.button(key=f"correct-{wrong.id}-save").click().run()
    assert entry_of(small, "B-1", Weighing).id == wrong.id
    at.button(key="keep-doubted").click().run()
    assert entry_of(small, "B-1", Weighing).record.confirmed


def test_an_alkali_test_is_put_right_by_the_words_it_was_entered_by(small: Path) -> None:
    with Journal.open(small) as journal:
        wrong = next(e for e in journal.batch("B-1").of(AlkaliTest) if e.record.method == "strip")
    at = section("B-1", "History")
    at.button(key=f"touch-history-{wrong.id}").click().run()
    asked = {"pH as read", "It may be off by, pH", "Grams of soap in 100 ml", "Temperature of the solution, °C"}
    assert asked <= {field.label for field in at.number_input}


@pytest.mark.parametrize("kind", [kind for kind in RECORDS.values() if kind in FIELDS])
def test_no_field_is_named_as_in_the_database(kind: type) -> None:
    names = {field.name for field in fields(kind)}
    labels = {asked.label for asked in FIELDS[kind].values()}
    assert FIELDS[kind].keys() <= names
    # One word of ours may be the maker's too: a tray is a tray. It stands with a capital.
    assert not labels & {*names, *(name.replace("_", " ") for name in names)}
    assert all(label[0].isupper() for label in labels)


def test_every_record_is_put_right_by_a_form_or_where_it_was_made() -> None:
    own = {AlkaliTest, SurfaceNote}
    of_batches = set(RECORDS.values()) - set(WORKSHOP_RECORDS.values())
    assert of_batches <= {*own, *correction.ELSEWHERE, *FIELDS}


def test_an_entry_is_taken_back_only_with_a_reason(small: Path) -> None:
    entry = entry_of(small, "B-1", SurfaceNote)
    at = section("B-1", "History")
    at.button(key=f"touch-history-{entry.id}").click().run()
    only(at.button, "Take it back").click().run()
    assert at.error
    at.text_input(key=f"why-{entry.id}").input("it was another batch")
    only(at.button, "Take it back").click().run()
    with Journal.open(small) as journal:
        assert not journal.batch("B-1").of(SurfaceNote)
