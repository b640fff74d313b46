"""What is due and why, each with the way to do it there."""

from __future__ import annotations

import streamlit as st

from curejournal import publish, workflow
from curejournal.cure.judgement import DueThing
from curejournal.cure.records import Batch
from curejournal.report.wording import day
from curejournal.ui import cache, entry, parts
from curejournal.ui.page import Desk, Page, plain

WAYS = {
    "photograph": ("photos", "Take in a photo", ":material/photo_camera:"),
    "release": ("batch", "Look at the evidence and sign", ":material/draw:"),
    "decide": ("batch", "Look at the evidence and decide", ":material/balance:"),
    "complete": ("batch", "Complete the record", ":material/edit:"),
}
"""Things that are done on another page."""

HERE = {"weigh": "Enter weights here", "test": "Enter a test here", "look": "Enter a look here"}
"""Things that are done on the spot."""


def render(desk: Desk) -> None:
    """Draw the page."""
    judged = cache.open_judged(desk)
    if not desk.journal.all_batches():
        _first_steps(desk)
        return
    due = workflow.all_due(judged)
    now = [(batch, thing) for batch, thing in due if thing.when <= desk.now]
    later = [(batch, thing) for batch, thing in due if thing.when > desk.now]
    parts.say(f"{day(desk.now)}. {len(now)} things to do now." if now else f"{day(desk.now)}. Nothing is due.", "lead")
    for batch, judgement in judged:
        for question in judgement.recall:
            st.error(f"{plain(batch.code)}: {plain(question)}", icon=":material/back_hand:")
    for batch, thing in now:
        _thing(desk, batch, thing)
    if later:
        st.subheader("Coming up")
        parts.listed(f"{day(thing.when)}: {thing.words}, {batch.code} {batch.name}" for batch, thing in later[:12])
        st.download_button(
            "Into my calendar (ICS)",
            lambda: publish.calendar_file(desk.journal, desk.now, desk.zone),
            "soap.ics",
            "text/calendar",
            key="calendar",
        )


def _thing(desk: Desk, batch: Batch, thing: DueThing) -> None:
    key = f"{batch.code}-{thing.what}-{thing.words}"
    with st.container(key=f"row-{key}"):
        st.markdown(f"**{plain(thing.words)}** · {plain(batch.code)} {plain(batch.name)}")
        since = "now" if thing.when.date() == desk.now.date() else f"since {day(thing.when)}"
        parts.say(f"Due {since}. {parts.sentence(thing.why)}", "soft")
        with st.container(horizontal=True, vertical_alignment="center", key=f"act-{key}"):
            if thing.what in WAYS:
                slug, label, icon = WAYS[thing.what]
                parts.way(desk, slug, label, icon, batch=batch.code)
            else:
                here = not desk.reads_only and st.toggle(HERE[thing.what], key=f"do-{key}")
            if thing.what in HERE or thing.what == "photograph":
                parts.way(desk, "batch", "Open the batch", batch=batch.code)
        if thing.what in HERE and here:
            entry.FORMS[thing.what](desk, batch)
            entry.ask(desk, batch.code)


def _first_steps(desk: Desk) -> None:
    parts.say(
        "This journal follows your soap from the pour to the release: its colour from photos, its weight, its alkali. "
        "It is empty. Three steps to a first measured colour:",
        "lead",
    )
    steps = (
        (
            "cards",
            "1. Print the window card",
            "It lies in the photo beside or on the soap, so that colours can be told in any light. "
            "A 24-patch colour chart does as well.",
        ),
        (
            "batches",
            "2. Start a batch",
            "A code and a name are enough. With its recipe the lye is checked before you pour.",
        ),
        ("photos", "3. Take a photo", "Card and soap in one picture, in daylight. Its colour is shown at once."),
    )
    for slug, label, words in steps:
        with st.container(key=f"row-step-{slug}"):
            parts.way(desk, slug, label)
            parts.say(words, "soft")
    st.info(
        "Rather look around first? In a terminal, `curejournal demo` opens a second journal with eight invented "
        "batches, measured from pictures. Yours stays as it is."
    )


PAGE = Page("Today", "today", 10, render, ":material/today:", main=True)
