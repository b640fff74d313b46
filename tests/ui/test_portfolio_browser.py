"""A portfolio in a browser: nothing jumps while it loads, it fits a phone, and the keyboard moves its handle."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from curejournal.documents.portfolio_soap import LAYOUTS
from tests.documents.test_portfolio import pages, shown
from tests.ui import steps

SHIFTS = """window.shifted = 0;
new PerformanceObserver(list => { for (const one of list.getEntries()) window.shifted += one.value; })
    .observe({type: 'layout-shift', buffered: true});"""
"""Adds up what moved without being asked to (Layout Instability API, W3C community group draft)."""


def folder(into: Path, layout: str) -> Path:
    for name, data in pages(shown(), shown(code="T-2", photos=6), layout=layout).items():
        (into / name).write_bytes(data)
    return into


@pytest.mark.parametrize("layout", LAYOUTS)
def test_nothing_jumps_and_all_fits(layout: str, window: Any, tmp_path: Path) -> None:
    window.add_init_script(SHIFTS)
    for file in ("index.html", "t-2.html"):
        window.goto((folder(tmp_path, layout) / file).as_uri())
        window.wait_for_load_state("networkidle")
        window.evaluate("window.scrollTo(0, document.body.scrollHeight)")
        window.wait_for_timeout(300)
        assert window.evaluate("window.shifted") == 0
        steps.assert_fits(window)
        for scheme in ("light", "dark"):
            window.emulate_media(color_scheme=scheme)
            steps.assert_accessible(window)


def test_before_and_after_are_compared_by_keyboard(window: Any, tmp_path: Path) -> None:
    window.goto((folder(tmp_path, "gallery") / "t-2.html").as_uri())
    handle = window.locator(".pair input")
    before = handle.input_value()
    handle.focus()
    window.keyboard.press("ArrowLeft")
    assert handle.input_value() != before
    assert window.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
