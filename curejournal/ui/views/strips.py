"""pH strips read by photo: enrol a packet's key once, then photograph the strip beside the card."""

from __future__ import annotations

from curejournal import strips
from curejournal.ui import parts, strip_forms
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
    if not keys:
        parts.say("No key is enrolled yet: begin with the packet’s key.")
    todo = st.segmented_control(
        "What next", [READ, ENROL], default=READ if keys else ENROL, required=True, key="strip-todo"
    )
    card = strip_forms.chosen_card(desk)
    if todo == ENROL or not keys:
        strip_forms.enrol(desk, card)
    else:
        strip_forms.read(desk, card, keys)


PAGE = Page("pH strips", "strips", 34, render, ":material/water_ph:", writes=True)
