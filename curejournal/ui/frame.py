"""The app around the pages: collects them, opens the journal, and shows the one that was asked for."""

from __future__ import annotations

import getpass
import importlib
import os
import pkgutil
from collections.abc import Callable, Mapping
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import platformdirs
import streamlit as st

from curejournal import workflow
from curejournal.journal.store import Journal
from curejournal.report.wording import day
from curejournal.ui import cache, entry, views
from curejournal.ui.page import Desk, Page, attempt, plain

HOME = Path(platformdirs.user_data_path("curejournal")) / "journal"
STYLE = Path(__file__).with_name("paper.css")


def all_pages() -> dict[str, Page]:
    """Every page by its slug, in order: each module of `views` ends in one.

    The folder is not called `pages`: beside the script that Streamlit runs it would take such a folder for its own
    kind of app, and run a page without this frame.
    """
    found = [
        importlib.import_module(f"{views.__name__}.{module.name}").PAGE
        for module in pkgutil.iter_modules(views.__path__)
    ]
    return {page.slug: page for page in sorted(found, key=lambda page: page.order)}


def run(first: str = "today", now: Callable[[], datetime] | None = None) -> None:
    """Draw the app, opening at a page."""
    st.set_page_config("Cure journal", page_icon="🧼", layout="centered")
    st.html(STYLE)
    shown = all_pages()
    ways = {
        slug: st.Page(partial(_nothing, slug), title=page.title, url_path=slug, default=slug == first)
        for slug, page in shown.items()
    }
    chosen = st.navigation(list(ways.values()), position="hidden")
    folder = os.environ.get("CUREJOURNAL_JOURNAL") or str(HOME)
    journal = attempt(lambda: cache.journal(folder))
    if journal is None:
        return
    slug = next(slug for slug, way in ways.items() if way == chosen)
    desk = _desk(journal, now() if now else datetime.now().astimezone(), ways)
    _head(desk, shown, slug)
    with st.container(key="page"):
        if shown[slug].listed:
            st.title(shown[slug].title)
        entry.undo(desk)
        attempt(lambda: shown[slug].render(desk))
    st.html('<p class="foot">Kept on this computer. Supports a maker’s judgement; local codes decide.</p>')


def _nothing(slug: str) -> None:
    """Pages are drawn by `run`, inside its frame."""


def _desk(journal: Journal, clock: datetime, ways: Mapping[str, Any]) -> Desk:
    zone_name = journal.setting("time zone")
    zone = ZoneInfo(zone_name) if zone_name else clock.tzinfo
    assert zone is not None
    now = workflow.calendar(journal, clock.astimezone(zone))
    people = journal.setting("people", [])
    by = st.session_state.setdefault("by", people[0] if people else getpass.getuser())
    return Desk(journal, now, zone, by, now != clock.astimezone(zone), ways)


def _head(desk: Desk, shown: dict[str, Page], slug: str) -> None:
    with st.container(horizontal=True, key="ways", gap="small"):
        for page in shown.values():
            if page.main and page.listed:
                here = page.slug == slug
                st.page_link(desk.ways[page.slug], label=f"**{page.title}**" if here else page.title)
        with st.popover("More"):
            for page in shown.values():
                if page.listed and not page.main:
                    st.page_link(desk.ways[page.slug], label=page.title, icon=page.icon)
            st.text_input("Entries are made by", key="by", max_chars=80, on_change=partial(_remember, desk.journal))
    if desk.stands_still:
        place = desk.journal.setting("place", "")
        st.caption(
            f"Demo journal: everything in it is invented. Its calendar stands at {day(desk.now)}. {plain(place)}"
        )


def _remember(journal: Journal) -> None:
    name = st.session_state["by"].strip()
    if name:
        others = [known for known in journal.setting("people", []) if known != name]
        attempt(lambda: journal.set_setting("people", [name, *others]))
