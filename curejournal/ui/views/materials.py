"""What each material did in all batches, lot by lot, and what to expect of it."""

from __future__ import annotations

import streamlit as st

from curejournal import publish
from curejournal.cure.materials import History
from curejournal.report.wording import day
from curejournal.ui import cache, parts
from curejournal.ui.page import Desk, Page, plain


def render(desk: Desk) -> None:
    """Draw the page."""
    known = {history.material: history for history in cache.materials(desk)}
    if not known:
        parts.say("No recipe names a material yet. Enter one when you start a batch, with its lot.")
        parts.way(desk, "batches", "Start a batch")
        return
    parts.say("Which fragrance turned the batter, and did it come back? All batches together.", "lead")
    kinds = list(dict.fromkeys(history.kind for history in known.values()))
    kind = st.pills("Kind", kinds, default="fragrance" if "fragrance" in kinds else None, key="kind")
    names = [name for name, history in known.items() if kind in (None, history.kind)]
    labels = {name: f"{name} ({_batches(known[name])})" for name in names}
    name = st.selectbox("Material", names, key=f"material-{kind}", format_func=labels.__getitem__)
    _one(desk, known[name])


def _batches(history: History) -> str:
    return "1 batch" if len(history.batches) == 1 else f"{len(history.batches)} batches"


def _one(desk: Desk, history: History) -> None:
    report = cache.material(desk, history.material)
    parts.values(dict(publish.material_in_words(report)))
    st.subheader("Batches and lots")
    for use in history.uses:
        story = use.story
        with st.container(key=f"row-{story.batch}-{story.portion}"):
            parts.way(desk, "batch", f"{story.batch} · {story.name}, {story.portion}", batch=story.batch)
            dose = "" if use.ingredient.dose_pct is None else f", {use.ingredient.dose_pct:.1f} % of the oils"
            lot = f"lot {use.ingredient.lot}" if use.ingredient.lot else "no lot noted"
            poured = f", poured {day(story.poured_at)}" if story.poured_at else ""
            parts.say(f"{use.ingredient.grams:g} g{dose}, {lot}{poured}. It {story.outcome}.", "soft")
            parts.patches(parts.patch(point.lab, day(point.at), size="half") for point in story.journey.points)
    st.download_button(
        f"Fact sheet on {plain(history.material)} (PDF)",
        lambda: publish.fact_sheet(desk.journal, history.material, desk.now),
        f"{history.material}.pdf",
        "application/pdf",
        key="fact-sheet",
    )


PAGE = Page("Materials", "materials", 45, render, ":material/science:")
