"""A maker's ways through the app, in a real browser, on a desktop and on a phone."""

from __future__ import annotations

import io
import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from curejournal.batch.records import ColourReading, Event, PhotoNote, Weighing
from curejournal.ui.frame import all_pages
from curejournal.ui.page import AT_THE_THUMB, WAYS
from curejournal.workflow.demo import pictures_folder
from tests.ui import steps
from tests.ui.conftest import App
from tests.ui.journals import three_batches
from tests.ui.served import BREAKS

PICTURES = pictures_folder()


@pytest.mark.mostly("phone")
@pytest.mark.parametrize("slug", all_pages())
def test_every_page_fits_and_is_accessible(slug: str, size: str, window: Any, full_app: App, empty_app: App) -> None:
    for app in [full_app] + [empty_app] * (size == "phone"):
        steps.go(window, app, f"{slug}?batch=C-{size}")
        steps.assert_fits(window)
        steps.assert_accessible(window)
        assert window.locator("h1").count() == 1 or app is empty_app
        assert window.get_by_test_id("stException").count() == 0
        assert_accessible_in_the_dark(window)


def assert_accessible_in_the_dark(window: Any) -> None:
    window.emulate_media(color_scheme="dark")
    steps.settled(window)
    steps.assert_accessible(window)
    window.emulate_media(color_scheme="light")


@pytest.mark.mostly("phone")
@pytest.mark.parametrize("name", ["Checks", "Log", "Timeline", "Colour", "Readings", "History"])
def test_each_section_of_a_batch_fits_and_is_accessible(name: str, size: str, window: Any, full_app: App) -> None:
    steps.go(window, full_app, f"batch?batch=C-{size}")
    steps.section(window, name)
    steps.assert_fits(window)
    steps.assert_accessible(window)
    assert window.get_by_test_id("stException").count() == 0
    assert_accessible_in_the_dark(window)


@pytest.mark.mostly("phone")
def test_a_file_that_may_not_come_in_is_told_so_in_words(size: str, window: Any, full_app: App) -> None:
    steps.go(window, full_app, f"photos?batch=C-{size}")
    steps.upload(window, steps.file("clip.mp4", b"no picture"))
    words = steps.see(window, re.compile("video/mp4 files are not allowed"))
    assert words.bounding_box()["width"] > 100, "not for a screen reader and a resting mouse alone"
    steps.assert_fits(window)


def test_all_ten_ways_are_in_sight_at_a_desk_and_by_the_thumb_on_a_phone(size: str, window: Any, full_app: App) -> None:
    steps.go(window, full_app, "")
    bar = window.locator(".st-key-ways > div a:visible")
    if size == "desktop":
        assert bar.all_inner_texts() == list(WAYS)
        return
    assert bar.all_inner_texts() == list(WAYS[:AT_THE_THUMB])
    height = window.viewport_size["height"]
    assert all(way.bounding_box()["y"] > 0.85 * height for way in bar.all())
    more = window.get_by_role("button", name="More")
    more.click()
    rest = window.locator(".st-key-more a")
    rest.last.wait_for()
    assert rest.all_inner_texts() == list(WAYS[AT_THE_THUMB:])
    assert max(way.bounding_box()["y"] + way.bounding_box()["height"] for way in rest.all()) < height
    steps.assert_fits(window)
    rest.get_by_text("Materials").click()
    steps.settled(window)
    assert window.locator("h1").inner_text() == "Materials" and window.title() == "Materials"
    assert window.locator(".st-key-more").count() == 0, "the menu closes after a choice"


def test_an_empty_journal_shows_the_way_to_the_card(window: Any, empty_app: App) -> None:
    steps.go(window, empty_app, "")
    window.get_by_role("link", name="1. Print the window card").click()
    steps.settled(window)
    assert window.locator("h1").inner_text() == "Cards"


@pytest.mark.mostly("desktop")
def test_the_first_page_after_a_start_may_be_any(window: Any, start_app: Any, tmp_path: Path) -> None:
    # Streamlit's own page discovery, had it found anything, would draw a page without its frame.
    steps.go(window, start_app(tmp_path, afresh=True), "cards")
    assert window.locator("h1").inner_text() == "Cards"


