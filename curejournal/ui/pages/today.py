"""What is due and why, batch by batch, each done on the spot."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import groupby

from curejournal.base.counting import how_many
from curejournal.batch.records import Batch
from curejournal.documents.formatting import day
from curejournal.judging.tasks import Task
from curejournal.ui.components import common, first_steps
from curejournal.ui.forms import checks, entry, pouring
from curejournal.ui.i18n import st
from curejournal.ui.page import Desk, Page, plain
from curejournal.ui.pages import photos
from curejournal.ui.state import cache, due_cache
from curejournal.ui.state.due_cache import Glance
from curejournal.workflow import documents

SHOWN = 20
"""Batches at first. Ours: more than a day's work."""


def _evidence(desk: Desk, batch: Batch) -> None:
    checks.show(desk, batch, cache.judged(desk, batch))


ON_THE_SPOT: dict[str, tuple[str, Callable[[Desk, Batch], None]]] = {
    "weigh": (":material/scale:", entry.weigh),
    "photograph": (":material/photo_camera:", photos.take),
    "test": (":material/science:", entry.alkali_test),
    "look": (":material/visibility:", entry.surface),
    "release": (":material/draw:", _evidence),
    "decide": (":material/balance:", _evidence),
    "complete": (":material/edit:", pouring.complete),
}


def render(desk: Desk) -> None:
    """Draw the page."""
    seen = due_cache.look(desk)
    if not seen.glances and not desk.journal.names():
        first_steps.show(desk)
        return
    due = seen.due()
    now = [pair for pair in due if pair[1].when <= desk.now]
    later = [pair for pair in due if pair[1].when > desk.now]
    things = how_many(len(now), "thing")
    common.say(f"{day(desk.now)}. {f'{things} to do now.' if now else 'Nothing is due.'}", "lead")
    if seen.waiting:
        more = how_many(seen.waiting, "more batch")
        common.say(f"{more} still to be looked at; what is due there will follow.", "soft")
    for glance in seen.glances:
        for question in glance.recall:
            st.error(f"{plain(glance.code)}: {plain(question)}", icon=":material/back_hand:")
    batches: dict[str, tuple[Glance, list[Task]]] = {}
    for glance, thing in now:
        batches.setdefault(glance.code, (glance, []))[1].append(thing)
    shown = st.session_state.setdefault("due-shown", SHOWN)
    for glance, asked in list(batches.values())[:shown]:
        _batch(desk, glance, asked)
    if len(batches) > shown and st.button(f"Show more ({len(batches)} batches in all)", key="due-more"):
        st.session_state["due-shown"] = shown + SHOWN
        st.rerun()
    if later:
        _later(desk, later)


def _batch(desk: Desk, glance: Glance, things: Sequence[Task]) -> None:
    with st.container(key=f"row-{glance.code}"):
        common.way(desk, "batch", f"{glance.code} · {glance.name}", batch=glance.code)
        for what, same in groupby(sorted(things, key=lambda thing: thing.what), key=lambda thing: thing.what):
            _thing(desk, glance.code, what, list(same))


def _thing(desk: Desk, code: str, what: str, things: Sequence[Task]) -> None:
    icon, form = ON_THE_SPOT[what]
    key = f"{what}-{code}"
    open_now = st.session_state.get("doing") == key
    since = min(thing.when for thing in things)
    due = "Due now" if since.date() == desk.now.date() else f"Due since {day(since)}"
    with st.container(horizontal=True, vertical_alignment="center", key=f"due-{key}"):
        pressed = not desk.reads_only and st.button(
            "Close" if open_now else _words(things), key=f"do-{key}", icon=":material/close:" if open_now else icon
        )
        reasons = dict.fromkeys(common.sentence(thing.why) for thing in things)
        common.say(f"{_words(things) + '. ' if open_now or desk.reads_only else ''}{due}. {' '.join(reasons)}", "soft")
    if pressed:
        st.session_state["doing"] = None if open_now else key
        st.rerun()
    if open_now:
        with st.container(key=f"here-{key}"):
            batch = desk.journal.batch(code)
            form(desk, batch)
            entry.ask(desk, code)


def _words(things: Sequence[Task]) -> str:
    """What is to do, in one line: several portions are one photograph."""
    if things[0].what != "photograph":
        return things[0].words
    names = [thing.portion for thing in things if thing.portion]
    return f"Photograph {' and '.join([', '.join(names[:-1]), *names[-1:]] if len(names) > 1 else names) or 'it'}"


def _later(desk: Desk, later: Sequence[tuple[Glance, Task]]) -> None:
    st.subheader("Coming up")
    lines: dict[tuple[str, str, str], list[Task]] = {}
    for glance, thing in later:
        lines.setdefault((day(thing.when), thing.what, f"{glance.code} {glance.name}"), []).append(thing)
    common.listed(f"{when}: {_words(things)}, {of}" for (when, _, of), things in list(lines.items())[:12])
    st.download_button(
        "Into my calendar (ICS)",
        lambda: documents.calendar_file(desk.journal, desk.now, desk.zone),
        "soap.ics",
        "text/calendar",
        key="calendar",
    )


PAGE = Page("Today", "today", 10, render, ":material/today:", main=True)
