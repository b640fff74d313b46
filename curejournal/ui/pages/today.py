"""What is due and why, each beside its soap and done on the spot: what is on hold first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import streamlit as st

from curejournal.base.lazy import Module
from curejournal.base.messages import join, msg, msg_n
from curejournal.batch.descriptions import describe
from curejournal.batch.records import AlkaliTest, Decision, Event, PhotoNote, SurfaceNote, Weighing
from curejournal.documents.formatting import day
from curejournal.ui.components import common, first_steps
from curejournal.ui.i18n import tr
from curejournal.ui.page import Desk

if TYPE_CHECKING:
    from curejournal.judging.tasks import Task
    from curejournal.ui.components import showing
    from curejournal.ui.forms import doing
    from curejournal.ui.state import due_cache
    from curejournal.ui.state.due_cache import Glance
    from curejournal.workflow import documents
else:  # the page of an empty journal, the first that a maker sees, needs them not
    doing, due_cache = Module("curejournal.ui.forms.doing"), Module("curejournal.ui.state.due_cache")
    documents, showing = Module("curejournal.workflow.documents"), Module("curejournal.ui.components.showing")

STEPS = (Weighing, AlkaliTest, SurfaceNote, PhotoNote, Event, Decision)
"""What is ticked off once it is done."""
SHOWN = 20
"""Batches at first. Ours: more than a day's work."""


def render(desk: Desk) -> None:
    """Draw the page."""
    if not desk.journal.names():
        st.title(tr(msg("Today")))
        first_steps.show(desk)
        return
    seen = due_cache.look(desk)
    due = seen.due()
    now = [pair for pair in due if pair[1].when <= desk.now]
    later = sorted((pair for pair in due if pair[1].when > desk.now), key=lambda pair: pair[1].when)
    common.say(msg("{weekday:%A}, {day}", weekday=desk.now, day=day(desk.now)), "soft")
    st.title(
        tr(
            msg("{now} to do today", now=msg_n("{number} thing", "{number} things", len(now)))
            if now
            else msg("Nothing is due today")
        )
    )
    doing.done_for_good(desk, ((thing.what, glance.code) for glance, thing in now))
    if seen.waiting:
        more = msg_n("{number} more batch", "{number} more batches", seen.waiting)
        common.say(msg("{more} still to be looked at; what is due there will follow.", more=more), "soft")
    batches: dict[str, tuple[Glance, list[Task]]] = {}
    for glance, thing in now:
        batches.setdefault(glance.code, (glance, []))[1].append(thing)
    shown = st.session_state.setdefault("due-shown", SHOWN)
    for number, (glance, asked) in enumerate(list(batches.values())[:shown]):
        _batch(desk, glance, asked, first=number == 0)
    if len(batches) > shown and st.button(
        tr(msg("Show more ({batches} batches in all)", batches=len(batches))), key="due-more"
    ):
        st.session_state["due-shown"] = shown + SHOWN
        st.rerun()
    _done(desk, (glance.code for glance in seen.glances))
    if later:
        _later(desk, later)


def _done(desk: Desk, codes: Iterable[str]) -> None:
    """What was done today, ticked off."""
    lines = []
    for code in list(codes)[:SHOWN]:
        batch = desk.journal.batch(code)
        lines += [
            msg("✓ {name}: {record}", name=batch.name, record=describe(item.record))
            for item in batch.entries
            if isinstance(item.record, STEPS) and item.at.astimezone(desk.zone).date() == desk.now.date()
        ]
    if lines:
        st.subheader(tr(msg("Done today")))
        common.listed(lines)


def _batch(desk: Desk, glance: Glance, things: Sequence[Task], *, first: bool) -> None:
    code = glance.code
    with st.container(key=f"row-{code}"):
        with st.container(horizontal=True, key=f"due-{code}"):
            with st.container(width=168, key=f"due-picture-{code}"):
                showing.taken(desk, glance.name, glance.picture, 360)
            with st.container(key=f"due-words-{code}", gap="small"):
                with st.container(horizontal=True, vertical_alignment="center", gap="small"):
                    common.way(desk, "batch", glance.name, batch=code)
                    st.html(common.tag(glance.state), width="content")
                st.html(glance.ribbon)
                reasons = dict.fromkeys(common.sentence(thing.why) for thing in things)
                common.say(join(" ", reasons), "soft")
            opened = ""
            with st.container(key=f"due-acts-{code}", gap="small"):
                for number, (what, same) in enumerate(doing.in_order(things)):
                    if doing.button(desk, code, what, same, dark=first and number == 0, wide=True):
                        opened = what
                    common.say(doing.since(desk, same), "small soft")
        if opened:
            doing.form(desk, code, opened)


def _later(desk: Desk, later: Sequence[tuple[Glance, Task]]) -> None:
    st.subheader(tr(msg("Coming up")))
    lines: dict[tuple[str, str, str], list[Task]] = {}
    for glance, thing in later:
        lines.setdefault((day(thing.when.astimezone(desk.zone)), thing.what, glance.name), []).append(thing)
    common.table(
        [
            (when, msg("{things}: {name}", things=doing.words_of(things), name=name))
            for (when, _, name), things in list(lines.items())[:12]
        ]
    )
    st.download_button(
        tr(msg("Into my calendar (ICS)")),
        lambda: documents.calendar_file(desk.journal, desk.now, desk.zone),
        "soap.ics",
        "text/calendar",
        key="calendar",
        on_click="ignore",
    )
