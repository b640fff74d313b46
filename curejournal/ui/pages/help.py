"""Cautions, what the words mean, and what this program does not do."""

from __future__ import annotations

from importlib.metadata import version

import streamlit as st

from curejournal.base.messages import msg
from curejournal.judging.judgement import LOCAL_CODES, LYE, STRIPS
from curejournal.ui.components import common
from curejournal.ui.components.glossary import CHECK_WORDS, GRADES, SIGNS, STATES, TRADE
from curejournal.ui.i18n import _, tr
from curejournal.ui.page import Desk


def render(desk: Desk) -> None:
    """Draw the page."""
    st.subheader(_("Cautions"))
    for caution in (LYE, STRIPS, LOCAL_CODES):
        common.say(caution)
    common.say(
        msg(
            "This program never says that a soap is safe. It says what was measured, how sure that is, and what your "
            "rules make of it."
        )
    )
    for title, words in (
        (msg("Verdicts and checks"), SIGNS),
        (msg("What the checks look at"), CHECK_WORDS),
        (msg("What a colour can be doing"), STATES),
        (msg("Grades of a reading"), GRADES),
        (msg("Words of the trade"), TRADE),
    ):
        with st.expander(tr(title)):
            common.values(words)
    common.values({msg("Program"): msg("curejournal {version}, MIT licence", version=version("curejournal"))})
    common.say(
        msg(
            "Everything stays on this computer; nothing is sent anywhere. Nothing that you enter is overwritten: "
            "corrections are new entries."
        ),
        "soft",
    )
