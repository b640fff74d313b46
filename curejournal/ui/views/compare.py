"""Two measured colours side by side: two dates of a portion, or two batches."""

from __future__ import annotations

import streamlit as st

from curejournal import workflow
from curejournal.cure.records import ColourReading
from curejournal.report import wording
from curejournal.ui import parts, story
from curejournal.ui.page import Desk, Page

NEEDED = "Two measured photos are needed: of one batch on two days, or of two batches."


def render(desk: Desk) -> None:
    """Draw the page."""
    known = story.portions_seen(desk.journal.all_batches())
    if not known:
        parts.say(NEEDED)
        parts.way(desk, "photos", "Take in a photo")
        return
    asked = st.query_params.get("batch", "")
    first = next((name for name, seen in known.items() if seen.batch.code == asked), next(iter(known)))
    columns = st.columns(2)
    chosen: list[ColourReading] = []
    for column, side, at_start in zip(columns, ("left", "right"), (True, False), strict=True):
        with column:
            name = st.selectbox(f"On the {side}", list(known), list(known).index(first), key=f"{side}-{asked}")
            chosen.append(story.one_reading(desk, known[name], f"{side}-{name}", at_start))
    parts.say(_apart(*chosen), "verdict")
    parts.say("Both are measured colours; how far they are off is told with each.", "soft")


def _apart(left: ColourReading, right: ColourReading) -> str:
    if left is right:
        return f"The same reading twice. {NEEDED}"
    between = workflow.difference(left, right)
    sure = "They differ." if between.low > 0 else "A difference is not proven."
    return f"ΔE00 {wording.figure(between)} between them. {sure} About 1 is just noticeable side by side."


PAGE = Page("Side by side", "compare", 35, render, ":material/compare:")
