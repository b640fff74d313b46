"""A printed card that an instrument measured, enrolled from its file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import expect

from curejournal import workflow
from curejournal.colour.spaces import lab_from_srgb
from curejournal.journal.store import Journal
from tests.ui.conftest import App
from tests.ui.steps import assert_accessible, assert_fits, go, press, see, settled, upload

CARD = workflow.find_card("window")


def instruments_file() -> dict[str, Any]:
    """What a spectrophotometer's program writes (CGATS, ISO 28178), the values made up near to what is printed."""
    rows = [
        f"{patch.id} " + " ".join(f"{value:.3f}" for value in lab_from_srgb(np.array(patch.srgb) / 255) * 0.98)
        for patch in CARD.patches
    ]
    lines = ["ISO28178", 'ORIGINATOR "a test, invented"', "NUMBER_OF_FIELDS 4", "BEGIN_DATA_FORMAT"]
    lines += ["SAMPLE_ID LAB_L LAB_A LAB_B", "END_DATA_FORMAT", f"NUMBER_OF_SETS {len(rows)}"]
    text = "\n".join([*lines, "BEGIN_DATA", *rows, "END_DATA", ""])
    return {"name": "W-01.cgats", "mimeType": "text/plain", "buffer": text.encode()}


@pytest.fixture
def app(start_app: Any, tmp_path: Path) -> App:
    started: App = start_app(tmp_path)
    return started


def begin(window: Any, app: App, name: str) -> None:
    go(window, app, "cards")
    window.get_by_text("Measure a printed card (enrol it)").click()
    settled(window)
    window.get_by_label("2. The name written on it").fill(name)
    window.get_by_label("2. The name written on it").press("Tab")
    settled(window)
    window.get_by_text("from an instrument’s file", exact=True).click()
    settled(window)


@pytest.mark.mostly("phone")
def test_a_card_takes_its_colours_from_an_instruments_file_and_its_photos_are_then_told_by_its_code(
    size: str, window: Any, app: App
) -> None:
    begin(window, app, "W-01")
    with window.expect_download() as waited:
        window.get_by_role("button", name="An empty table with the card’s ids (CSV)").click()
    head, *rows = Path(waited.value.path()).read_text("utf-8").splitlines()
    assert (head, [row.split(",")[0] for row in rows]) == ("id,L,a,b", [patch.id for patch in CARD.patches])
    upload(window, instruments_file())
    press(window, "4. Measure the card")
    see(window, f"The colours of {len(CARD.patches)} patches of W-01 are known now.")
    see(window, "Where they come from: measured values from the file W-01.cgats.")
    assert_fits(window)
    assert_accessible(window)
    with Journal.open(app.folder) as journal:
        (kept,) = journal.cards()
        card = workflow.find_card("W-01", journal)
    assert (kept.copy_id, card.kind, len(card.references)) == ("W-01", "measured", len(CARD.patches))
    go(window, app, "cards")
    # Another print has colours of its own: it is offered a name of its own.
    expect(window.get_by_label("The name of this copy; it is printed on it")).to_have_value("W-02")
    go(window, app, "photos")
    window.get_by_label("Which card lies in the picture?", exact=False).click()
    window.get_by_role("option", name="Window card, A6, W-01").wait_for()


@pytest.mark.mostly("phone")
def test_a_file_of_another_card_is_refused_with_what_to_do_and_nothing_is_kept(
    size: str, window: Any, app: App
) -> None:
    begin(window, app, "W-01")
    upload(window, {"name": "other.csv", "mimeType": "text/csv", "buffer": b"id,L,a,b\nnone,50,0,0\n"})
    press(window, "4. Measure the card")
    window.get_by_role("alert").first.wait_for()
    assert window.get_by_text("are known now").count() == 0
    with Journal.open(app.folder) as journal:
        assert journal.cards() == ()
