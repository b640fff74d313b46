"""No page ends where nothing can be done: each offers the next step, with an example; what was done is ticked off."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

from curejournal import workflow
from curejournal.batch.records import Batch, Decision, Entry, Event, Weighing
from curejournal.journal.store import Journal
from curejournal.ui.forms import pouring
from tests.ui.journals import NOW
from tests.ui.pages import app, only, section, text_of


def test_planning_from_a_batch_without_a_recipe_offers_one_that_has_and_a_form_with_an_example(small: Path) -> None:
    at = app("plan", like="B-2")
    assert "B-2 has no recipe yet" in text_of(at)
    (way,) = [link for link in at.get("page_link") if link.proto.label.startswith("Plan with the recipe of B")]
    assert way.proto.query_string == "like=B-1"
    assert "For example: 700 g olive, 300 g coconut, 280 g water, 138 g NaOH." in text_of(at)
    assert only(at.expander, "Enter its recipe, as it was weighed")
    assert "has no recipe yet" not in text_of(app("plan", like="B-1"))


def test_an_empty_statement_at_a_signature_is_answered_by_an_example_and_signs_nothing(small: Path) -> None:
    at = section("B-1", "Checks")
    (name,) = [field for field in at.text_input if field.key.endswith("-name") and "sign" in field.key]
    name.input("Ann Example")
    at.button(key="sign-go-B-1").click().run()
    (said,) = [info.value for info in at.info if "For example" in info.value]
    assert said.startswith("Say in your own words what you state.")
    (statement,) = [field for field in at.text_area if field.key.endswith("-statement")]
    assert statement.placeholder and statement.placeholder in said
    with Journal.open(small) as journal:
        assert not journal.batch("B-1").of(Decision)


def test_what_was_done_today_is_ticked_off(small: Path) -> None:
    assert "✓ Plain:" not in text_of(app("today"))
    with Journal.open(small) as journal:
        weighed = Weighing("bar 1", 106.0, 0.1)
        workflow.enter(journal, "B-1", weighed, at=NOW - timedelta(hours=1), by="Ann", now=NOW, confirmed=True)
        yesterday = Weighing("bar 1", 106.1, 0.1)
        workflow.enter(journal, "B-1", yesterday, at=NOW - timedelta(days=1), by="Ann", now=NOW, confirmed=True)
    said = text_of(app("today"))
    assert "Done today" in said
    ticked = [line for line in said.splitlines() if "✓ Plain:" in line]
    assert len(ticked) == 1 and "106" in ticked[0] and "106.1" not in ticked[0]


def test_what_was_noted_before_midnight_bears_its_day_on_the_pouring_page() -> None:
    now = datetime(2026, 11, 25, 1, 0, tzinfo=UTC)
    noted = [
        Entry(number, at, "Ann", at, Event(kind))
        for number, (kind, at) in enumerate(
            [("poured", now - timedelta(hours=2)), ("gel", now - timedelta(minutes=30))], 1
        )
    ]
    batch = Batch("B-1", "Plain", tuple(noted))
    shown = pouring._as_poured(SimpleNamespace(now=now, zone=UTC), batch)
    assert [str(words) for _, words in shown.lately] == ["00:30: gel", "24 Nov, 23:00: poured"]
