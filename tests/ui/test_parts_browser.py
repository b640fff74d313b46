"""The parts of pages that are behind a choice fit a phone, are accessible, and large enough for a finger."""

from __future__ import annotations

from typing import Any

import pytest

from curejournal.journal.store import Journal
from curejournal.ui.pages import customers, documents
from tests.ui import steps
from tests.ui.conftest import App

PARTS = [
    *(("customers", name) for name in customers.PARTS),
    *(("documents", name) for name in documents.PAPERS),
    *(("plan", name) for name in ("to a mass", "to a mould")),
    ("causes", "Spots, ash, a soft loaf"),
]
STILL_S = 0.001
"""A movement that takes no longer is none: one frame is 0.016 s."""


@pytest.mark.mostly("phone")
@pytest.mark.parametrize(("slug", "part"), PARTS)
def test_each_part_of_a_page_fits_and_is_accessible(slug: str, part: str, window: Any, full_app: App) -> None:
    steps.go(window, full_app, f"{slug}?batch=B-1&like=B-1")
    steps.section(window, part)
    steps.assert_fits(window)
    for scheme in ("dark", "light"):
        window.emulate_media(color_scheme=scheme)
        steps.settled(window)
        steps.assert_accessible(window)
    assert steps.small_targets(window) == []
    assert window.get_by_test_id("stException").count() == 0


@pytest.mark.mostly("phone")
@pytest.mark.parametrize("slug", ["today", "portfolio", "materials", "customers", "lots", "room", "rules"])
def test_what_the_keyboard_stands_on_is_seen(slug: str, window: Any, full_app: App) -> None:
    steps.go(window, full_app, slug)
    unseen = []
    for _ in range(20):
        window.keyboard.press("Tab")
        look = window.evaluate("""() => {
            const at = document.activeElement, near = [at, ...[1, 2, 3].reduce(
                (found, _) => [...found, (found.at(-1) || at).parentElement].filter(Boolean), [])];
            const shown = e => { const s = getComputedStyle(e);
                return (s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2) || s.boxShadow !== 'none'
                    || e.matches('[data-focus-visible], [data-focused]'); };
            return at === document.body || near.some(shown) ? '' : at.outerHTML.slice(0, 200);
        }""")
        unseen += [look] if look else []
    assert not unseen


@pytest.mark.mostly("phone")
def test_who_wants_no_motion_gets_none(window: Any, full_app: App) -> None:
    window.emulate_media(reduced_motion="reduce")
    try:
        for slug in ("today", "batch?batch=B-1", "portfolio"):
            steps.go(window, full_app, slug)
            longest = window.evaluate(
                "Math.max(...[...document.querySelectorAll('.stApp *')].map(e => getComputedStyle(e))"
                ".flatMap(s => [s.transitionDuration, s.animationDuration]).join(',').split(',')"
                ".map(t => parseFloat(t) * (t.trim().endsWith('ms') ? 0.001 : 1)))"
            )
            assert longest <= STILL_S, slug
    finally:
        window.emulate_media(reduced_motion="no-preference")


def test_the_part_of_a_page_is_not_empty(full_app: App) -> None:
    """Else the tests above would look at nothing."""
    with Journal.open(full_app.folder) as journal:
        assert journal.batch("B-1").bars_cut
