"""The app around the pages: collects them, opens the journal, and shows the one that was asked for."""

from __future__ import annotations

import getpass
import importlib
import pkgutil
from collections.abc import Callable, Mapping
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

from curejournal import workflow
from curejournal.base.errors import CureJournalError
from curejournal.documents.formatting import day
from curejournal.journal.store import Journal
from curejournal.ui import i18n, pages
from curejournal.ui.components import common
from curejournal.ui.forms import entry
from curejournal.ui.i18n import st
from curejournal.ui.page import Desk, Page, attempt, refusal
from curejournal.ui.state import background, connection, journal_choice
from curejournal.ui.state.signed_in import SignedIn, behind_gate, signed_in

STYLE = Path(__file__).with_name("paper.css")


def all_pages() -> dict[str, Page]:
    """Every page by its slug, in order: each module of `views` ends in one.

    The folder is not called `pages`: beside the script that Streamlit runs it would take such a folder for its own
    kind of app, and run a page without this frame.
    """
    found = [
        importlib.import_module(f"{pages.__name__}.{module.name}").PAGE
        for module in pkgutil.iter_modules(pages.__path__)
    ]
    return {page.slug: page for page in sorted(found, key=lambda page: page.order)}


def run(first: str = "today", now: Callable[[], datetime] | None = None) -> None:
    """Draw the app, opening at a page."""
    st.set_page_config("Cure journal", page_icon="🧼", layout="centered")
    st.html(STYLE)
    shown = all_pages()
    ways = {slug: st.Page(partial(_nothing, slug), title=page.title, url_path=slug) for slug, page in shown.items()}
    # Streamlit's first page has no address but the app's; apart from it, each page has its own.
    start = st.Page(partial(_nothing, "start"), title=shown[first].title, url_path="start", default=True)
    chosen = st.navigation([start, *ways.values()], position="hidden")
    journal, person = attempt(journal_choice.journal), attempt(signed_in)
    if journal is None or (person is None and behind_gate()):
        return
    slug = next((slug for slug, way in ways.items() if way == chosen), first)
    i18n.use(i18n.kept_habits(journal))
    desk = _desk(journal, person, now() if now else datetime.now().astimezone(), ways)
    _head(desk, shown, slug)
    with st.container(key="page"):
        if shown[slug].listed:
            st.title(shown[slug].title)
        entry.undo(desk)
        if not shown[slug].writes or common.may_enter(desk):
            attempt(lambda: shown[slug].render(desk))
    where = "the computer that shows this" if desk.signed_in else "this computer"
    common.say(f"Kept on {where}. Supports a maker’s judgement; local codes decide.", "foot")
    connection.watch()


def told(fault: Exception) -> bool:
    """Tell a fault of ours, raised in drawing or by a press, in our words in place of Streamlit's, which logs it."""
    st.html(STYLE)  # a fault by a press comes before anything is drawn
    refusal(
        CureJournalError(
            "Something went wrong that should not have: a fault of this program.",
            "Open the page again. If it happens again, pass on what you did and what the terminal shows.",
            "What was confirmed before is kept.",
        )
    )
    return True


def _nothing(slug: str) -> None:
    """Pages are drawn by `run`, inside its frame."""


def _desk(journal: Journal, person: SignedIn | None, clock: datetime, ways: Mapping[str, Any]) -> Desk:
    zone = workflow.time_zone(journal)
    now = workflow.calendar(journal, clock.astimezone(zone))
    stands_still = now != clock.astimezone(zone)
    if person is not None:
        theirs = journal.of(person.name, reads_only=person.reads_only)
        return Desk(theirs, now, zone, person.name, stands_still, ways, True, person.reads_only)
    people = journal.setting("people", [])
    by = st.session_state.setdefault("by", people[0] if people else getpass.getuser())
    return Desk(journal, now, zone, by, stands_still, ways)


def _head(desk: Desk, shown: dict[str, Page], slug: str) -> None:
    with st.container(horizontal=True, key="ways", gap="small"):
        for page in shown.values():
            if page.main and page.listed:
                here = page.slug == slug
                st.page_link(desk.ways[page.slug], label=f"**{page.title}**" if here else page.title)
        with st.popover("More"):
            with st.container(key="more"):
                for page in shown.values():
                    if page.listed and not page.main:
                        st.page_link(desk.ways[page.slug], label=page.title, icon=page.icon)
            if desk.signed_in:
                common.say(f"Signed in as {desk.by}, {'to read' if desk.reads_only else 'who signs every entry here'}.")
                st.html(f'<a href="/sign-out">{i18n.worded("Sign out")}</a>')
            else:
                st.text_input("Entries are made by", key="by", max_chars=80, on_change=partial(_remember, desk.journal))
    if desk.stands_still:
        with st.container(horizontal=True, vertical_alignment="center", key="demo-line"):
            common.say(f"Demo journal, all invented. Its calendar stands at {day(desk.now)}.", "soft")
            if journal_choice.looks_at_demo() and st.button("Back to my journal", key="demo-leave"):
                journal_choice.turn_to(demo=False)
                st.switch_page(desk.ways["today"])
    background.going(desk)


def _remember(journal: Journal) -> None:
    name = st.session_state["by"].strip()
    if name:
        others = [known for known in journal.setting("people", []) if known != name]
        attempt(lambda: journal.set_setting("people", [name, *others]))
