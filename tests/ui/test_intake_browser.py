"""Many photos, what was found in them, areas drawn, strips and corrected pictures, in a real browser."""

from __future__ import annotations

import io
import os
import re
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import TimeoutError as TooLate

from curejournal.cure.records import AlkaliTest, ColourReading, Event, PhotoNote, Portion, SurfaceNote
from curejournal.journal.store import Journal
from curejournal.photo.tag import payload
from curejournal.strips import strip_keys
from tests.photo.strips import PADS, areas_of, beside_card, lab_at
from tests.photo.windows import drawn, taken
from tests.scenes import INK, Faults, Laid, Paint, Place, Rendered, Scene, Soap, View, card_named, render
from tests.ui.conftest import App
from tests.ui.journals import NOW
from tests.ui.test_browser import (
    assert_accessible,
    assert_fits,
    current,
    drag,
    go,
    press,
    see,
    settled,
    upload,
)

POURED = NOW - timedelta(days=40)
TAKEN = POURED + timedelta(days=9)
OURS = "OURS22"
CREAM, AMBER, BROWN = (88.0, 2.0, 14.0), (64.0, 16.0, 44.0), (36.0, 14.0, 20.0)
SHOTS = os.environ.get("CUREJOURNAL_SHOTS")
"""A folder for pictures of the pages on the way, for whoever wants to look at them."""


def shot(window: Any, size: str, name: str) -> None:
    if SHOTS:
        whole = window.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
        view = window.viewport_size
        window.set_viewport_size({"width": view["width"], "height": min(whole + 20, 8000)})
        window.wait_for_timeout(500)
        window.screenshot(path=f"{SHOTS}/{name}-{size}.png")
        window.set_viewport_size(view)


def tagged(code: str, day: int, *labs: tuple[float, float, float], of: str = OURS, **how: Any) -> bytes:
    return drawn(*(labs or (CREAM,)), tag=payload(of, code), at=TAKEN + timedelta(days=day), seed=day, **how).jpeg


def screen(jpeg: bytes) -> bytes:
    file = io.BytesIO()
    with Image.open(io.BytesIO(jpeg)) as image:
        image.resize((1080, 810)).crop((0, -700, 1080, 1700)).save(file, "PNG")
    return file.getvalue()


@pytest.fixture(scope="module")
def roll() -> dict[str, bytes]:
    """A month of a phone's pictures: most say all about themselves, some do not, some are none."""
    spots = tuple((22.0 + 7 * k, 26.0, 2.0, Paint((74.0, 16.0, 40.0))) for k in range(4))
    ordinary = [tagged("B-1", day) for day in (0, 2, 4)]
    # Further files of the same pictures: bytes after a picture's end make another file of it.
    files = {f"IMG_{number:04}.jpg": ordinary[number % 3] + b"%d" % number for number in range(9)}
    return files | {
        "IMG_0100.jpg": tagged("B-2", 1, CREAM, BROWN),
        "IMG_0101.jpg": tagged("B-3", 1, CREAM, AMBER),
        "IMG_0102.jpg": drawn(CREAM, at=TAKEN, seed=20).jpeg,
        "soap.jpg": drawn(CREAM, tag=payload(OURS, "B-1"), seed=21).jpeg,
        "IMG_0103.jpg": tagged("B-1", 6, of="OTHER2"),
        "IMG_0104.jpg": tagged("B-1", 400),
        "IMG_0105.jpg": tagged("B-1", 7, scene={"exposure_ev": 1.6}),
        "IMG_0106.jpg": tagged("B-1", 8, scene={"faults": Faults(mirrored=True)}),
        "IMG_0107.jpg": tagged("B-1", 10, spots=spots),
        "IMG_0108.png": screen(ordinary[0]),
        "IMG_0100.mov": b"\x00\x00\x00\x20ftypqt  " + b"\x00" * 64,
        "clip.mp4": b"\x00\x00\x00\x20ftypisom" + b"\x00" * 64,
        "notes.jpg": b"not a picture at all",
    }


