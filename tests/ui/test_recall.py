"""The question whether bars are called back stands first on every page until somebody signs an answer."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from curejournal import workflow
from curejournal.batch.records import AlkaliTest, BarsOut, Decision
from curejournal.journal.store import Journal
from tests.ui.journals import NOW
from tests.ui.pages import app, only, text_of

BAD = AlkaliTest("meter", 12.0, 0.1, 1.0)


@pytest.fixture
def sold(small: Path) -> Path:
    """B-1 is released, sold to a shop, and then tests high."""
    with Journal.open(small) as journal:
        released = NOW - timedelta(days=2)
        workflow.decide(journal, "B-1", "release", signed_by="Ann Example", statement="ready", on=released)
        for record, hours in ((BarsOut(3, "Corner shop (invented)", "sold"), 30), (BAD, 3)):
            at = NOW - timedelta(hours=hours)
            workflow.enter(journal, "B-1", record, at=at, by="Ann", now=NOW, confirmed=True)
    return small


def last_act(folder: Path) -> Decision:
    with Journal.open(folder) as journal:
        return journal.batch("B-1").of(Decision)[-1].record


def asked(at: AppTest) -> bool:
    return any("called back?" in error.value for error in at.error)


@pytest.mark.parametrize("page", ["today", "batches", "photos", "materials", "settings", "help"])
def test_the_question_stands_on_every_page(page: str, sold: Path) -> None:
    at = app(page)
    assert not at.exception and asked(at)
    assert {"Call them back", "Not needed, because…"} <= {button.label for button in at.button}


def test_bars_are_called_back_in_two_presses_with_whom_to_call(sold: Path) -> None:
    at = app("batches")
    at.button(key="recall-B-1-back").click().run()
    assert "Corner shop (invented)" in text_of(at), "whom to call, before it is signed"
    at.button(key="recall-B-1-sign").click().run()
    assert not at.exception and not asked(at)
    assert last_act(sold).act == "withdraw" and "pH" in last_act(sold).statement
    assert "Corner shop (invented)" in text_of(at), "and after"
    at.button(key="called-back-done").click().run()
    assert "These have bars of it" not in text_of(at)


def test_that_it_is_not_needed_takes_a_reason(sold: Path) -> None:
    at = app("today")
    at.button(key="recall-B-1-stay").click().run()
    at.button(key="recall-B-1-sign").click().run()
    assert last_act(sold).act == "release", "nothing is signed without a reason"
    only(at.text_area, "Because").input("The meter was not calibrated.")
    at.button(key="recall-B-1-sign").click().run()
    assert not at.exception and not asked(at)
    assert last_act(sold).act == "keep on sale"


def test_undoing_the_reading_that_raised_it_leaves_it_standing(sold: Path) -> None:
    with Journal.open(sold) as journal:
        bad = journal.batch("B-1").of(AlkaliTest)[-1]
    at = app("batch", batch="B-1")
    at.button_group(key="section-B-1").set_value("History").run()
    at.button(key=f"touch-history-{bad.id}").click().run()
    at.text_input(key=f"why-{bad.id}").input("mistyped")
    only(at.button, "Take it back").click().run()
    assert any("Sign first" in error.value for error in at.error)
    assert asked(app("today"))


def test_what_is_on_hold_stands_on_other_pages_by_name(small: Path) -> None:
    with Journal.open(small) as journal:
        workflow.decide(journal, "B-2", "hold", signed_by="Ann Example", statement="it smells", on=NOW)
    at = app("batches")
    links = [link.proto.label for link in at.get("page_link")]
    assert links.index("B\\-2 · Young") < links.index("Young"), "before the wall"
