"""Who writes in this journal, and who is signed in."""

from __future__ import annotations

import streamlit as st

from curejournal.base.messages import msg
from curejournal.ui.components import common
from curejournal.ui.i18n import _, tr
from curejournal.ui.page import Desk, attempt
from curejournal.workflow.settings import change_settings, settings_of


def render(desk: Desk) -> None:
    """Draw the page."""
    if desk.signed_in:
        common.say(
            msg(
                "Signed in as {by}, {reads_only}.",
                by=desk.by,
                reads_only="to read" if desk.reads_only else "who signs every entry here",
            ),
            "lead",
        )
        st.html(f'<a href="/second-factor">{tr(msg("Ask for a code at sign-in"))}</a>')
        st.html(f'<a href="/sign-out">{tr("Sign out")}</a>')
        return
    common.say(msg("Each entry bears the name of the person who made it."), "lead")
    name = st.text_input(_("Your name, on every entry that you make"), desk.by, key="by-name", max_chars=80).strip()
    if name and name != desk.by:
        st.session_state["by"] = name
        others = [known for known in settings_of(desk.journal).people if known != name]
        attempt(lambda: change_settings(desk.journal, people=(name, *others)))
        st.rerun()
