"""Cautions, what the words mean, and what this program does not do."""

from __future__ import annotations

from importlib.metadata import version

import streamlit as st

from curejournal import workflow
from curejournal.cure.judgement import LOCAL_CODES, LYE, STRIPS
from curejournal.ui import parts
from curejournal.ui.page import Desk, Page, attempt, plain
from curejournal.ui.wordlist import GAUGE_WORDS, GRADES, SIGNS, STATES, TRADE


def render(desk: Desk) -> None:
    """Draw the page."""
    st.subheader("Cautions")
    for caution in (LYE, STRIPS, LOCAL_CODES):
        parts.say(caution)
    parts.say(
        "This program never says that a soap is safe. It says what was measured, how sure that is, and what your "
        "rules make of it."
    )
    for title, words in (
        ("Verdicts and gauges", SIGNS),
        ("What the gauges look at", GAUGE_WORDS),
        ("What a colour can be doing", STATES),
        ("Grades of a reading", GRADES),
        ("Words of the trade", TRADE),
    ):
        with st.expander(title):
            parts.values(words)
    st.subheader("This journal")
    with st.form("backup"):
        folder = st.text_input(
            "Back up into this folder of this computer (a stick or another disk)", key="backup-folder"
        )
        sent = st.form_submit_button("Make a backup", type="primary")
    made = attempt(lambda: workflow.back_up(desk.journal, folder)) if sent else None
    if made is not None:
        st.success(f"Verified and kept: {plain(str(made.path))}, with {made.photos} photos.", icon=":material/check:")
    if st.button("Check every photo and entry", key="check"):
        problems = desk.journal.check()
        parts.say("Everything verifies." if not problems else f"{len(problems)} things are not as they should be:")
        parts.listed(f"{problem.where}: {problem.what}" for problem in problems)
    parts.values(
        {"Kept in": str(desk.journal.location), "Program": f"curejournal {version('curejournal')}, MIT licence"}
    )
    parts.say(
        "Everything stays on this computer; nothing is sent anywhere. Nothing that you enter is overwritten: "
        "corrections are new entries.",
        "soft",
    )


PAGE = Page("About", "about", 60, render, ":material/info:")
