"""Every record reads back equal, or is refused on the way in."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curejournal.batch.records import RECORDS, Portion, ScalarReading, Weighing
from curejournal.journal.errors import EntryRefused, RecordUnreadable
from curejournal.journal.record_json import from_json, kind_of, to_json
from curejournal.soap.recipe import Oil, Recipe
from tests.journal.strategies import records


@pytest.mark.parametrize("kind", RECORDS)
@settings(max_examples=30, deadline=None)
@given(data=st.data())
def test_every_kind_of_record_reads_back_equal(kind: str, data: st.DataObject) -> None:
    record = data.draw(records(kind))
    assert kind_of(record) == kind
    assert from_json(kind, to_json(record)) == record


@pytest.mark.parametrize("kind", RECORDS)
@settings(max_examples=20, deadline=None)
@given(data=st.data())
def test_a_record_with_a_field_from_the_future_is_not_read_by_leaving_it_out(kind: str, data: st.DataObject) -> None:
    text = to_json(data.draw(records(kind)))
    future = json.dumps(json.loads(text) | {"not known yet": 1})
    with pytest.raises(RecordUnreadable, match="not known yet"):
        from_json(kind, future)


def test_a_field_that_later_versions_added_takes_its_default_in_an_old_record() -> None:
    assert from_json("weighing", '{"subject": "bar 1", "grams": 100.0}') == Weighing("bar 1", 100.0)
    assert from_json("portion", '{"name": "cream"}') == Portion("cream")
    old = '{"oils": [{"key": "olive", "grams": 500.0}], "alkalis": [], "liquids": [], "additives": []}'
    assert from_json("recipe", old) == Recipe((Oil("olive", 500.0),), (), embeds=())


def test_a_kind_from_a_newer_version_is_named() -> None:
    with pytest.raises(RecordUnreadable, match=r"'moonlight'.*newer version"):
        from_json("moonlight", "{}")


@pytest.mark.parametrize(
    "record",
    [
        Weighing("bar 1", float("nan")),
        Weighing("bar 1", float("inf")),
        Weighing("bar 1", "12"),
        Weighing(7, 12.0),
        Weighing("\ud800", 12.0),
        Portion("base", target_lab=(50.0, 0.0)),
        Portion("base", target_lab=[50.0, 0.0, 0.0]),
        Portion("base", target_lab=(50.0, 0.0, float("nan"))),
        Portion("base", target_source="a guess"),
        ScalarReading("room humidity", np.array([1.0])),
        {"subject": "bar 1"},
    ],
)
def test_a_record_that_would_not_read_back_is_refused(record: object) -> None:
    with pytest.raises(EntryRefused):
        to_json(record)


def test_a_numpy_number_is_kept_as_the_number_it_is() -> None:
    assert from_json("reading", to_json(ScalarReading("room humidity", np.float64(0.1)))).value == 0.1


def test_every_field_of_every_record_counts_in_its_text() -> None:
    for record in RECORDS.values():
        assert all(field.compare for field in dataclasses.fields(record))
