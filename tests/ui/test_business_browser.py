"""What all batches say, and what leaves the journal, walked in a browser on a desktop and on a phone."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import pytest
from PIL import Image
from pypdf import PdfReader

from tests.ui.conftest import App
from tests.ui.steps import assert_accessible, assert_fits, go, press, section, see, settled


def taken(window: Any, label: str) -> bytes:
    """The file that a download button gives."""
    settled(window)
    with window.expect_download(timeout=60_000) as waiting:
        window.get_by_role("button", name=label).first.click()
    return Path(waiting.value.path()).read_bytes()


@pytest.mark.mostly("desktop")
def test_a_fact_sheet_is_taken_as_pdf_and_as_markdown(window: Any, full_app: App) -> None:
    go(window, full_app, "materials")
    pdf = PdfReader(io.BytesIO(taken(window, "Fact sheet (PDF)")))
    assert len(pdf.pages) == 2 and "Invented scent" in pdf.pages[0].extract_text()
    assert taken(window, "Fact sheet (Markdown)").decode().startswith("# invented scent")


@pytest.mark.mostly("desktop")
def test_a_portfolio_is_built_with_its_progress_and_taken(window: Any, size: str, full_app: App) -> None:
    go(window, full_app, f"portfolio?batch=C-{size}")
    window.get_by_text("Also batches that are not released").click()
    settled(window)
    window.get_by_role("button", name="Build it from 1 batch").click()
    see(window, "Built: 1 batch")
    packed = ZipFile(io.BytesIO(taken(window, "Download it")))
    names = packed.namelist()
    assert "portfolio/index.html" in names
    pictures = [name for name in names if name.endswith(".jpg")]
    assert pictures and not Image.open(io.BytesIO(packed.read(pictures[0]))).getexif()
    press(window, "Build another")


@pytest.mark.mostly("phone")
def test_records_lots_labels_and_the_calendar_are_taken(window: Any, size: str, full_app: App) -> None:
    go(window, full_app, f"documents?batch=C-{size}")
    record = PdfReader(io.BytesIO(taken(window, "Record of 1 batch (PDF)")))
    assert f"C-{size}" in record.pages[0].extract_text()
    section(window, "Lot")
    window.get_by_label("The supplier’s lot, or the code of an embedded batch").fill("F-1")
    window.keyboard.press("Enter")
    see(window, "B-1")
    assert_fits(window)
    assert "F-1" in PdfReader(io.BytesIO(taken(window, "As a page (PDF)"))).pages[0].extract_text()
    section(window, "Labels")
    assert taken(window, "Labels (PDF)").startswith(b"%PDF")
    section(window, "Calendar")
    assert taken(window, "Into my calendar (ICS)").startswith(b"BEGIN:VCALENDAR")


@pytest.mark.mostly("desktop")
def test_a_file_is_given_at_each_press(window: Any, full_app: App) -> None:
    go(window, full_app, "documents")
    section(window, "Calendar")
    for _ in range(8):
        assert taken(window, "Into my calendar (ICS)").startswith(b"BEGIN:VCALENDAR")


@pytest.mark.mostly("desktop")
def test_a_batch_goes_out_as_a_bundle_and_comes_in_under_another_code(window: Any, size: str, full_app: App) -> None:
    go(window, full_app, f"share?batch=C-{size}")
    bundle = taken(window, "Bundle of this batch")
    upload = {"name": "bundle.zip", "mimeType": "application/zip", "buffer": bundle}
    window.locator("input[type=file]").first.set_input_files([upload])
    settled(window)
    window.get_by_label("A code for it here (empty: its own)").fill(f"X-{size}")
    window.keyboard.press("Tab")
    settled(window)
    press(window, "Verify and enter it")
    see(window, "is in this journal")


@pytest.mark.mostly("phone")
def test_a_pour_is_planned_for_a_mould_and_its_recipe_taken(window: Any, size: str, full_app: App) -> None:
    go(window, full_app, "plan?like=B-1")
    section(window, "to a mould")
    see(window, "Inside the mould: about")
    window.get_by_text("Figures").first.click()
    see(window, "At worst")
    assert_fits(window)
    assert taken(window, "As a table (CSV)").decode("utf-8-sig").startswith("what,name")


@pytest.mark.mostly("phone")
def test_what_happens_beside_readings_fits_and_is_accessible(window: Any, size: str, full_app: App) -> None:
    go(window, full_app, "batch?batch=B-1")
    section(window, "Log")
    section(window, "something else")
    for name in ("bars out", "tray or bars changed", "a target colour", "pieces of another batch"):
        section(window, name)
        assert_fits(window)
        assert_accessible(window)