@pytest.fixture
def app(start_app: Callable[[Path], App], tmp_path: Path) -> App:
    """A journal of its own: one portion, two known layers, two unknown ones."""
    with Journal.open(tmp_path) as journal:
        journal.set_setting("calendar stands at", NOW.isoformat())
        journal.set_setting("time zone", "UTC")
        journal.set_setting("tag id", OURS)
        by = "Kaja (invented)"
        journal.start_batch("B-1", "Plain", at=POURED, by=by, records=[Event("poured")])
        known = [Portion("top", 0, CREAM, "swatch"), Portion("base", 1, BROWN, "swatch"), Event("poured")]
        journal.start_batch("B-2", "Two layers", at=POURED, by=by, records=known)
        layers = [Portion("a", 0), Portion("b", 1), Event("poured")]
        journal.start_batch("B-3", "Unknown layers", at=POURED, by=by, records=layers)
    return start_app(tmp_path)


def file(name: str, data: bytes) -> dict[str, Any]:
    kind = {"jpg": "image/jpeg", "png": "image/png", "mov": "video/quicktime", "mp4": "video/mp4"}[name[-3:]]
    return {"name": name, "mimeType": kind, "buffer": data}


def taken_in(window: Any) -> None:
    """Wait until the photos are in."""
    window.get_by_text(re.compile(r"\d came in$")).first.wait_for(timeout=120_000)
    settled(window)


def waiting(window: Any, name: str) -> Any:
    """The box of a waiting photo."""
    settled(window)
    box = window.locator('[class*="st-key-waiting-"]').filter(has_text=name)
    box.scroll_into_view_if_needed()
    return box


def choose(window: Any, box: Any, label: str, option: str) -> None:
    settled(window)
    field, wanted = box.get_by_label(label, exact=False).first, window.get_by_role("option", name=option).first
    for _ in range(3):
        # A redraw of the page closes what was just opened.
        field.click()
        try:
            wanted.click(timeout=5_000)
            break
        except TooLate:
            window.keyboard.press("Escape")
    settled(window)


def type_moment(window: Any, box: Any, at: datetime) -> None:
    """Type a date and time, part by part."""
    settled(window)
    for part, form in {"year": "%Y", "month": "%m", "day": "%d", "hour": "%H", "minute": "%M"}.items():
        box.get_by_role("spinbutton", name=f"{part}, ").first.press_sequentially(at.strftime(form))
    window.keyboard.press("Enter")
    window.wait_for_timeout(300)
    settled(window)


@pytest.mark.mostly("phone")
def test_a_month_of_pictures_is_dropped_in_left_in_the_middle_and_found_again(
    size: str, window: Any, app: App, roll: dict[str, bytes]
) -> None:
    go(window, app, "tray")
    shot(window, size, "tray-empty")
    upload(window, *[file(name, data) for name, data in roll.items()])
    window.get_by_role("button", name=f"Take in {len(roll)} photos").click()
    see(window, re.compile(r"Looking at the photos"))
    see(window, re.compile(rf"\d+ of {len(roll)}, "))
    shot(window, size, "tray-going")
    window.get_by_role("link", name="Batches", exact=True).click()
    see(window, re.compile(r"Looking at the photos"))
    window.close()
    window = window.context.new_page()
    go(window, app, "tray")
    taken_in(window)
    shot(window, size, "tray-done")
    see(window, "6 need you: they wait below.")
    see(window, "✓ Placed: 11")
    see(window, "✓ Placed, no colour from these: 2")
    see(window, "‖ Left out, nothing kept: 3")
    see(window, "burnt out")
    see(window, "as selfie cameras do")
    see(window, "the moving part of a live photo")
    see(window, "clip.mp4: a video, not a photo")
    see(window, re.compile("notes.jpg: not a photo that can be read"))
    see(window, "Waiting for you: 6")
    for words in ("another journal", "no batch tag", "lies in the future", "a screenshot", "when it was taken"):
        see(window, words)
    assert len(current(app, "B-1", ColourReading)) == 10
    assert_fits(window)
    assert_accessible(window)
    # The same roll again is one and the same.
    press(window, "Put this list away")
    upload(window, *[file(name, data) for name, data in list(roll.items())[:3]])
    press(window, "Take in 3 photos")
    taken_in(window)
    see(window, "✓ There already: 3")
    assert len(current(app, "B-1", ColourReading)) == 10
    window.close()