@pytest.mark.mostly("phone")
def test_a_release_is_looked_at_and_signed_from_todays_list(window: Any, full_app: App) -> None:
    steps.go(window, full_app, "")
    window.get_by_role("button", name="Review and release").first.click()
    steps.settled(window)
    window.get_by_text("alkali: pass", exact=False).first.click()
    steps.see(window, "free alkali now, at most")


@pytest.mark.mostly("phone")
def test_pictures_stand_beside_their_measured_colours(size: str, window: Any, full_app: App) -> None:
    steps.go(window, full_app, f"batch?batch=C-{size}")
    steps.section(window, "Timeline")
    pictures = window.get_by_test_id("stMain").locator("img[alt^='Photo']")
    assert pictures.count() >= 3
    assert all("Photo of Chamomile" in (pictures.nth(i).get_attribute("alt") or "") for i in range(pictures.count()))
    assert window.locator(".swatch i").count() >= 3


@pytest.mark.mostly("phone")
def test_then_and_now_are_compared_by_keyboard_and_play_in_place(size: str, window: Any, full_app: App) -> None:
    steps.go(window, full_app, f"batch?batch=C-{size}")
    handle = window.get_by_role("slider", name="How much of the later picture is shown")
    handle.focus()
    before = handle.input_value()
    window.keyboard.press("ArrowRight")
    assert float(handle.input_value()) == float(before) + 1
    strip = window.get_by_role("radiogroup", name="Earlier picture").get_by_role("radio")
    assert strip.count() >= 2 and strip.first.get_attribute("aria-checked") == "true"
    strip.first.focus()
    window.keyboard.press("ArrowRight")
    assert strip.nth(1).get_attribute("aria-checked") == "true"
    pictures = window.locator(".film .stage img")
    assert "In true colour." in (pictures.first.get_attribute("alt") or "")
    window.get_by_role("button", name="Play").click()
    window.get_by_role("button", name="Stop").wait_for()
    window.get_by_role("button", name="Play").wait_for(timeout=15_000)


@pytest.mark.mostly("phone")
def test_charts_say_in_words_what_they_show(size: str, window: Any, full_app: App) -> None:
    steps.go(window, full_app, f"batch?batch=C-{size}")
    steps.section(window, "Colour")
    chart = window.get_by_test_id("stVegaLiteChart").first
    chart.wait_for()
    assert "ΔE00" in window.get_by_test_id("stMain").inner_text()
    assert chart.locator("canvas, svg").first.bounding_box()["width"] > 200


def test_a_photo_shows_its_colour_at_once_and_is_kept(size: str, window: Any, full_app: App) -> None:
    code = f"C-{size}"
    before = len(steps.current(full_app, code, ColourReading))
    steps.go(window, full_app, f"photos?batch={code}")
    steps.upload(window, PICTURES / "chamomile-4.jpg")
    steps.see(window, steps.graded("chamomile"))
    steps.see(window, "L* ")
    assert len(steps.current(full_app, code, ColourReading)) == before, "nothing is kept unasked"
    steps.press(window, "Keep photo and colour")
    assert len(steps.current(full_app, code, ColourReading)) == before + 1


def test_an_area_is_drawn_by_mouse_or_finger(size: str, window: Any, full_app: App) -> None:
    truth = tomllib.loads((PICTURES / "heather-8.toml").read_text())
    scenario = tomllib.loads((PICTURES / "journal.toml").read_text())
    photos = next(batch for batch in scenario["batches"] if batch["code"] == "UJ-36")["photos"]
    box = next(photo for photo in photos if photo["file"] == "heather-8.jpg")["areas"]["heather"]
    steps.go(window, full_app, "photos?batch=B-2")
    window.get_by_label("Which card lies in the picture?", exact=False).click()
    window.get_by_role("option", name="Standard 24-patch chart").click()
    steps.settled(window)
    steps.upload(window, PICTURES / "heather-8.jpg")
    sheet = window.locator(".mark svg")
    sheet.scroll_into_view_if_needed()
    with Image.open(PICTURES / "heather-8.jpg") as picture:
        width, height = picture.size
    frame = sheet.bounding_box()

    def on_screen(x: float, y: float) -> tuple[float, float]:
        return frame["x"] + x / width * frame["width"], frame["y"] + y / height * frame["height"]

    steps.drag(window, size, on_screen(*box[:2]), on_screen(*box[2:]))
    steps.settled(window)
    shown = steps.see(window, steps.graded("a"))
    words = shown.locator("xpath=../..").inner_text()
    seen = [float(number) for number in re.findall(r"\* (-?[0-9.]+) ±", words.replace("\u2212", "-"))]
    assert np.allclose(seen, truth["lab"]["heather"], atol=4), words
    steps.assert_fits(window)


