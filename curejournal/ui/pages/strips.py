"""pH strips read by photo: enrol a packet's key once, then photograph the strip beside the card."""

from __future__ import annotations

import streamlit as st

from curejournal.base.messages import msg
from curejournal.ui.components import common
from curejournal.ui.forms import entry, ph_strips
from curejournal.ui.i18n import _, tr, word_of
from curejournal.ui.page import Desk
from curejournal.workflow.photos import strips

READ, ENROL = msg("Read a strip"), msg("Enrol a key")


def render(desk: Desk) -> None:
    """Draw the page."""
    common.say(
        msg(
            "A strip laid beside the card is read against its own packet’s key, with an interval. It tells no "
            "more than "
            "the strip does: gloves and goggles for the test, and a titration where it matters."
        ),
        "lead",
    )
    keys = strips.strip_keys(desk.journal)
    kept = st.session_state.pop(ph_strips.KEPT, "")
    if kept:
        st.success(tr(kept), icon=":material/check:")
    if keys:
        todo = st.segmented_control(
            _("What next"),
            [READ, ENROL],
            default=READ,
            required=True,
            key=f"{entry.form_key(ph_strips.KEY)}-todo",
            format_func=word_of,
        )
    else:
        todo = ENROL
        common.empty("strip", msg("No key is enrolled yet: begin with the packet’s key."))
    card = ph_strips.chosen_card(desk)
    if todo == ENROL:
        ph_strips.enrol(desk, card, keys)
    else:
        ph_strips.read(desk, card, keys)