@pytest.mark.mostly("phone")
def test_waiting_photos_are_placed_by_a_press_and_corrected_by_another(
    size: str, window: Any, app: App, roll: dict[str, bytes]
) -> None:
    go(window, app, "tray")
    names = ["IMG_0101.jpg", "IMG_0102.jpg", "soap.jpg"]
    upload(window, *[file(name, roll[name]) for name in names])
    press(window, "Take in 3 photos")
    taken_in(window)
    box = waiting(window, "IMG_0102.jpg")
    shot(window, size, "tray-waiting")
    button = box.get_by_role("button", name="B-1 · Plain")
    assert button.bounding_box()["height"] >= 44
    button.click()
    see(window, "✓ IMG_0102.jpg: placed, batch B-1.")
    assert len(current(app, "B-1", ColourReading)) == 1

    # Both colours are proposed in the batch's order; the maker turns them round.
    box = waiting(window, "IMG_0101.jpg")
    assert box.locator("img").count() == 2, "the photo, and its colours outlined and numbered"
    choose(window, box, "Colour 1 is", "b")
    choose(window, waiting(window, "IMG_0101.jpg"), "Colour 2 is", "a")
    waiting(window, "IMG_0101.jpg").get_by_role("button", name="Place it").click()
    see(window, "✓ IMG_0101.jpg: placed, batch B-3.")
    kept = {entry.record.portion: entry.record.lab for entry in current(app, "B-3", ColourReading)}
    assert np.allclose(kept["b"], CREAM, atol=2.5)

    # Without a date nothing is placed; with one it is.
    box = waiting(window, "soap.jpg")
    type_moment(window, box, TAKEN)
    waiting(window, "soap.jpg").get_by_role("button", name="Place it").click()
    see(window, "✓ soap.jpg: placed, batch B-1.")

    (entry,) = [e for e in current(app, "B-1", PhotoNote) if e.photo and _name(app, e.photo) == "IMG_0102.jpg"]
    go(window, app, f"photo?photo={entry.photo}")
    shot(window, size, "photo")
    assert_fits(window)
    assert_accessible(window)
    window.get_by_text("Correct where it belongs or what it shows").click()
    settled(window)
    shot(window, size, "photo-correct")
    choose(window, window.get_by_test_id("stExpander"), "Batch", "B-2")
    choose(window, window.get_by_test_id("stExpander"), "Colour 1 is", "top")
    press(window, "Correct it")
    see(window, "IMG_0102.jpg: placed, batch B-2.")
    assert [e.record.portion for e in current(app, "B-2", ColourReading)] == ["top"]
    with Journal.open(app.folder) as journal:
        assert any(e.photo == entry.photo for e in journal.history("B-1")), "the correction is kept as such"


def _name(app: App, sha256: str) -> str:
    with Journal.open(app.folder) as journal:
        return journal.photo(sha256).facts.original_name


@pytest.mark.mostly("desktop")
def test_a_clock_is_set_for_a_whole_set(size: str, window: Any, app: App, roll: dict[str, bytes]) -> None:
    go(window, app, "tray")
    upload(window, *[file(name, roll[name]) for name in ("IMG_0000.jpg", "IMG_0001.jpg")])
    press(window, "Take in 2 photos")
    taken_in(window)
    window.get_by_text("The clock was wrong in all of these").click()
    settled(window)
    form = window.get_by_test_id("stExpander").filter(has_text="Set the clock for these 2")
    form.get_by_text("ahead", exact=True).click()
    settled(window)
    hours = form.get_by_label("Hours")
    hours.fill("3")
    hours.press("Tab")
    settled(window)
    shot(window, size, "clock")
    for _ in range(2):
        press(window, "Set the clock for these 2")
        see(window, re.compile("^Done: IMG_0000.jpg"))
    times = sorted(entry.at for entry in current(app, "B-1", PhotoNote))
    assert times == [TAKEN - timedelta(hours=3), TAKEN + timedelta(days=2, hours=-3)]


