"""The line between a phone and the app: cut as both hear, cut silently, or only slept over."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import expect

from curejournal.batch.records import ScalarReading
from curejournal.journal.store import Journal
from curejournal.workflow.demo import pictures_folder
from tests.ui.conftest import SIZES, App
from tests.ui.line import Line
from tests.ui.steps import assert_accessible, assert_fits, current, go, graded, profile, section, see, settled, shot

CUT = re.compile("^Connection lost while you pressed")
KEPT = re.compile("^(Kept|Saved) for C-")
# As after a sleep of a minute: what counts is the clock, since a page that sleeps counts nothing.
HIDE = "Object.defineProperty(document, 'hidden', {configurable: true, get: () => %s});"
TELL = "document.dispatchEvent(new Event('visibilitychange'));"
SLEEP = HIDE % "true" + TELL + "const now = Date.now; Date.now = () => now() + 60_000;" + HIDE % "false"
# Alerts are put into the page's body, each once.
NOTE_ALERTS = """() => {
    window.alerts = [];
    new MutationObserver(seen => seen.flatMap(one => [...one.addedNodes]).filter(one => one.role === 'alert')
        .forEach(one => window.alerts.push(one.textContent))).observe(document.body, {childList: true});
}"""


@pytest.fixture
def line(full_app: App) -> Iterator[Line]:
    between = Line(full_app.address)
    yield between
    between.close()


def sleep(window: Any) -> None:
    """What a page sees of a phone that slept for a minute and wakes."""
    window.evaluate(SLEEP + TELL)


def to_room(window: Any, line: Line, size: str, degrees: float | None) -> Any:
    """The room's form of a batch, filled in if asked to: like all but the pour's it goes over the app's own line."""
    window.goto(f"{line.address}/batch?batch=C-{size}")
    settled(window)
    section(window, "Log")
    section(window, "something else")
    section(window, "the room, other readings")
    field = window.get_by_label(re.compile("^Temperature of the cure room"))
    if degrees is not None:
        field.fill(str(degrees))
    return field


def keep(window: Any) -> None:
    window.get_by_test_id("stFormSubmitButton").get_by_role("button").click()
    settled(window)


def kept(app: App, size: str, degrees: float) -> int:
    return sum(entry.record.value == degrees for entry in current(app, f"C-{size}", ScalarReading))


@pytest.mark.mostly("phone")
def test_a_phone_that_slept_comes_back_to_its_page_and_loses_nothing(
    size: str, window: Any, full_app: App, line: Line
) -> None:
    field = to_room(window, line, size, 18.5)
    line.cut()
    window.wait_for_timeout(3_000)
    line.mend()
    window.wait_for_timeout(3_000)
    settled(window)
    assert float(field.input_value()) == 18.5
    keep(window)
    see(window, KEPT)
    assert kept(full_app, size, 18.5) == 1


@pytest.mark.mostly("phone")
@pytest.mark.parametrize("refuses", [True, False], ids=["ends when used", "never answers"])
def test_a_press_on_a_line_that_is_dead_is_told_until_a_later_one_is_answered(
    refuses: bool, size: str, window: Any, full_app: App, line: Line
) -> None:
    degrees = 17.5 if refuses else 16.5
    field = to_room(window, line, size, degrees)
    line.numb(refuses=refuses)
    keep(window)
    told = window.get_by_role("alert").filter(has_text=CUT)
    told.wait_for(state="visible")
    settled(window)
    assert_fits(window)
    for scheme in ("dark", "light"):
        window.emulate_media(color_scheme=scheme)
        settled(window)
        assert_accessible(window)
        shot(window, f"{size}-{scheme}", "line-cut")
    assert not kept(full_app, size, degrees)
    assert float(field.input_value()) == degrees
    keep(window)
    see(window, KEPT)
    told.wait_for(state="hidden")
    assert kept(full_app, size, degrees) == 1


@pytest.mark.mostly("phone")
def test_the_word_of_a_cut_line_can_be_closed_and_an_answered_press_has_none(
    size: str, window: Any, full_app: App, line: Line
) -> None:
    to_room(window, line, size, 15.5)
    keep(window)
    see(window, KEPT)
    told = window.get_by_text(CUT)
    assert not told.count()
    line.numb(refuses=True)
    section(window, "an alkali test")
    window.get_by_role("alert").get_by_role("button", name="All right").click()
    assert not told.count()


@pytest.mark.mostly("phone")
def test_what_is_pressed_at_once_after_a_sleep_is_kept_on_the_next_line_if_the_old_one_is_dead(
    size: str, window: Any, full_app: App, line: Line
) -> None:
    to_room(window, line, size, 14.5)
    line.numb(refuses=False)
    window.evaluate(NOTE_ALERTS)
    sleep(window)
    window.get_by_test_id("stFormSubmitButton").get_by_role("button").click()
    see(window, KEPT)
    settled(window)
    # Noted as they came: the line is found dead within seconds, and a slow test would look too late.
    (alert,) = window.evaluate("window.alerts")
    assert alert.startswith("Checking the connection. What you pressed will be sent")
    assert not window.get_by_role("alert").filter(has_text="What you pressed").count()
    assert not window.get_by_text(CUT).count()
    assert kept(full_app, size, 14.5) == 1


@pytest.mark.mostly("phone")
def test_a_line_that_lived_through_a_sleep_stays(size: str, window: Any, full_app: App, line: Line) -> None:
    lines: list[str] = []
    window.on("websocket", lambda found: lines.append(found.url))
    with window.expect_websocket() as first:
        to_room(window, line, size, 13.5)
    with first.value.expect_event("framereceived"):
        sleep(window)
    settled(window)
    keep(window)
    see(window, KEPT)
    assert len(lines) == 1


