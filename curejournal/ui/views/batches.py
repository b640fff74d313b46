"""All batches, and the start of a new one."""

from __future__ import annotations

import streamlit as st

from curejournal.cure.judgement import Judgement
from curejournal.cure.records import Batch
from curejournal.report.wording import age
from curejournal.ui import cache, parts, starting
from curejournal.ui.page import Desk, Page


def render(desk: Desk) -> None:
    """Draw the page."""
    judged = cache.all_judged(desk)
    if not judged:
        parts.say("No batch yet. A code and a name are enough to start one; with its recipe the lye is checked.")
    if st.toggle("Start a batch", key="start-batch", value=not judged):
        starting.start(desk, [batch for batch, _ in judged])
        return
    wanted = st.pills("Show only", ["ready", "not yet", "hold", "released"], selection_mode="multi", key="wanted")
    for batch, judgement in judged:
        if not wanted or parts.state_of(judgement) in wanted:
            _row(desk, batch, judgement)


def _row(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    with st.container(key=f"row-{batch.code}"):
        parts.way(desk, "batch", f"{batch.code} · {batch.name}", batch=batch.code)
        old = f"{age(batch.poured_at, desk.now)} old" if batch.poured_at else "not poured yet"
        st.html(parts.tag(parts.state_of(judgement)) + f" &nbsp; {old}")
        parts.patches(parts.latest_colours(judgement))
        if judgement.verdict != "ready":
            parts.say(parts.because(judgement), "soft")


PAGE = Page("Batches", "batches", 20, render, ":material/view_list:", main=True)
