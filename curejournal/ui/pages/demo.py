"""The demo journal, made and looked at from here; the maker's own stays as it is."""

from __future__ import annotations

import streamlit as st

from curejournal.base.messages import msg
from curejournal.journal.store import Journal
from curejournal.ui.components import common
from curejournal.ui.i18n import _
from curejournal.ui.page import Desk
from curejournal.ui.state import background, journal_choice
from curejournal.workflow import demo

NAME = "demo"


def render(desk: Desk) -> None:
    """Draw the page."""
    common.say(
        msg(
            "Eight batches of an invented workshop, in every state that a batch can be in. Their colours are measured "
            "from pictures on this computer, which takes a minute or two the first time."
        ),
        "lead",
    )
    if desk.stands_still:
        common.say(msg("You are looking at it. Try anything: nothing of it reaches another journal."))
        common.way(desk, "today", msg("See what is due in it"))
        return
    place = str(desk.journal.location)
    common.say(msg("It is a journal by itself. Nothing in yours is changed, and one press brings you back."))
    if background.done(place, NAME) is not None:
        background.put_away(place, NAME)
        journal_choice.turn_to(demo=True)
        st.switch_page(desk.ways["today"])
    if background.of(place, NAME) is not None:
        common.say(msg("It is being made. You can leave this page and come back."), "soft")
    elif st.button(_("Look at the demo journal"), key="demo-go", type="primary"):
        background.begin(place, NAME, msg("Measuring the demo’s pictures"), _make)
        st.rerun()


def _make(tell: background.Tell) -> None:
    with Journal.open(journal_choice.DEMO) as journal:
        demo.build_demo(journal, demo.pictures_folder(), lambda step: tell(step.done / step.total, step.words))