@pytest.mark.mostly("phone")
def test_a_page_of_which_a_part_did_not_come_loads_itself_anew_once_the_line_is_back(
    size: str, browser: Any, full_app: App
) -> None:
    """Streamlit asks for each kind of field when it is first needed, and once: cut then, the page stayed empty."""
    context = profile(browser, **SIZES[size])  # which has loaded nothing yet
    page = context.new_page()
    go(page, full_app, "help")  # which has no field
    context.route("**/*.js", lambda route: route.abort())
    context.route("**/_stcore/health", lambda route: route.abort())
    page.get_by_role("link", name="Photos", exact=True).click()
    page.wait_for_timeout(3_000)
    assert not page.locator("[data-testid=stFileUploader] input[type=file]").count()
    context.unroute("**/*.js")
    context.unroute("**/_stcore/health")
    page.locator("[data-testid=stFileUploader] input[type=file]").first.wait_for(state="attached", timeout=20_000)
    context.close()


@pytest.mark.mostly("phone")
def test_what_is_half_typed_outlives_a_reload_until_it_is_saved(
    size: str, window: Any, full_app: App, line: Line
) -> None:
    to_room(window, line, size, 12.5)
    room = to_room(window, line, size, None)
    window.wait_for_timeout(500)
    assert float(room.input_value()) == 12.5
    keep(window)
    see(window, KEPT)
    assert kept(full_app, size, 12.5) == 1
    room = to_room(window, line, size, None)
    window.wait_for_timeout(500)
    assert room.input_value() == ""


@pytest.mark.mostly("phone")
def test_what_was_saved_is_not_typed_again_though_its_answer_never_came(
    size: str, window: Any, full_app: App, line: Line
) -> None:
    """Brought back as half typed, it would be saved a second time."""
    to_room(window, line, size, 11.5)
    line.silence()
    window.get_by_test_id("stFormSubmitButton").get_by_role("button").click()
    for _ in range(100):
        if kept(full_app, size, 11.5):
            break
        window.wait_for_timeout(100)
    room = to_room(window, line, size, None)
    window.wait_for_timeout(500)
    assert room.input_value() == ""
    assert kept(full_app, size, 11.5) == 1


@pytest.mark.mostly("phone")
def test_what_was_chosen_comes_back_too_and_what_does_not_is_said(
    size: str, window: Any, full_app: App, line: Line
) -> None:
    def to_look() -> tuple[Any, Any]:
        window.goto(f"{line.address}/batch?batch=C-{size}")
        settled(window)
        section(window, "Log")
        section(window, "a surface check")
        section(window, "How many, how much of it")
        return window.get_by_role("radio", name="ash"), window.get_by_role("checkbox", name="Only the outside")

    radio, tick = to_look()
    assert not radio.is_checked()
    for field in (radio, tick):
        field.locator("xpath=ancestor::label").click()
        expect(field).to_be_checked()
    window.wait_for_timeout(200)  # no hand is at the reload sooner
    radio, tick = to_look()
    see(window, "What you typed and did not save is back.")
    expect(radio).to_be_checked()
    expect(tick).to_be_checked()
    assert_accessible(window)
    window.get_by_role("status").filter(has_text="is back").get_by_role("button", name="All right").click()
    assert not window.get_by_text("is back").count()


TAKEN = """() => new Promise(done => {
    indexedDB.open('curejournal').onsuccess = event => {
        const keys = event.target.result.transaction('taken').objectStore('taken').getAllKeys();
        keys.onsuccess = () => done(keys.result.length);
    };
})"""


@pytest.mark.mostly("phone")
def test_a_photo_by_the_phones_camera_stays_on_it_at_full_size_until_the_journal_has_it(
    size: str, window: Any, full_app: App, line: Line
) -> None:
    picture = pictures_folder() / "chamomile-6.jpg"
    window.goto(f"{line.address}/photos?batch=C-{size}")
    settled(window)
    line.cut()
    camera = window.locator("input[capture=environment]")
    camera.set_input_files(picture)
    window.wait_for_timeout(1_000)
    assert window.evaluate(TAKEN) == 1
    window.goto("about:blank")
    line.mend()
    window.goto(f"{line.address}/photos?batch=C-{size}")
    settled(window)
    see(window, "Taken here and not in the journal yet: 1.")
    assert_accessible(window)
    shot(window, size, "photo-left")
    window.get_by_role("button", name="Bring back").click()
    see(window, graded("chamomile"))
    settled(window)
    window.get_by_role("button", name=re.compile("^(Keep|Save) photo and colour")).click()
    settled(window)
    for _ in range(50):
        if not window.evaluate(TAKEN):
            break
        window.wait_for_timeout(100)
    assert window.evaluate(TAKEN) == 0, "the phone forgets it"
    with Journal.open(full_app.folder) as journal:
        assert journal.photo_bytes(hashlib.sha256(picture.read_bytes()).hexdigest()) == picture.read_bytes()


@pytest.mark.mostly("phone")
def test_a_photo_taken_while_the_page_slept_comes_in_on_the_next_line(
    size: str, window: Any, full_app: App, line: Line
) -> None:
    window.goto(f"{line.address}/batch?batch=C-{size}")
    settled(window)
    # The page's line is known from what is first sent on it.
    window.get_by_role("link", name="Photos", exact=True).click()
    settled(window)
    line.numb(refuses=False)
    sleep(window)
    window.locator("input[type=file]").first.set_input_files([pictures_folder() / "chamomile-6.jpg"])
    see(window, graded("the soap in the window"))
    assert not window.get_by_text(CUT).count()
