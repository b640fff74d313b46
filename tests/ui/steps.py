"""What a maker does in a browser, step by step, and what is seen there."""

from __future__ import annotations

import os
import re
from datetime import datetime
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import TimeoutError as TooLate

from curejournal.journal.store import Journal

if TYPE_CHECKING:
    from tests.ui.conftest import App

SHOTS = os.environ.get("CUREJOURNAL_SHOTS")
"""A folder for pictures of the pages on the way, for whoever wants to look at them."""


QUIET_MS = 250
"""Without a change on the page, a run of its script, or a question to the server that is not answered yet, before it
counts as drawn. Ours: a slider tells of its move 200 ms after it."""
_LINE = """(() => {
    const Plain = window.WebSocket, line = window.line = {asked: 0, answered: 0};
    window.WebSocket = class extends Plain {
        constructor(...how) {
            super(...how);
            this.addEventListener('message', () => { line.answered = performance.now(); });
            this.addEventListener('close', () => { line.asked = 0; });
        }
        send(data) {
            line.asked = performance.now();
            super.send(data);
        }
    };
})()"""
_QUIET = """([quiet, asked]) => {
    const app = document.querySelector('[data-testid="stApp"]'), now = performance.now();
    if (!app || !document.querySelector('.foot')) return false;
    if (!app.watched) {
        app.watched = new MutationObserver(() => { app.changed = performance.now(); });
        app.watched.observe(app, {subtree: true, childList: true, characterData: true, attributes: true});
    }
    const waits = window.line && window.line.asked > window.line.answered;
    const cut = app.dataset.testConnectionState !== 'CONNECTED';
    if (app.asked !== asked || waits || cut || app.dataset.testScriptState !== 'notRunning') app.changed = now;
    app.asked = asked;
    return now - app.changed >= quiet;
}"""
_times = count()


def profile(browser: Any, **settings: Any) -> Any:
    """A profile of the browser whose pages know what they asked the server and whether it has answered."""
    context = browser.new_context(**settings)
    context.add_init_script(_LINE)
    return context


def settled(window: Any) -> None:
    """Wait until the page is drawn and stays so."""
    window.wait_for_function(_QUIET, arg=[QUIET_MS, next(_times)], polling=25, timeout=60_000)


def go(window: Any, app: App, path: str) -> None:
    window.goto(f"{app.address}/{path}")
    settled(window)


def section(window: Any, name: str) -> None:
    window.get_by_test_id("stMain").get_by_text(name, exact=True).first.click()
    settled(window)


def press(window: Any, name: str) -> None:
    window.get_by_role("button", name=name, exact=True).click()
    settled(window)


def sent(window: Any) -> None:
    """Wait until no press waits on this phone any more."""
    waits = "() => !Object.keys(localStorage).some(n => n.startsWith('curejournal-press:'))"
    window.wait_for_function(waits, timeout=30_000, polling=100)


def upload(window: Any, *files: Path | dict[str, Any]) -> None:
    window.locator("input[type=file]").first.set_input_files(list(files))
    window.wait_for_timeout(300)
    settled(window)


def see(window: Any, words: str | re.Pattern[str]) -> Any:
    """Words on the page, once they are there."""
    found = window.get_by_text(words).first
    try:
        found.wait_for(state="visible", timeout=20_000)
    except TooLate:
        pytest.fail(f"“{words}” does not show on the page:\n{window.get_by_test_id('stMain').inner_text()}")
    return found


def graded(portion: str) -> re.Pattern[str]:
    """A portion with a colour of whatever grade."""
    return re.compile(f"^{portion}: (measured|relative|approximate)$")


def assert_fits(window: Any) -> None:
    wide = window.evaluate(
        "[...document.querySelectorAll('html, [data-testid=stMain]')].map(e => e.scrollWidth - e.clientWidth)"
    )
    assert max(wide) <= 0, "the page scrolls sideways"
    cut = window.evaluate(
        "[...document.querySelectorAll('button *, a *, label *, summary *, [data-testid=stFileUploader] *')]"
        ".filter(e => e.checkVisibility() && e.clientWidth > 1 && e.scrollWidth > e.clientWidth + 1"
        " && getComputedStyle(e).overflowX !== 'visible').map(e => e.textContent)"
    )
    assert not cut, "words are cut off"
    short = window.evaluate(
        "[...document.querySelectorAll('input[type=number]')].filter(e => e.scrollWidth > e.clientWidth)"
        ".map(e => e.ariaLabel + ' ' + e.value)"
    )
    assert not short, "numbers are cut off"


