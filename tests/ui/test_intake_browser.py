"""Many photos, what was found in them, areas drawn, strips and corrected pictures, in a real browser."""

from __future__ import annotations

import io
import re
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from PIL import Image

from curejournal.batch.records import ColourReading, PhotoNote, SurfaceNote
from curejournal.journal.store import Journal
from curejournal.photo.find.tag import payload
from tests.photo.windows import drawn
from tests.scenes import Faults, Paint
from tests.ui import steps
from tests.ui.conftest import App
from tests.ui.journals import AMBER, BROWN, CREAM, OURS, TAKEN


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


@pytest.mark.mostly("phone")
def test_a_month_of_pictures_is_dropped_in_left_in_the_middle_and_found_again(
    size: str, window: Any, app: App, roll: dict[str, bytes]
) -> None:
    steps.go(window, app, "inbox")
    steps.shot(window, size, "tray-empty")
    steps.upload(window, *[steps.file(name, data) for name, data in roll.items()])
    window.get_by_role("button", name=f"Take in {len(roll)} photos").click()
    steps.see(window, re.compile(r"Looking at the photos"))
    steps.see(window, re.compile(rf"\d+ of {len(roll)}, "))
    steps.shot(window, size, "tray-going")
    window.get_by_role("link", name="Batches", exact=True).click()
    steps.see(window, re.compile(r"Looking at the photos"))
    window.close()
    window = window.context.new_page()
    steps.go(window, app, "inbox")
    steps.taken_in(window)
    steps.shot(window, size, "tray-done")
    steps.see(window, "6 need you: they wait below.")
    steps.see(window, "✓ Placed: 11")
    steps.see(window, "✓ Placed, no colour from these: 2")
    steps.see(window, "‖ Left out, nothing kept: 3")
    steps.see(window, "burnt out")
    steps.see(window, "as selfie cameras do")
    steps.see(window, "the moving part of a live photo")
    steps.see(window, "clip.mp4: a video, not a photo")
    steps.see(window, re.compile("notes.jpg: not a photo that can be read"))
    steps.see(window, "Waiting for you: 6")
    for words in ("another journal", "no batch tag", "lies in the future", "a screenshot", "when it was taken"):
        steps.see(window, words)
    assert len(steps.current(app, "B-1", ColourReading)) == 10
    steps.assert_fits(window)
    steps.assert_accessible(window)
    # The same roll again is one and the same.
    steps.press(window, "Put this list away")
    steps.upload(window, *[steps.file(name, data) for name, data in list(roll.items())[:3]])
    steps.press(window, "Take in 3 photos")
    steps.taken_in(window)
    steps.see(window, "✓ There already: 3")
    assert len(steps.current(app, "B-1", ColourReading)) == 10
    window.close()


@pytest.mark.mostly("phone")
def test_waiting_photos_are_placed_by_a_press_and_corrected_by_another(
    size: str, window: Any, app: App, roll: dict[str, bytes]
) -> None:
    steps.go(window, app, "inbox")
    names = ["IMG_0101.jpg", "IMG_0102.jpg", "soap.jpg"]
    steps.upload(window, *[steps.file(name, roll[name]) for name in names])
    steps.press(window, "Take in 3 photos")
    steps.taken_in(window)
    box = steps.waiting(window, "IMG_0102.jpg")
    steps.shot(window, size, "tray-waiting")
    button = box.get_by_role("button", name="B-1 · Plain")
    assert button.bounding_box()["height"] >= 44
    button.click()
    steps.see(window, "✓ IMG_0102.jpg: placed, batch B-1.")
    assert len(steps.current(app, "B-1", ColourReading)) == 1

    # Both colours are proposed in the batch's order; the maker turns them round.
    box = steps.waiting(window, "IMG_0101.jpg")
    assert box.locator("img").count() == 2, "the photo, and its colours outlined and numbered"
    steps.choose(window, box, "Colour 1 is", "b")
    steps.choose(window, steps.waiting(window, "IMG_0101.jpg"), "Colour 2 is", "a")
    steps.waiting(window, "IMG_0101.jpg").get_by_role("button", name="Place it").click()
    steps.see(window, "✓ IMG_0101.jpg: placed, batch B-3.")
    kept = {entry.record.portion: entry.record.lab for entry in steps.current(app, "B-3", ColourReading)}
    assert np.allclose(kept["b"], CREAM, atol=2.5)

    # Without a date nothing is placed; with one it is.
    box = steps.waiting(window, "soap.jpg")
    steps.type_moment(window, box, TAKEN)
    steps.waiting(window, "soap.jpg").get_by_role("button", name="Place it").click()
    steps.see(window, "✓ soap.jpg: placed, batch B-1.")

    (entry,) = [e for e in steps.current(app, "B-1", PhotoNote) if e.photo and _name(app, e.photo) == "IMG_0102.jpg"]
    steps.go(window, app, f"photo?photo={entry.photo}")
    steps.shot(window, size, "photo")
    steps.assert_fits(window)
    steps.assert_accessible(window)
    window.get_by_text("Correct where it belongs or what it shows").click()
    steps.settled(window)
    steps.shot(window, size, "photo-correct")
    steps.choose(window, window.get_by_test_id("stExpander"), "Batch", "B-2")
    steps.choose(window, window.get_by_test_id("stExpander"), "Colour 1 is", "top")
    steps.press(window, "Correct it")
    steps.see(window, "IMG_0102.jpg: placed, batch B-2.")
    assert [e.record.portion for e in steps.current(app, "B-2", ColourReading)] == ["top"]
    with Journal.open(app.folder) as journal:
        assert any(e.photo == entry.photo for e in journal.history("B-1")), "the correction is kept as such"


