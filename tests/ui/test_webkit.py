"""The engine of iPhones: what is done with wet hands, walked in Debian's WebKit; a step of its own in `.ci/run`."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import time
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from curejournal.auth.people import People
from curejournal.batch.records import Event, Portion, ScalarReading
from curejournal.journal.store import Journal
from curejournal.workflow import when_taken
from curejournal.workflow.demo import pictures_folder
from tests.ui.conftest import App
from tests.ui.lan import served_lan
from tests.ui.line import Line
from tests.ui.steps import current

pytestmark = pytest.mark.webkit
DRIVER = "/usr/bin/WebKitWebDriver"
ANN, WORDS = "Ann (invented)", "olive kettle rain window"
# Components lie in shadow trees, which no selector of a driver enters.
FIND = """
const within = root => [...root.querySelectorAll('*')].flatMap(e => e.shadowRoot ? [e, ...within(e.shadowRoot)] : [e]);
const seen = within(document).filter(e => e.getClientRects().length);
"""
SAYS = FIND + "return seen.some(e => !e.children.length && e.textContent.includes(arguments[0]))"
GRADES = ("measured", "relative", "approximate")


@pytest.fixture(scope="module")
def webkit() -> Iterator[Any]:
    browsers = sorted(Path("/usr/lib").glob("*/webkit2gtk-4.*/MiniBrowser"))
    if not Path(DRIVER).is_file() or not browsers or not shutil.which("Xvfb"):
        reason = "There is no WebKit driver: install Debian's webkit2gtk-driver and xvfb."
        if os.environ.get("CI") == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    from selenium import webdriver
    from selenium.webdriver.webkitgtk.options import Options
    from selenium.webdriver.webkitgtk.service import Service

    screen = ["Xvfb", "-displayfd", "1", "-screen", "0", "600x1000x24", "-nolisten", "tcp"]
    display = subprocess.Popen(screen, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    assert display.stdout is not None
    environment = {**os.environ, "DISPLAY": f":{display.stdout.readline().strip()}", "NO_AT_BRIDGE": "1"}
    environment["WEBKIT_DISABLE_SANDBOX_THIS_IS_DANGEROUS"] = "1"  # it refuses to run as root otherwise
    options = Options()
    options.binary_location = str(browsers[-1])
    options.add_argument("--automation")
    driver = webdriver.WebKitGTK(options=options, service=Service(DRIVER, env=environment))
    driver.set_window_size(420, 900)
    yield driver
    driver.quit()
    display.terminate()
    display.wait()


@pytest.fixture
def pouring(start_app: Callable[..., App], tmp_path: Path) -> App:
    return start_app(two_loaves(tmp_path))


def two_loaves(folder: Path, at: datetime | None = None) -> Path:
    at = at or datetime.now().astimezone() - timedelta(hours=1)
    with Journal.open(folder) as journal:
        journal.start_batch("P-1", "Plain olive", at=at, by=ANN, records=[Portion("soap")])
        journal.start_batch("P-2", "Layers", at=at, by=ANN, records=[Portion("cream"), Portion("lavender", 1)])
    return folder


def until(what: str, ask: Callable[[], Any], seconds: float = 40) -> Any:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if found := ask():
            return found
        time.sleep(0.1)
    return pytest.fail(f"{what} did not come")


def pressed(driver: Any, *names: str) -> None:
    from selenium.common.exceptions import WebDriverException

    by_text = FIND + "return seen.find(e => ['BUTTON', 'A'].includes(e.tagName) && e.innerText.trim() === arguments[0])"

    def press(name: str) -> bool:
        button = driver.execute_script(by_text, name)
        if not button:
            return False
        # Clear of the bar that stands at the thumb.
        driver.execute_script("arguments[0].scrollIntoView({block: 'center', behavior: 'instant'})", button)
        try:
            button.click()
        except WebDriverException:  # the page was redrawn meanwhile: nothing was pressed
            return False
        return True

    for name in names:
        until(name, lambda: press(name))  # noqa: B023


def see(driver: Any, words: str) -> None:
    until(words, lambda: driver.execute_script(SAYS, words))


def typed(driver: Any, selector: str, words: str) -> None:
    by_selector = FIND + "return seen.find(e => e.matches(arguments[0]))"
    until(selector, lambda: driver.execute_script(by_selector, selector)).send_keys(words)


def sent(driver: Any) -> None:
    left = "return Object.keys(localStorage).filter(n => n.startsWith('curejournal-press:')).length"
    until("the last answer", lambda: driver.execute_script(left) == 0)


def kept(app: App) -> list[tuple[str, str]]:
    return [(entry.record.kind, entry.record.portion) for entry in current(app, "P-2", Event)]


def test_what_is_pressed_at_the_pour_waits_under_a_cut_line_and_is_kept_once(webkit: Any, pouring: App) -> None:
    line = Line(pouring.address)
    webkit.get(f"{line.address}/pour?batch=P-2")
    pressed(webkit, "lavender", "Trace")
    see(webkit, "✓ Saved:")
    sent(webkit)
    line.cut()
    pressed(webkit, "Thickening")
    typed(webkit, "[name=temperature]", "41.5")
    pressed(webkit, "Save temperature")
    see(webkit, "Not saved yet:")
    time.sleep(3)
    assert kept(pouring) == [("trace", "lavender")]
    line.mend()
    sent(webkit)
    pressed(webkit, "Poured")
    sent(webkit)
    assert kept(pouring) == [("trace", "lavender"), ("thickening", ""), ("poured", "")]
    assert [e.record for e in current(pouring, "P-2", ScalarReading)] == [ScalarReading("batter temperature", 41.5)]
    pressed(webkit, "Undo")
    sent(webkit)
    assert kept(pouring) == [("trace", "lavender"), ("thickening", "")]
    line.close()


def test_a_photo_is_uploaded_and_its_colour_shown(webkit: Any, pouring: App) -> None:
    webkit.get(f"{pouring.address}/photos?batch=P-1")
    file = until("the field for files", lambda: webkit.find_elements("css selector", "input[type=file]"))[0]
    file.send_keys(str(pictures_folder() / "chamomile-6.jpg"))
    until("a colour", lambda: any(webkit.execute_script(SAYS, f"soap: {grade}") for grade in GRADES))


LEFT_ON_PHONE = """const done = arguments[0];
indexedDB.open('curejournal').onsuccess = event => {
    const keys = event.target.result.transaction('taken').objectStore('taken').getAllKeys();
    keys.onsuccess = () => done(keys.result.length);
};"""


def test_a_photo_taken_stays_on_the_phone_until_the_journal_has_it_whole(
    webkit: Any, start_app: Callable[..., App], tmp_path: Path
) -> None:
    photo = pictures_folder() / "chamomile-6.jpg"
    taken = when_taken(photo.read_bytes(), photo.name, datetime.now().astimezone().tzinfo)
    app = start_app(two_loaves(tmp_path, taken - timedelta(days=1)))
    webkit.get(f"{app.address}/photos?batch=P-1")
    typed(webkit, "input[capture=environment]", str(photo))
    until("a colour", lambda: any(webkit.execute_script(SAYS, f"soap: {grade}") for grade in GRADES))
    assert webkit.execute_async_script(LEFT_ON_PHONE) == 1
    pressed(webkit, "Keep photo and colour")
    until("the phone forgets it", lambda: webkit.execute_async_script(LEFT_ON_PHONE) == 0)
    with Journal.open(app.folder) as journal:
        assert journal.photo_bytes(hashlib.sha256(photo.read_bytes()).hexdigest()) == photo.read_bytes()


def test_an_area_is_marked_by_a_finger(webkit: Any, pouring: App) -> None:
    from selenium.webdriver.common.actions.action_builder import ActionBuilder
    from selenium.webdriver.common.actions.pointer_input import PointerInput

    webkit.get(f"{pouring.address}/photos?batch=P-1")
    file = until("the field for files", lambda: webkit.find_elements("css selector", "input[type=file]"))[0]
    file.send_keys(str(pictures_folder() / "chamomile-6.jpg"))
    toggle = "return seen.find(e => e.matches('label p') && e.innerText.includes('Mark the places'))"
    until("the toggle", lambda: webkit.execute_script(FIND + toggle)).click()
    sheet = until("the sheet", lambda: webkit.execute_script(FIND + "return seen.find(e => e.matches('.mark svg'))"))
    webkit.execute_script("arguments[0].scrollIntoView({block: 'center'})", sheet)
    finger = ActionBuilder(webkit, mouse=PointerInput("touch", "finger"))
    finger.pointer_action.move_to(sheet, -20, -15).pointer_down().move_to(sheet, 20, 15).pointer_up()
    finger.perform()
    points = FIND + "return seen.filter(e => e.matches('.mark svg polygon')).map(e => e.getAttribute('points'))"
    until("what was drawn", lambda: webkit.execute_script(points))
    see(webkit, "soap: ")


def test_one_signs_in_and_presses_in_their_own_name(webkit: Any, tmp_path: Path) -> None:
    folder = two_loaves(tmp_path / "lan")
    People(folder).add(ANN, WORDS)
    with served_lan(folder, tmp_path / "server.txt") as lan:
        webkit.get(f"{lan.address}/pour?batch=P-2")
        typed(webkit, "[name=name]", ANN)
        typed(webkit, "[name=passphrase]", WORDS)
        pressed(webkit, "Sign in")
        pressed(webkit, "Trace")
        see(webkit, "✓ Saved:")
        sent(webkit)
        (entry,) = current(lan, "P-2", Event)
        assert (entry.by, entry.record.kind) == (ANN, "trace")