@pytest.mark.mostly("phone")
def test_a_heic_photo_of_a_phone_is_measured(size: str, window: Any, full_app: App) -> None:
    with Image.open(PICTURES / "chamomile-5.jpg") as picture:
        heif = pillow_heif.from_pillow(picture)
        file = io.BytesIO()
        heif.save(file, quality=90, exif=picture.info["exif"])
    steps.go(window, full_app, f"photos?batch=C-{size}")
    steps.upload(window, {"name": "IMG_5.HEIC", "mimeType": "image/heic", "buffer": file.getvalue()})
    steps.see(window, steps.graded("chamomile"))
    steps.see(window, "Taken 23 Nov 2026")


@pytest.mark.mostly("phone")
def test_a_refused_photo_says_what_to_do_and_can_stay_for_the_story(size: str, window: Any, full_app: App) -> None:
    code = f"C-{size}"
    steps.go(window, full_app, f"photos?batch={code}")
    steps.upload(window, PICTURES / "chamomile-7.jpg")
    steps.see(window, "No colour can be told from this photo.")
    steps.see(window, "Step back until the whole card is in the picture")
    colours = len(steps.current(full_app, code, ColourReading))
    steps.press(window, "Keep the picture without a colour")
    assert len(steps.current(full_app, code, ColourReading)) == colours
    assert any(entry.record.why_no_colour for entry in steps.current(full_app, code, PhotoNote))


@pytest.mark.mostly("phone")
def test_an_undated_photo_is_asked_about(size: str, window: Any, full_app: App) -> None:
    with Image.open(PICTURES / "chamomile-6.jpg") as picture:
        file = io.BytesIO()
        picture.save(file, "JPEG", quality=95)
    steps.go(window, full_app, f"photos?batch=C-{size}")
    steps.upload(window, {"name": "soap.jpg", "mimeType": "image/jpeg", "buffer": file.getvalue()})
    steps.see(window, "Nothing in it says when it was taken")
    assert window.get_by_role("button", name="Keep photo and colour").is_disabled()


@pytest.mark.mostly("desktop")
def test_a_file_that_is_no_picture_is_refused_in_plain_words(size: str, window: Any, full_app: App) -> None:
    steps.go(window, full_app, f"photos?batch=C-{size}")
    steps.upload(window, {"name": "notes.jpg", "mimeType": "image/jpeg", "buffer": b"not a picture at all"})
    steps.see(window, "Nothing in the journal was changed.")


@pytest.mark.mostly("desktop")
def test_two_files_of_one_name_and_two_that_are_no_pictures_are_told_apart(
    size: str, window: Any, full_app: App
) -> None:
    steps.go(window, full_app, f"photos?batch=C-{size}")
    photo = {"name": "image.jpg", "mimeType": "image/jpeg", "buffer": (PICTURES / "chamomile-8.jpg").read_bytes()}
    nothing = {"name": "image.jpg", "mimeType": "image/jpeg", "buffer": b"not a picture at all"}
    steps.upload(window, photo, photo, nothing, nothing)
    steps.see(window, "Keep 2 photos and their colours")
    assert window.get_by_text("Nothing in the journal was changed.").count() == 2
    assert window.get_by_test_id("stException").count() == 0


@pytest.mark.mostly("phone")
def test_a_fault_of_ours_is_told_in_our_words_by_drawing_and_by_a_press(
    window: Any, start_app: Callable[..., App], tmp_path: Path
) -> None:
    """The first breaks what the name's field does, the second a page."""
    breaks = "curejournal.ui.pages.people:change_settings curejournal.ui.forms.ph_strips:chosen_card"
    app = start_app(three_batches(tmp_path), **{BREAKS: breaks})
    steps.go(window, app, "people")
    window.get_by_label("Your name, on every entry that you make").fill("Ann")
    window.keyboard.press("Tab")
    assert_told(window, app)
    window.goto(f"{app.address}/strips")
    assert_told(window, app)