def _name(app: App, sha256: str) -> str:
    with Journal.open(app.folder) as journal:
        return journal.photo(sha256).facts.original_name


@pytest.mark.mostly("desktop")
def test_a_clock_is_set_for_a_whole_set(size: str, window: Any, app: App, roll: dict[str, bytes]) -> None:
    steps.go(window, app, "inbox")
    steps.upload(window, *[steps.file(name, roll[name]) for name in ("IMG_0000.jpg", "IMG_0001.jpg")])
    steps.press(window, "Take in 2 photos")
    steps.taken_in(window)
    window.get_by_text("The clock was wrong in all of these").click()
    steps.settled(window)
    form = window.get_by_test_id("stExpander").filter(has_text="Set the clock for these 2")
    form.get_by_text("ahead", exact=True).click()
    steps.settled(window)
    hours = form.get_by_label("Hours")
    hours.fill("3")
    hours.press("Tab")
    steps.settled(window)
    steps.shot(window, size, "clock")
    for _ in range(2):
        steps.press(window, "Set the clock for these 2")
        steps.see(window, re.compile("^Done: IMG_0000.jpg"))
    times = sorted(entry.at for entry in steps.current(app, "B-1", PhotoNote))
    assert times == [TAKEN - timedelta(hours=3), TAKEN + timedelta(days=2, hours=-3)]


@pytest.mark.mostly("phone")
def test_spots_are_outlined_in_the_picture_and_confirmed_or_denied(
    size: str, window: Any, app: App, roll: dict[str, bytes]
) -> None:
    steps.go(window, app, "inbox")
    steps.upload(window, steps.file("IMG_0107.jpg", roll["IMG_0107.jpg"]))
    steps.press(window, "Take in 1 photo")
    steps.taken_in(window)
    steps.see(window, re.compile("^. Looks like 4 orange spots, .* Open it, and say whether it is so"))
    steps.shot(window, size, "surface-told")
    window.get_by_role("link", name="Look at it, correct it").click()
    steps.settled(window)
    steps.see(window, re.compile("Looks like 4 orange spots, .* mm² together. Is it so"))
    assert window.locator("img[alt*='Red: what is meant']").count() == 1
    steps.shot(window, size, "surface")
    assert steps.current(app, "B-1", SurfaceNote) == [], "nothing is noted unasked"
    steps.press(window, "Yes, note it")
    (note,) = steps.current(app, "B-1", SurfaceNote)
    assert (note.record.look, note.record.count) == ("orange spots", 4)
    # The same question after a single photo, and the other answer.
    steps.go(window, app, "photos?batch=B-2")
    steps.upload(window, steps.file("IMG_0107.jpg", roll["IMG_0107.jpg"] + b"another file"))
    window.get_by_text("top", exact=True).first.click()
    steps.settled(window)
    steps.press(window, "Keep photo and colour")
    steps.see(window, re.compile("Looks like 4 orange spots"))
    steps.press(window, "No, the surface is clear")
    assert [entry.record.look for entry in steps.current(app, "B-2", SurfaceNote)] == ["clear"]


@pytest.mark.mostly("desktop")
def test_a_photo_is_shown_in_standard_light_and_what_was_clipped_is_flagged(size: str, window: Any, app: App) -> None:
    glare = Faults(glare=(1.12, 0.5, 3.0), glare_radius=0.12)
    data = drawn(CREAM, tag=payload(OURS, "B-1"), at=TAKEN, scene={"faults": glare}).jpeg
    steps.go(window, app, "inbox")
    steps.upload(window, steps.file("IMG_0200.jpg", data))
    steps.press(window, "Take in 1 photo")
    steps.taken_in(window)
    window.get_by_role("link", name="Look at it, correct it").click()
    steps.settled(window)
    window.get_by_text("corrected by its card", exact=True).click()
    steps.settled(window)
    steps.see(window, re.compile(r"In standard light; [\d.]+ % was burnt out or black .* Hatched in magenta"))
    steps.shot(window, size, "standard-light")
    with window.expect_download() as waited:
        window.get_by_role("button", name="Download it, unhatched (JPEG)").click()
    with Image.open(waited.value.path()) as image:
        assert dict(image.getexif()) == {}
        pixels = np.asarray(image.convert("RGB")).astype(int)
    assert (np.abs(pixels - (255, 0, 255)).max(axis=2) < 60).mean() < 0.001
