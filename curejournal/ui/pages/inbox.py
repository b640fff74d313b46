"""Many photos at once; those that do not say where they belong wait here to be placed."""

from __future__ import annotations

import streamlit as st

from curejournal.base.messages import msg
from curejournal.ui.components import common
from curejournal.ui.forms import photo_answers, photo_import, surface
from curejournal.ui.i18n import _, tr
from curejournal.ui.page import Desk, attempt
from curejournal.workflow import photos

SHOWN = 8


def render(desk: Desk) -> None:
    """Draw the page."""
    common.say(
        msg(
            "Drop a whole camera roll here. A photo with a batch’s tag in it files itself; what cannot be told "
            "is asked. "
            "Nothing is guessed silently, nothing is dropped, and the same photo twice is one photo."
        ),
        "lead",
    )
    card = photo_answers.chosen_card()
    photo_import.take_in(desk, card)
    waiting = attempt(lambda: photos.inbox_items(desk.journal, card, desk.now)) or ()
    photo_import.arrived(desk, card, (item.sha256 for item in waiting))
    photo_answers.said()
    surface.ask_all(desk, card)
    asked = [item for item in waiting if item.state != "set aside"]
    aside = [item for item in waiting if item.state == "set aside"]
    if asked:
        st.subheader(tr(msg("Waiting for you: {asked}", asked=len(asked))))
    else:
        common.empty("roll", msg("No photo waits. One that does not say where it belongs is asked about here."))
    for item in asked[:SHOWN]:
        with st.container(border=True, key=f"waiting-{item.sha256[:12]}"):
            photo_answers.one(desk, card, item)
    if len(asked) > SHOWN:
        common.say(msg("{shown} more wait; they come up as these are answered.", shown=len(asked) - SHOWN), "soft")
    if aside and st.toggle(_("Set aside: {aside}", aside=len(aside)), key="aside"):
        for item in aside[:SHOWN]:
            with st.container(border=True, key=f"aside-{item.sha256[:12]}"):
                photo_answers.one(desk, card, item)
    with st.expander(_("Print batch tags")):
        photo_answers.print_tags(desk)
