"""pH strips read by photo: enrol a packet's key once, then photograph the strip beside the card."""

from __future__ import annotations

from curejournal import strips
from curejournal.ui import entry, parts, strip_forms
from curejournal.ui.page import Desk, Page
from curejournal.ui.telling import st

READ, ENROL = "Read a strip", "Enrol a key"


def render(desk: Desk) -> None:
    """Draw the page."""
    parts.say(
        "A strip laid beside the card is read against its own packet’s key, with an interval. It tells no more than "
        "the strip does: gloves and goggles for the test, and a titration where it matters.",
        "lead",
    )
    keys = strips.strip_keys(desk.journal)
    kept = st.session_state.pop(strip_forms.KEPT, "")
    if kept:
        st.success(kept, icon=":material/check:")
    if keys:
        todo = st.segmented_control(
            "What next", [READ, ENROL], default=READ, required=True, key=f"{entry.form_key(strip_forms.KEY)}-todo"
        )
    else:
        todo = ENROL
        parts.say("No key is enrolled yet: begin with the packet’s key.")
    card = strip_forms.chosen_card(desk)
    if todo == ENROL:
        strip_forms.enrol(desk, card, keys)
    else:
        strip_forms.read(desk, card, keys)


PAGE = Page("pH strips", "strips", "Photos", 30, render, writes=True)