@pytest.mark.mostly("phone")
def test_spots_are_outlined_in_the_picture_and_confirmed_or_denied(
    size: str, window: Any, app: App, roll: dict[str, bytes]
) -> None:
    go(window, app, "tray")
    upload(window, file("IMG_0107.jpg", roll["IMG_0107.jpg"]))
    press(window, "Take in 1 photo")
    taken_in(window)
    window.get_by_role("link", name="Look at it, correct it").click()
    settled(window)
    window.get_by_text("What its surface looks like").click()
    settled(window)
    see(window, re.compile("Looks like 4 orange spots, .* mm² together. Is it so"))
    assert window.locator("img[alt*='Red: what is meant']").count() == 1
    shot(window, size, "surface")
    assert current(app, "B-1", SurfaceNote) == [], "nothing is noted unasked"
    press(window, "Yes, note it")
    (note,) = current(app, "B-1", SurfaceNote)
    assert (note.record.look, note.record.count) == ("orange spots", 4)
    # The same question after a single photo, and the other answer.
    go(window, app, "photos?batch=B-2")
    upload(window, file("IMG_0107.jpg", roll["IMG_0107.jpg"] + b"another file"))
    window.get_by_text("top", exact=True).first.click()
    settled(window)
    press(window, "Keep photo and colour")
    see(window, re.compile("Looks like 4 orange spots"))
    press(window, "No, the surface is clear")
    assert [entry.record.look for entry in current(app, "B-2", SurfaceNote)] == ["clear"]


@pytest.mark.mostly("desktop")
def test_a_photo_is_shown_in_standard_light_and_what_was_clipped_is_flagged(size: str, window: Any, app: App) -> None:
    glare = Faults(glare=(1.12, 0.5, 3.0), glare_radius=0.12)
    data = drawn(CREAM, tag=payload(OURS, "B-1"), at=TAKEN, scene={"faults": glare}).jpeg
    go(window, app, "tray")
    upload(window, file("IMG_0200.jpg", data))
    press(window, "Take in 1 photo")
    taken_in(window)
    window.get_by_role("link", name="Look at it, correct it").click()
    settled(window)
    window.get_by_text("in standard light", exact=True).click()
    settled(window)
    see(window, re.compile(r"In standard light; [\d.]+ % was burnt out or black .* Hatched in magenta"))
    shot(window, size, "standard-light")
    with window.expect_download() as waited:
        window.get_by_role("button", name="Download it, unhatched (JPEG)").click()
    with Image.open(waited.value.path()) as image:
        assert dict(image.getexif()) == {}
        pixels = np.asarray(image.convert("RGB")).astype(int)
    assert (np.abs(pixels - (255, 0, 255)).max(axis=2) < 60).mean() < 0.001


# --- areas drawn -----------------------------------------------------------------------------


def chart_photo(day: int, turn: float = 0.0) -> Rendered:
    """A chart beside soap, which lies askew, and no window."""
    bar = Soap((("soap", Paint(CREAM)),), (90.0, 30.0), Place(0.0, 120.0, 12.0))
    chart = Laid(card_named("chart24"), Place(), paper=INK, border_mm=8.0)
    scene = Scene((bar, chart), view=View((0.0, 30.0), 340.0, turn_deg=turn), exposure_ev=-0.3)
    return render(scene, day, taken(TAKEN + timedelta(days=day)))


def to_marking(window: Any, app: App, data: bytes) -> Any:
    go(window, app, "photos?batch=B-1")
    choose(window, window, "Which card lies in the picture?", "Standard 24-patch chart")
    upload(window, file("IMG_0300.jpg", data))
    sheet = window.locator(".mark svg")
    sheet.wait_for()
    return sheet


def on_screen(sheet: Any, drawn_photo: Rendered, point: Any) -> tuple[float, float]:
    sheet.evaluate("sheet => sheet.closest('.frame').scrollIntoView({block: 'center'})")
    frame, (height, width) = sheet.bounding_box(), drawn_photo.picture.shape[:2]
    return frame["x"] + point[0] / width * frame["width"], frame["y"] + point[1] / height * frame["height"]


