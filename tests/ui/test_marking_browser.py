"""Areas drawn, tags printed and strips read, in a real browser."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from curejournal.batch.records import AlkaliTest, ColourReading
from curejournal.journal.store import Journal
from curejournal.workflow.photos.strips import strip_keys
from tests.photo.strips import PADS, areas_of, beside_card, lab_at
from tests.photo.windows import taken
from tests.scenes import INK, Laid, Paint, Place, Rendered, Scene, Soap, View, card_named, render
from tests.ui import steps
from tests.ui.conftest import App
from tests.ui.journals import CREAM, TAKEN


def chart_photo(day: int, turn: float = 0.0) -> Rendered:
    """A chart beside soap, which lies askew, and no window."""
    bar = Soap((("soap", Paint(CREAM)),), (90.0, 30.0), Place(0.0, 120.0, 12.0))
    chart = Laid(card_named("chart24"), Place(), paper=INK, border_mm=8.0)
    scene = Scene((bar, chart), view=View((0.0, 30.0), 340.0, turn_deg=turn), exposure_ev=-0.3)
    return render(scene, day, taken(TAKEN + timedelta(days=day)))


def to_marking(window: Any, app: App, data: bytes) -> Any:
    steps.go(window, app, "photos?batch=B-1")
    steps.choose(window, window, "Which card lies in the picture?", "Standard 24-patch chart")
    steps.upload(window, steps.file("IMG_0300.jpg", data))
    sheet = window.locator(".mark svg")
    sheet.wait_for()
    return sheet


def on_screen(sheet: Any, drawn_photo: Rendered, point: Any) -> tuple[float, float]:
    sheet.evaluate("sheet => sheet.closest('.frame').scrollIntoView({block: 'center'})")
    frame, (height, width) = sheet.bounding_box(), drawn_photo.picture.shape[:2]
    return frame["x"] + point[0] / width * frame["width"], frame["y"] + point[1] / height * frame["height"]


def assert_measured(window: Any, lab: tuple[float, float, float]) -> None:
    shown = steps.see(window, re.compile("^soap: (measured|relative|approximate)$"))
    words = shown.locator("xpath=../..").inner_text()
    seen = [float(number) for number in re.findall(r"\* (-?[0-9.]+) ±", words)]
    assert np.allclose(seen, lab, atol=3), words


@pytest.mark.mostly("phone")
def test_a_band_is_drawn_along_a_layer_that_lies_askew(size: str, window: Any, app: App) -> None:
    photo = chart_photo(0)
    corners = photo.areas["soap"]
    sheet = to_marking(window, app, photo.jpeg)
    window.get_by_text("band", exact=True).click()
    steps.settled(window)
    ends = [(corners[a] + corners[b]) / 2 for a, b in ((0, 3), (1, 2))]
    steps.drag(window, size, *[on_screen(sheet, photo, end) for end in ends])
    steps.settled(window)
    steps.shot(window, size, "band")
    assert_measured(window, CREAM)
    steps.assert_fits(window)
    steps.press(window, "Keep photo and colour")
    (entry,) = steps.current(app, "B-1", ColourReading)
    assert len(re.findall(r"\[", entry.record.area)) == 5, "four corners, askew"


@pytest.mark.mostly("desktop")
def test_an_area_is_marked_by_keyboard_alone(window: Any, app: App) -> None:
    photo = chart_photo(0)
    sheet = to_marking(window, app, photo.jpeg)
    height, width = photo.picture.shape[:2]
    middle = photo.areas["soap"].mean(axis=0)
    sheet.focus()
    at = np.array((width / 2, height / 2))
    for aim in (middle - 0.02 * width, middle + 0.02 * width):
        for axis, (back, on) in enumerate((("ArrowLeft", "ArrowRight"), ("ArrowUp", "ArrowDown"))):
            steps_to_go = round((aim[axis] - at[axis]) / (width / 100))
            for _ in range(abs(steps_to_go)):
                window.keyboard.press(on if steps_to_go > 0 else back)
            at[axis] += steps_to_go * width / 100
        window.keyboard.press("Enter")
    steps.settled(window)
    assert_measured(window, CREAM)


@pytest.mark.mostly("phone")
def test_a_polygon_is_drawn_by_its_corners_and_proposed_in_the_next_photo(size: str, window: Any, app: App) -> None:
    photo = chart_photo(0)
    sheet = to_marking(window, app, photo.jpeg)
    window.get_by_text("polygon", exact=True).click()
    steps.settled(window)
    middle = photo.areas["soap"].mean(axis=0)
    points = [middle + 0.8 * (corner - middle) for corner in photo.areas["soap"]]
    for point in (*points, middle - np.array((0, 300))):
        at = on_screen(sheet, photo, point)
        window.mouse.click(*at) if size == "desktop" else window.touchscreen.tap(*at)
        steps.settled(window)
    back = window.get_by_role("button", name="Take back the last mark")
    assert back.bounding_box()["height"] >= 44
    back.click()
    steps.settled(window)
    steps.shot(window, size, "polygon")
    assert_measured(window, CREAM)
    steps.assert_accessible(window)
    steps.press(window, "Keep photo and colour")
    assert len(re.findall(r"\[", steps.current(app, "B-1", ColourReading)[0].record.area)) == 5

    steps.go(window, app, "inbox")
    steps.choose(window, window, "Which kind of card lies in them?", "Standard 24-patch chart")
    later = chart_photo(3, turn=3.0)
    steps.upload(window, steps.file("IMG_0301.jpg", later.jpeg))
    steps.press(window, "Take in 1 photo")
    steps.taken_in(window)
    steps.choose(window, steps.waiting(window, "IMG_0301.jpg"), "Batch", "B-1")
    steps.see(window, "The areas of the last photo are drawn where they would lie in this one.")
    steps.shot(window, size, "proposed")
    # Drawn again it is another polygon, not more corners of the one that was proposed.
    box = steps.waiting(window, "IMG_0301.jpg")
    box.get_by_text("polygon", exact=True).click()
    steps.settled(window)
    sheet, middle = box.locator(".mark svg"), later.areas["soap"].mean(axis=0)
    for corner in later.areas["soap"][:3]:
        at = on_screen(sheet, later, middle + 0.7 * (corner - middle))
        window.mouse.click(*at) if size == "desktop" else window.touchscreen.tap(*at)
        steps.settled(window)
    assert len(sheet.locator("polygon.over").get_attribute("points").split()) == 3
    steps.waiting(window, "IMG_0301.jpg").get_by_role("button", name="Place it").click()
    steps.see(window, "IMG_0301.jpg: placed, batch B-1.")
    steps.settled(window)
    assert np.allclose(steps.current(app, "B-1", ColourReading)[1].record.lab, CREAM, atol=3)


@pytest.mark.mostly("desktop")
def test_areas_are_typed_in_number_fields(size: str, window: Any, app: App) -> None:
    photo = chart_photo(0)
    (x, y), w, h = photo.areas["soap"].mean(axis=0), 60, 20
    to_marking(window, app, photo.jpeg)
    assert window.locator("img[alt^='IMG_0300.jpg']").count() == 1, "the picture to mark in, and not once more below"
    steps.see(window, "Mark where the soap is, and its colour can be kept")
    assert window.get_by_text("No colour in it?").count() == 0
    window.get_by_text("Or type the places, in pixels").click()
    steps.settled(window)
    kinds = {
        "box": {"left": x - w, "top": y - h, "right": x + w, "bottom": y + h},
        "band": {"from x": x - w, "from y": y, "to x": x + w, "to y": y, "thickness": 2 * h},
        "polygon": {"corners": f"{x - w:.0f},{y - h:.0f} {x + w:.0f},{y - h:.0f} {x:.0f},{y + h:.0f}"},
    }
    for kind, fields in kinds.items():
        if kind != "box":
            window.get_by_text(kind, exact=True).click()
            steps.settled(window)
            steps.see(window, "The card was found. Mark where the soap is")
        for name, value in fields.items():
            field = window.get_by_label(f"soap: {name}")
            field.fill(value if isinstance(value, str) else f"{value:.0f}")
            field.press("Tab")
            steps.settled(window)
        assert_measured(window, CREAM)


@pytest.mark.mostly("desktop")
def test_tags_are_printed_on_a_sheet_of_labels(size: str, window: Any, app: App) -> None:
    steps.go(window, app, "inbox")
    window.get_by_text("Print batch tags").click()
    steps.settled(window)
    window.get_by_label("For which batches", exact=False).first.click()
    window.keyboard.type("B-1")
    window.keyboard.press("Enter")
    window.keyboard.press("Escape")
    steps.choose(window, window, "On what", "A4 label sheet, 21 of 63.5 x 38.1 mm")
    steps.shot(window, size, "tags")
    with window.expect_download() as waited:
        window.get_by_role("button", name="Download 4 tags (PDF)").click()
    assert Path(waited.value.path()).read_bytes().startswith(b"%PDF-")
    steps.assert_fits(window)
    steps.assert_accessible(window)


def strip_photo(labs: dict[str, tuple[float, float, float]]) -> Rendered:
    return beside_card({name: Paint(lab) for name, lab in labs.items()})


@pytest.mark.mostly("phone")
def test_a_key_is_enrolled_by_one_pull_and_a_strip_read_and_kept(size: str, window: Any, app: App) -> None:
    key = strip_photo({f"{ph:g}": lab for ph, lab in PADS.items()})
    fields = [np.array(area.outline).mean(axis=0) for area in areas_of(key)]
    steps.go(window, app, "strips")
    steps.shot(window, size, "strips-empty")
    assert window.get_by_text("Read a strip").count() == 0, "without a key there is nothing to read by"
    for label, words in (
        ("What to call it", "half steps"),
        ("Lot on the packet", "L-77"),
        ("The pH of its colours, in their order", " ".join(f"{ph:g}".replace(".", ",") for ph in PADS)),
    ):
        window.get_by_label(label).fill(words)
        window.get_by_label(label).press("Tab")
        steps.settled(window)
    steps.upload(window, steps.file("key.jpg", key.jpeg))
    sheet = window.locator(".mark svg")
    sheet.wait_for()
    steps.drag(window, size, on_screen(sheet, key, fields[0]), on_screen(sheet, key, fields[-1]))
    steps.settled(window)
    steps.see(window, re.compile("^pH 11$"))
    steps.shot(window, size, "strip-key")
    steps.press(window, "Keep this key")
    steps.see(window, "Kept: 9 colours of half steps.")
    with Journal.open(app.folder) as journal:
        found = strip_keys(journal)["half steps"].steps
    assert all(np.linalg.norm(np.subtract(step.lab, PADS[step.ph])) < 4 for step in found)

    pad = strip_photo({"pad": lab_at(9.3)})
    (outline,) = (np.array(area.outline) for area in areas_of(pad))
    lot = window.get_by_label("Lot on this strip’s packet, as printed")
    lot.fill("L-77")
    lot.press("Tab")
    steps.settled(window)
    steps.upload(window, steps.file("strip.jpg", pad.jpeg))
    sheet = window.locator(".mark svg")
    sheet.wait_for()
    # A pad is smaller than a finger's tip, so the picture is looked at closer first.
    small = sheet.bounding_box()["width"]
    window.get_by_role("button", name="Closer", exact=True).click()
    at = on_screen(sheet, pad, outline.mean(axis=0))
    window.mouse.click(*at) if size == "desktop" else window.touchscreen.tap(*at)
    window.wait_for_timeout(300)
    assert sheet.bounding_box()["width"] == pytest.approx(4 * small, rel=0.01)
    steps.drag(window, size, *[on_screen(sheet, pad, point) for point in (outline.min(axis=0), outline.max(axis=0))])
    steps.settled(window)
    steps.see(window, re.compile(r"95 % interval ± \d"))
    window.get_by_role("button", name="The whole picture", exact=True).click()
    assert sheet.bounding_box()["width"] == pytest.approx(small, rel=0.01)
    steps.shot(window, size, "strip-read")
    assert abs(float(window.get_by_text(re.compile(r"^pH [\d.]+$")).first.inner_text()[3:]) - 9.3) <= 0.3
    steps.assert_fits(window)
    steps.assert_accessible(window)
    steps.see(window, "Choose above which batch was tested, and it can be kept")
    steps.choose(window, window, "Which batch was tested?", "B-1")
    steps.type_moment(window, window, TAKEN)
    steps.press(window, "Keep it as an alkali test of B-1")
    steps.see(window, re.compile("Kept for B-1: pH 9"))
    (test,) = steps.current(app, "B-1", AlkaliTest)
    assert test.record.method == "strip"

    low = strip_photo({"pad": lab_at(7.3)})
    for photo in (pad, low):
        steps.upload(window, steps.file("strip.jpg", photo.jpeg))
        sheet.wait_for()
        assert window.get_by_text("95 % interval").count() == 0, "not by where the pad was in the photo before"
        corners = (outline.min(axis=0), outline.max(axis=0))
        steps.drag(window, size, *[on_screen(sheet, photo, point) for point in corners])
        steps.settled(window)
        steps.see(window, "95 % interval")
    steps.type_moment(window, window, TAKEN)
    steps.see(window, "Is this right?")
    steps.press(window, "Keep it as it is")
    steps.see(window, re.compile("Kept for B-1: pH 7"))
    steps.go(window, app, "batch?batch=B-1")
    steps.section(window, "Readings")
    assert window.locator("img[alt^='Photo of the strip']").count() == 2
    steps.assert_fits(window)
    assert test.photo
