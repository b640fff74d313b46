"""The camera within the page: a hint before the shutter, and a photo as large as the camera gives.

Chromium's own camera for tests shows a drawn card, of which is known how it lies and how it is lit.
"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable, Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any
from urllib.error import HTTPError
from urllib.parse import urlencode
from urllib.request import Request, urlopen

import pytest
from PIL import Image

from curejournal.journal.store import Journal
from curejournal.workflow import find_card
from tests.scenes import draw_card
from tests.ui.conftest import CHROMIUM, FLAGS, SIZES, App
from tests.ui.steps import (
    assert_accessible,
    assert_fits,
    choose,
    go,
    graded,
    press,
    profile,
    see,
    settled,
    shot,
    small_targets,
)

WIDE = (2560, 1920)
"""More than the 1920 x 1080 that a page usually films with."""
# Chromium's camera for tests takes a JPEG's levels for those of a film, and makes the bright ones brighter.
VIEWS: dict[str, dict[str, Any]] = {
    "ready": {"size": WIDE, "exposure_ev": -0.6},
    "dark": {"exposure_ev": -5.0},
    "slanted": {"tilt_deg": 50.0, "exposure_ev": -0.6},
    "burnt out": {"exposure_ev": 1.5},
    "half in sight": {"offset": (0.6, 0.0), "exposure_ev": -0.6},
    "no card": {"offset": (3.0, 0.0)},
}
SAID: dict[str, str | re.Pattern[str]] = {
    "dark": "The photo is dark. Find more light",
    "slanted": re.compile(r"^The card is seen at a slant, \d+° off straight above. Hold the phone straighter"),
    "burnt out": "The white of the card is burnt out. Lower the exposure",
    "half in sight": "Part of the card is outside the picture. Step back",
    "no card": "No card is in sight. Lay it flat",
}


TAKEN = """() => new Promise(done => {
    indexedDB.open('curejournal').onsuccess = event => {
        const all = event.target.result.transaction('taken').objectStore('taken').getAll();
        all.onsuccess = () => done(all.result.map(one => ({name: one.name, bytes: [...new Uint8Array(one.bytes)]})));
    };
})"""


@pytest.fixture
def seeing(browser_type: Any, tmp_path: Path) -> Iterator[Callable[[str], Any]]:
    """Opens a phone's page whose camera sees one of the views."""
    browsers = []

    def page(view: str) -> Any:
        film = tmp_path / "view.mjpeg"
        film.write_bytes(draw_card(find_card("window"), **{"size": (1280, 960), **VIEWS[view]}).jpeg)
        camera = ["--use-fake-device-for-media-stream", f"--use-file-for-fake-video-capture={film}"]
        flags = [*FLAGS, *camera, "--use-fake-ui-for-media-stream"]
        browsers.append(browser_type.launch(executable_path=CHROMIUM, args=flags))
        return profile(browsers[-1], **SIZES["phone"]).new_page()

    yield page
    for browser in browsers:
        browser.close()


def to_camera(page: Any, app: App) -> None:
    go(page, app, "photos?batch=C-phone")
    choose(page, page, "Which card lies in the picture?", "window")
    page.get_by_role("button", name="Use this device’s camera here").click()


@pytest.mark.parametrize("view", SAID)
def test_what_would_spoil_the_photo_is_said_before_the_shutter(
    view: str, seeing: Callable[[str], Any], full_app: App
) -> None:
    page = seeing(view)
    to_camera(page, full_app)
    see(page, SAID[view])
    shot(page, "phone", f"camera-{view.replace(' ', '-')}")


def test_a_card_that_lies_well_is_said_to_and_the_photo_goes_in_as_large_as_the_camera_gives(
    seeing: Callable[[str], Any], full_app: App
) -> None:
    page = seeing("ready")
    to_camera(page, full_app)
    see(page, "The card is in sight, and well lit.")
    assert_fits(page)
    assert_accessible(page)
    assert not small_targets(page)
    shot(page, "phone", "camera-ready")
    page.get_by_role("button", name="Take it").click()
    see(page, graded("which portion\\?|chamomile"))
    settled(page)
    assert not page.locator("video").is_visible()
    (photo,) = page.evaluate(TAKEN)
    assert re.fullmatch(r"IMG_\d{8}_\d{6}\.jpg", photo["name"])
    assert Image.open(io.BytesIO(bytes(photo["bytes"]))).size == WIDE
    press(page, "Keep photo and colour")
    page.wait_for_function(f"() => ({TAKEN})().then(left => !left.length)")
    with Journal.open(full_app.folder) as journal:
        assert journal.photo_bytes(sha256(bytes(photo["bytes"])).hexdigest()) == bytes(photo["bytes"])


def test_a_browser_without_a_camera_says_so_and_photos_are_taken_or_chosen_all_the_same(
    size: str, window: Any, full_app: App
) -> None:
    go(window, full_app, f"photos?batch=C-{size}")
    window.get_by_role("button", name="Use this device’s camera here").click()
    see(window, "The browser gives this page no camera.")
    assert window.get_by_text("Take a photo").first.is_visible()


@pytest.mark.parametrize(
    ("view", "card", "status"),
    [
        (b"no picture", "window", 400),
        (b"x" * 700_000, "window", 413),
        (draw_card(find_card("window"), size=(640, 480)).jpeg, "window", 200),
        (draw_card(find_card("window"), size=(640, 480)).jpeg, "nobody's", 200),
    ],
    ids=["no picture", "too large", "the card", "a card that is not here"],
)
def test_what_is_sent_as_a_view_is_checked_like_any_input(view: bytes, card: str, status: int, full_app: App) -> None:
    journal = sha256(str(full_app.folder).encode()).hexdigest()[:16]
    asked = f"{full_app.address}/camera-view?{urlencode({'journal': journal, 'card': card})}"
    try:
        with urlopen(Request(asked, view, {"Origin": full_app.address})) as answer:
            said = json.load(answer)
            assert (answer.status, bool(said.get("ready"))) == (status, card == "window")
    except HTTPError as refused:
        assert refused.code == status