def assert_measured(window: Any, lab: tuple[float, float, float]) -> None:
    shown = see(window, re.compile("^soap: (measured|relative|indicative)$"))
    words = shown.locator("xpath=../..").inner_text()
    seen = [float(number) for number in re.findall(r"\* (-?[0-9.]+) ±", words)]
    assert np.allclose(seen, lab, atol=3), words


@pytest.mark.mostly("phone")
def test_a_band_is_drawn_along_a_layer_that_lies_askew(size: str, window: Any, app: App) -> None:
    photo = chart_photo(0)
    corners = photo.areas["soap"]
    sheet = to_marking(window, app, photo.jpeg)
    window.get_by_text("band", exact=True).click()
    settled(window)
    ends = [(corners[a] + corners[b]) / 2 for a, b in ((0, 3), (1, 2))]
    drag(window, size, *[on_screen(sheet, photo, end) for end in ends])
    settled(window)
    shot(window, size, "band")
    assert_measured(window, CREAM)
    assert_fits(window)
    press(window, "Keep photo and colour")
    (entry,) = current(app, "B-1", ColourReading)
    assert len(re.findall(r"\[", entry.record.area)) == 5, "four corners, askew"


@pytest.mark.mostly("phone")
def test_a_polygon_is_drawn_by_its_corners_and_proposed_in_the_next_photo(size: str, window: Any, app: App) -> None:
    photo = chart_photo(0)
    sheet = to_marking(window, app, photo.jpeg)
    window.get_by_text("polygon", exact=True).click()
    settled(window)
    middle = photo.areas["soap"].mean(axis=0)
    points = [middle + 0.8 * (corner - middle) for corner in photo.areas["soap"]]
    for point in (*points, middle - np.array((0, 300))):
        at = on_screen(sheet, photo, point)
        window.mouse.click(*at) if size == "desktop" else window.touchscreen.tap(*at)
        settled(window)
    back = window.get_by_role("button", name="Take back the last mark")
    assert back.bounding_box()["height"] >= 44
    back.click()
    settled(window)
    shot(window, size, "polygon")
    assert_measured(window, CREAM)
    assert_accessible(window)
    press(window, "Keep photo and colour")
    assert len(re.findall(r"\[", current(app, "B-1", ColourReading)[0].record.area)) == 5

    go(window, app, "tray")
    choose(window, window, "Which kind of card lies in them?", "Standard 24-patch chart")
    upload(window, file("IMG_0301.jpg", chart_photo(3, turn=3.0).jpeg))
    press(window, "Take in 1 photo")
    taken_in(window)
    choose(window, waiting(window, "IMG_0301.jpg"), "Batch", "B-1")
    see(window, "The areas of the last photo are drawn where they would lie in this one.")
    shot(window, size, "proposed")
    waiting(window, "IMG_0301.jpg").get_by_role("button", name="Place it").click()
    see(window, "IMG_0301.jpg: placed, batch B-1.")
    settled(window)
    assert np.allclose(current(app, "B-1", ColourReading)[1].record.lab, CREAM, atol=3)


@pytest.mark.mostly("desktop")
def test_areas_are_typed_in_number_fields(size: str, window: Any, app: App) -> None:
    photo = chart_photo(0)
    (x, y), w, h = photo.areas["soap"].mean(axis=0), 60, 20
    to_marking(window, app, photo.jpeg)
    window.get_by_text("Or type the places, in pixels").click()
    settled(window)
    kinds = {
        "box": {"left": x - w, "top": y - h, "right": x + w, "bottom": y + h},
        "band": {"from x": x - w, "from y": y, "to x": x + w, "to y": y, "thickness": 2 * h},
        "polygon": {"corners": f"{x - w:.0f},{y - h:.0f} {x + w:.0f},{y - h:.0f} {x:.0f},{y + h:.0f}"},
    }
    for kind, fields in kinds.items():
        if kind != "box":
            window.get_by_text(kind, exact=True).click()
            settled(window)
            see(window, "The card was found. Mark where the soap is")
        for name, value in fields.items():
            field = window.get_by_label(f"soap: {name}")
            field.fill(value if isinstance(value, str) else f"{value:.0f}")
            field.press("Tab")
            settled(window)
        assert_measured(window, CREAM)


# --- tags and strips -------------------------------------------------------------------------


