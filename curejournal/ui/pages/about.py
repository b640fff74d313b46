"""Cautions, what the words mean, and what this program does not do."""

from __future__ import annotations

from importlib.metadata import version

from curejournal.judging.judgement import LOCAL_CODES, LYE, STRIPS
from curejournal.ui.components import common
from curejournal.ui.components.glossary import CHECK_WORDS, GRADES, SIGNS, STATES, TRADE
from curejournal.ui.i18n import st
from curejournal.ui.page import Desk, Page


def render(desk: Desk) -> None:
    """Draw the page."""
    st.subheader("Cautions")
    for caution in (LYE, STRIPS, LOCAL_CODES):
        common.say(caution)
    common.say(
        "This program never says that a soap is safe. It says what was measured, how sure that is, and what your "
        "rules make of it."
    )
    for title, words in (
        ("Verdicts and checks", SIGNS),
        ("What the checks look at", CHECK_WORDS),
        ("What a colour can be doing", STATES),
        ("Grades of a reading", GRADES),
        ("Words of the trade", TRADE),
    ):
        with st.expander(title):
            common.values(words)
    common.values({"Program": f"curejournal {version('curejournal')}, MIT licence"})
    common.say(
        "Everything stays on this computer; nothing is sent anywhere. Nothing that you enter is overwritten: "
        "corrections are new entries.",
        "soft",
    )


PAGE = Page("Help", "help", "Help", 10, render)