def assert_told(window: Any, app: App) -> None:
    steps.see(window, "a fault of this program")
    words = window.get_by_test_id("stAlert").all_inner_texts()
    assert len(words) == 1 and "What was confirmed before is kept." in words[0] and "Open the page again." in words[0]
    assert not window.get_by_test_id("stException").is_visible()
    assert app.terminal and "a fault made for a test" in app.terminal.read_text()


@pytest.mark.mostly("desktop")
def test_the_ways_are_walked_by_keyboard_alone(window: Any, full_app: App) -> None:
    steps.go(window, full_app, "")
    for _ in range(12):
        window.keyboard.press("Tab")
        if window.evaluate("document.activeElement.innerText") == "Batches":
            break
    window.keyboard.press("Enter")
    window.locator("h1", has_text=re.compile("^Batches$")).wait_for()


@pytest.mark.mostly("phone")
def test_many_photos_come_in_at_once_and_what_is_asked_waits(
    size: str, window: Any, full_app: App, tmp_path: Path
) -> None:
    steps.go(window, full_app, "inbox")
    name = f"loose-{size}.jpg"
    with Image.open(PICTURES / "cardamom-4.jpg") as picture:
        picture.save(tmp_path / name, quality=80 if size == "phone" else 81)
    steps.upload(window, PICTURES / "chamomile-1.jpg", tmp_path / name)
    steps.press(window, "Take in 2 photos")
    window.get_by_text("2 came in").first.wait_for(timeout=120_000)
    steps.settled(window)
    steps.see(window, "✓ There already: 1")
    steps.see(window, re.compile("1 needs you: it waits below"))
    steps.assert_fits(window)


@pytest.mark.mostly("phone")
def test_an_unlikely_weight_is_asked_about(size: str, window: Any, full_app: App) -> None:
    code = f"C-{size}"
    steps.go(window, full_app, f"batch?batch={code}")
    steps.section(window, "Log")
    steps.section(window, "a weight")
    field = window.get_by_label("bar 1: grams")
    field.fill("12.8")
    field.press("Tab")
    steps.press(window, "Save")
    steps.see(window, "slipped decimal")
    assert len(steps.current(full_app, code, Weighing)) == 1
    steps.press(window, "Keep it as it is")
    assert [entry.record.confirmed for entry in steps.current(full_app, code, Weighing)] == [False, True]


@pytest.mark.mostly("phone")
def test_an_event_is_stamped_by_one_press_and_undone_by_another(size: str, window: Any, full_app: App) -> None:
    code = f"C-{size}"
    before = len(steps.current(full_app, code, Event))
    steps.go(window, full_app, f"batch?batch={code}")
    steps.section(window, "Log")
    button = window.get_by_role("button", name="Gel phase", exact=True)
    assert button.bounding_box()["height"] >= 44
    steps.press(window, "Gel phase")
    assert len(steps.current(full_app, code, Event)) == before + 1
    steps.press(window, "Undo")
    assert len(steps.current(full_app, code, Event)) == before


@pytest.mark.mostly("desktop")
def test_a_batch_that_is_not_ready_cannot_be_signed_off(size: str, window: Any, full_app: App) -> None:
    steps.go(window, full_app, f"batch?batch=C-{size}")
    steps.section(window, "Checks")
    window.get_by_text("Release for sale").click()
    steps.settled(window)
    assert window.get_by_role("button", name="Sign", exact=True).is_disabled()


@pytest.mark.mostly("desktop")
def test_the_card_is_downloaded_as_a_pdf(window: Any, full_app: App) -> None:
    steps.go(window, full_app, "cards")
    with window.expect_download() as waiting:
        window.get_by_role("button", name="Download the card (PDF)").click()
    assert Path(waiting.value.path()).read_bytes().startswith(b"%PDF-")


@pytest.mark.mostly("phone")
def test_what_a_maker_typed_stays_text_in_the_browser(window: Any, full_app: App) -> None:
    for path in ("", "batches", "batch?batch=B-3"):
        steps.go(window, full_app, path)
        assert window.locator("img[src*=example], img[src=x]").count() == 0
    # A word joiner, which nobody sees, keeps an address from becoming a link.
    assert "![x](https://example.org/x.png)" in window.locator("h1").inner_text().replace("\u2060", "")
