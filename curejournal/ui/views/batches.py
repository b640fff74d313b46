"""All batches, and the start of a new one."""

from __future__ import annotations

import streamlit as st

from curejournal import workflow
from curejournal.cure.records import Batch
from curejournal.report.wording import age
from curejournal.ui import cache, parts, starting
from curejournal.ui.page import Desk, Page

SHOWN = 20


def render(desk: Desk) -> None:
    """Draw the page."""
    batches = desk.journal.all_batches()[::-1]
    if not batches:
        parts.say("No batch yet. A code and a name are enough to start one; with its recipe the lye is checked.")
    asked = not batches or "like" in st.query_params
    if parts.may_enter(desk) and st.toggle("Start a batch", key="start-batch", value=asked):
        starting.start(desk, batches)
        return
    wanted = st.pills(
        "Show only", ["open", "closed"], key="wanted", help="Closed: released, and nothing entered since."
    )
    sought = st.text_input("Find a name or code", key="sought").casefold()
    found = [
        batch
        for batch in batches
        if sought in f"{batch.code} {batch.name}".casefold()
        and (wanted is None or workflow.is_closed(batch) == (wanted == "closed"))
    ]
    shown = st.session_state.setdefault("shown", SHOWN)
    for batch in found[:shown]:
        _row(desk, batch)
    if len(found) > shown and st.button(f"Show more ({len(found)} in all)", key="more"):
        st.session_state["shown"] = shown + SHOWN
        st.rerun()


def _row(desk: Desk, batch: Batch) -> None:
    judgement = cache.judged(desk, batch)
    with st.container(key=f"row-{batch.code}"):
        parts.way(desk, "batch", f"{batch.code} · {batch.name}", batch=batch.code)
        old = f"{age(batch.poured_at, desk.now)} old" if batch.poured_at else "not poured yet"
        st.html(parts.tag(parts.state_of(judgement)) + f" &nbsp; {old}")
        parts.patches(parts.latest_colours(judgement))
        if judgement.verdict != "ready":
            parts.say(parts.because(judgement), "soft")


PAGE = Page("Batches", "batches", 20, render, ":material/view_list:", main=True)
