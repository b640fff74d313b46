"""The app around the pages: collects them, opens the journal, and shows the one that was asked for."""

from __future__ import annotations

import getpass
import threading
from collections.abc import Callable, Mapping
from datetime import datetime
from functools import cache, partial
from pathlib import Path
from typing import Any

import streamlit as st
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from curejournal import workflow
from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg
from curejournal.documents import style
from curejournal.documents.formatting import day
from curejournal.documents.ribbon import RIBBON_CSS
from curejournal.journal.store import Journal
from curejournal.ui import i18n
from curejournal.ui.components import common, viewfinder
from curejournal.ui.forms import kept
from curejournal.ui.i18n import _, tr
from curejournal.ui.page import AT_THE_THUMB, WAYS, Desk, Page, attempt, refusal
from curejournal.ui.pages import PAGES
from curejournal.ui.shell import Shell
from curejournal.ui.state import background, connection, journal_choice, manners, outbox, phone_zone
from curejournal.ui.state.signed_in import SignedIn, behind_gate, signed_in
from curejournal.workflow import readers
from curejournal.workflow.settings import settings_of

FONTS = "/fonts"
SHEET = "".join(
    (
        style.font_faces(FONTS),
        style.variables(),
        style.TAGS,
        RIBBON_CSS,
        Path(__file__).with_name("app.css").read_text("utf-8"),
    )
)


def _icon(_: Request) -> Response:
    """Give the mark, under the name by which Streamlit's page asks for its icon."""
    return Response(style.mark(64), media_type="image/svg+xml")


ROUTES = (
    Mount(FONTS, StaticFiles(packages=[("curejournal.documents", "fonts")])),
    Route("/favicon.png", _icon),
    outbox.ROUTE,
    viewfinder.ROUTE,
    Shell(),
)
"""What is served beside the pages: type of its own, so that none asks another computer for it; icon, page, presses,
what a camera sees."""


def all_pages() -> dict[str, Page]:
    """Every page by its slug, way by way."""
    return {page.slug: page for page in PAGES}


def load_pages() -> None:
    """Import what draws every page, so that none has to be waited for."""
    for page in PAGES:
        page.load()


def run(first: str = "today", now: Callable[[], datetime] | None = None) -> None:
    """Draw the app, opening at a page."""
    st.set_page_config(layout="wide")
    st.html(f"<style>{SHEET}</style>")
    shown = all_pages()
    ways = {slug: st.Page(partial(_nothing, slug), title=tr(page.title), url_path=slug) for slug, page in shown.items()}
    # Streamlit's first page has no address but the app's; apart from it, each page has its own.
    start = st.Page(partial(_nothing, "start"), title=tr(shown[first].title), url_path="start", default=True)
    chosen = st.navigation([start, *ways.values()], position="hidden")
    journal, person = attempt(journal_choice.journal), attempt(signed_in)
    if journal is None or (person is None and behind_gate()):
        return
    slug = next((slug for slug, way in ways.items() if way == chosen), first)
    i18n.use(readers.kept_habits(journal))
    desk = _desk(journal, person, now() if now else datetime.now().astimezone(), ways)
    _head(desk, shown, slug)
    phone_zone.ask(desk)
    if desk.journal.names():
        from curejournal.ui.forms import recall  # an empty journal's first page does not wait for what judges

        attempt(lambda: recall.first(desk, slug))
    with st.container(key="page"):
        if shown[slug].titled:
            st.title(tr(shown[slug].title))
        st.session_state["question-drawn"] = False
        kept.show(desk, slug)
        if not shown[slug].writes or common.may_enter(desk):
            attempt(lambda: shown[slug].load()(desk))
    _foot(desk)
    manners.mind("-".join((slug, st.query_params.get("batch", ""), st.query_params.get("photo", ""))))
    connection.watch(desk)
    _load_other_pages()