@pytest.mark.mostly("desktop")
def test_tags_are_printed_on_a_sheet_of_labels(size: str, window: Any, app: App) -> None:
    go(window, app, "tray")
    window.get_by_text("Print batch tags").click()
    settled(window)
    window.get_by_label("For which batches", exact=False).first.click()
    window.keyboard.type("B-1")
    window.keyboard.press("Enter")
    window.keyboard.press("Escape")
    choose(window, window, "On what", "A4 label sheet, 21 of 63.5 x 38.1 mm")
    shot(window, size, "tags")
    with window.expect_download() as waited:
        window.get_by_role("button", name="Download 4 tags (PDF)").click()
    assert Path(waited.value.path()).read_bytes().startswith(b"%PDF-")
    assert_fits(window)
    assert_accessible(window)


def strip_photo(labs: dict[str, tuple[float, float, float]]) -> Rendered:
    return beside_card({name: Paint(lab) for name, lab in labs.items()})


@pytest.mark.mostly("phone")
def test_a_key_is_enrolled_by_one_pull_and_a_strip_read_and_kept(size: str, window: Any, app: App) -> None:
    key = strip_photo({f"{ph:g}": lab for ph, lab in PADS.items()})
    fields = [np.array(area.outline).mean(axis=0) for area in areas_of(key)]
    go(window, app, "strips")
    shot(window, size, "strips-empty")
    for label, words in (
        ("What to call it", "half steps"),
        ("Lot on the packet", "L-77"),
        ("The pH of its colours, in their order", " ".join(f"{ph:g}" for ph in PADS)),
    ):
        window.get_by_label(label).fill(words)
        window.get_by_label(label).press("Tab")
        settled(window)
    upload(window, file("key.jpg", key.jpeg))
    sheet = window.locator(".mark svg")
    sheet.wait_for()
    drag(window, size, on_screen(sheet, key, fields[0]), on_screen(sheet, key, fields[-1]))
    settled(window)
    see(window, re.compile("^pH 11$"))
    shot(window, size, "strip-key")
    press(window, "Keep this key")
    see(window, "Kept: 9 colours of half steps.")
    with Journal.open(app.folder) as journal:
        steps = strip_keys(journal)["half steps"].steps
    assert all(np.linalg.norm(np.subtract(step.lab, PADS[step.ph])) < 4 for step in steps)

    pad = strip_photo({"pad": lab_at(9.3)})
    (outline,) = (np.array(area.outline) for area in areas_of(pad))
    go(window, app, "strips?batch=B-1")
    lot = window.get_by_label("Lot on this strip’s packet, as printed")
    lot.fill("L-77")
    lot.press("Tab")
    settled(window)
    upload(window, file("strip.jpg", pad.jpeg))
    sheet = window.locator(".mark svg")
    sheet.wait_for()
    # A pad is smaller than a finger's tip, so the picture is looked at closer first.
    small = sheet.bounding_box()["width"]
    window.get_by_role("button", name="Closer", exact=True).click()
    at = on_screen(sheet, pad, outline.mean(axis=0))
    window.mouse.click(*at) if size == "desktop" else window.touchscreen.tap(*at)
    window.wait_for_timeout(300)
    assert sheet.bounding_box()["width"] == pytest.approx(4 * small, rel=0.01)
    drag(window, size, *[on_screen(sheet, pad, point) for point in (outline.min(axis=0), outline.max(axis=0))])
    settled(window)
    see(window, re.compile(r"95 % interval \d"))
    window.get_by_role("button", name="The whole picture", exact=True).click()
    assert sheet.bounding_box()["width"] == pytest.approx(small, rel=0.01)
    shot(window, size, "strip-read")
    assert abs(float(window.get_by_text(re.compile(r"^pH [\d.]+$")).first.inner_text()[3:]) - 9.3) <= 0.3
    assert_fits(window)
    assert_accessible(window)
    type_moment(window, window, TAKEN)
    press(window, "Keep it as an alkali test of B-1")
    see(window, re.compile("Kept: pH 9"))
    (test,) = current(app, "B-1", AlkaliTest)
    assert test.record.method == "strip"
    assert test.photo