def assert_accessible(window: Any) -> None:
    """WCAG 2.2, levels A and AA, as far as axe can tell."""
    if not window.evaluate("'axe' in window"):
        window.evaluate(AXE_SCRIPT)
    levels = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    # What passes is not asked for: gathered and sent for each part of a page, it takes longer than the rest.
    found = window.evaluate(
        "async levels => (await axe.run(document, {runOnly: levels, resultTypes: ['violations']})).violations", levels
    )
    told = [(fault["id"], node["html"], node["failureSummary"]) for fault in found for node in fault["nodes"]]
    assert not told, told


def current(app: App, code: str, kind: type) -> list[Any]:
    with Journal.open(app.folder) as journal:
        return [entry for entry in journal.batch(code).entries if isinstance(entry.record, kind)]


def drag(window: Any, size: str, start: tuple[float, float], end: tuple[float, float]) -> None:
    """Pull from one point of the window to another: by mouse, or on the phone by a finger."""
    steps = [(start[0] + (end[0] - start[0]) * i / 6, start[1] + (end[1] - start[1]) * i / 6) for i in range(7)]
    if size == "desktop":
        window.mouse.move(*start)
        window.mouse.down()
        for x, y in steps[1:]:
            window.mouse.move(x, y)
        window.mouse.up()
        return
    touch = window.context.new_cdp_session(window)
    for kind, points in [("touchStart", steps[:1]), *[("touchMove", [step]) for step in steps[1:]], ("touchEnd", [])]:
        at = [{"x": x, "y": y} for x, y in points]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": at})


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
    window.keyboard.press("Escape")  # the calendar would lie over what stands below
    window.wait_for_timeout(300)
    settled(window)


def shot(window: Any, size: str, name: str) -> None:
    if SHOTS:
        whole = window.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
        view = window.viewport_size
        window.set_viewport_size({"width": view["width"], "height": min(whole + 20, 8000)})
        window.wait_for_timeout(500)
        window.screenshot(path=f"{SHOTS}/{name}-{size}.png")
        window.set_viewport_size(view)


_TARGETS = """least => {
    // What is pressed of a radio or a tick is its label; of a field, all of its frame; of a slider, its thumb.
    const FRAMES = {radio: 'label', checkbox: 'label', range: '[data-rac]:has(> div > input)', file: 'button, label'};
    const box = element => {
        const {width, height} = element.getBoundingClientRect(), after = getComputedStyle(element, '::after');
        const laid = after.content !== 'none' && after.position === 'absolute';
        const more = laid ? [parseFloat(after.width), parseFloat(after.height)] : [0, 0];
        return [Math.max(width, more[0]), Math.max(height, more[1])];
    };
    const small = new Set();
    for (const one of document.querySelectorAll('a[href], button, input, textarea, summary, [role="button"],'
            + '[role="tab"], [role="option"], td[role="gridcell"]')) {
        if (!one.checkVisibility({visibilityProperty: true}) || one.closest('[aria-hidden="true"]')) continue;
        const frame = one.matches('input')
            && one.closest(FRAMES[one.type] ?? '[data-testid$="Field"], .stMultiSelect > div');
        const boxes = [one, frame].filter(Boolean).map(box);
        const [wide, high] = [0, 1].map(side => Math.round(Math.max(...boxes.map(sides => sides[side]))));
        // What only a keyboard comes to, and a link within a sentence (2.5.5, exception "Inline").
        if (wide <= 1 || high <= 1 || one.matches('p a, li a, td a')) continue;
        if (wide < least || high < least)
            small.add(`${wide}x${high} ${one.tagName} ${one.type || one.role || ''} `
                + `${(one.ariaLabel || one.title || one.textContent || '').trim().slice(0, 50)} `
                + `in ${one.closest('[data-testid]')?.dataset.testid}`);
    }
    return [...small];
}"""
LEAST_TARGET_PX = 44
"""WCAG 2.2, 2.5.5 Target Size (Enhanced): 44 by 44 CSS pixels."""


def small_targets(window: Any) -> list[str]:
    """What can be pressed on a page and is smaller than a fingertip."""
    return list(window.evaluate(_TARGETS, LEAST_TARGET_PX))