def _foot(desk: Desk) -> None:
    """Whose name entries bear, asked for once; where they are kept; and that a maker judges."""
    unnamed = not desk.signed_in and not settings_of(desk.journal).people
    if unnamed:
        with st.container(horizontal=True, vertical_alignment="center", key="who"):
            common.say(msg("Your entries bear the name of this computer’s account: {by}.", by=desk.by), "soft")
            common.way(desk, "people", msg("Give your own name"))
    where = msg("the computer that shows this") if desk.signed_in else msg("this computer")
    kept_on = msg("Kept on {where}. Supports a maker’s judgement; local codes decide.", where=where)
    named = () if unnamed else (msg("Your entries bear the name {by}.", by=desk.by),)
    common.say(join(" ", (*named, kept_on)), "foot")


def told(fault: Exception) -> bool:
    """Tell a fault of ours, raised in drawing or by a press, in our words in place of Streamlit's, which logs it."""
    st.html(f"<style>{SHEET}</style>")  # a fault by a press comes before anything is drawn
    refusal(
        CureJournalError(
            "Something went wrong that should not have: a fault of this program.",
            "Open the page again. If it happens again, pass on what you did and what the terminal shows.",
            "What was confirmed before is kept.",
        )
    )
    return True


@cache
def _load_other_pages() -> None:
    """Load them while the first page is looked at; once in this process."""
    threading.Thread(target=load_pages, name="load pages", daemon=True).start()


def _nothing(slug: str) -> None:
    """Pages are drawn by `run`, inside its frame."""


def _desk(journal: Journal, person: SignedIn | None, clock: datetime, ways: Mapping[str, Any]) -> Desk:
    phone_zone.take(journal, reads_only=person is not None and person.reads_only)
    zone = workflow.time_zone(journal)
    now = workflow.calendar(journal, clock.astimezone(zone))
    stands_still = now != clock.astimezone(zone)
    if person is not None:
        theirs = journal.of(person.name, reads_only=person.reads_only)
        return Desk(theirs, now, zone, person.name, stands_still, ways, True, person.reads_only)
    people = settings_of(journal).people
    by = st.session_state.setdefault("by", people[0] if people else getpass.getuser())
    return Desk(journal, now, zone, by, stands_still, ways)


def _head(desk: Desk, shown: dict[str, Page], slug: str) -> None:
    here = shown[slug].way
    # Who may only read is led to no page that is for entering.
    listed = [page for page in shown.values() if page.listed and not (desk.reads_only and page.writes)]
    first = {way: next(page for page in listed if page.way == way) for way in WAYS}
    with st.container(horizontal=True, key="ways", gap="small"):
        st.html(f'<div class="brand">{common.drawing(style.mark())}<span>Cure journal</span></div>')
        for way in WAYS:
            _way(desk, first[way], way, way == here)
        # Another key on each page, so that it is closed once something in it was chosen.
        more = st.popover(tr("**More**" if here in WAYS[AT_THE_THUMB:] else msg("More")), key=f"more-of-{slug}")
        with more, st.container(key="more"):
            for way in WAYS[AT_THE_THUMB:]:
                _way(desk, first[way], way, way == here)
    if desk.stands_still:
        _demo_line(desk)
    beside = [page for page in listed if page.way == here]
    if len(beside) > 1:
        with st.container(horizontal=True, key="tabs"):
            for page in beside:
                _way(desk, page, page.tab or page.title, page.slug == slug)
    background.going(desk)


def _demo_line(desk: Desk) -> None:
    with st.container(horizontal=True, vertical_alignment="center", key="demo-line"):
        common.say(msg("Demo journal, all invented. Its calendar is set to {now}.", now=day(desk.now)), "soft")
        if journal_choice.looks_at_demo() and st.button(_("Back to my journal"), key="demo-leave"):
            journal_choice.turn_to(demo=False)
            st.switch_page(desk.ways["today"])


def _way(desk: Desk, page: Page, name: str, here: bool) -> None:
    st.page_link(desk.ways[page.slug], label=tr("**" + name + "**" if here else name))
