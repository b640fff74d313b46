"""Many photos at once; those that do not say where they belong wait here to be placed."""

from __future__ import annotations

from curejournal import tray
from curejournal.ui import many, parts, placing, surfaces
from curejournal.ui.page import Desk, Page, attempt
from curejournal.ui.telling import st

SHOWN = 8


def render(desk: Desk) -> None:
    """Draw the page."""
    parts.say(
        "Drop a whole camera roll here. A photo with a batch’s tag in it files itself; what cannot be told is asked. "
        "Nothing is guessed silently, nothing is dropped, and the same photo twice is one photo.",
        "lead",
    )
    card = placing.chosen_card()
    many.take_in(desk, card)
    waiting = attempt(lambda: tray.tray(desk.journal, card, desk.now)) or ()
    many.arrived(desk, card, (item.sha256 for item in waiting))
    placing.said()
    surfaces.ask_all(desk, card)
    asked = [item for item in waiting if item.state != "set aside"]
    aside = [item for item in waiting if item.state == "set aside"]
    st.subheader(f"Waiting for you: {len(asked)}" if asked else "No photo waits")
    for item in asked[:SHOWN]:
        with st.container(border=True, key=f"waiting-{item.sha256[:12]}"):
            placing.one(desk, card, item)
    if len(asked) > SHOWN:
        parts.say(f"{len(asked) - SHOWN} more wait; they come up as these are answered.", "soft")
    if aside and st.toggle(f"Set aside: {len(aside)}", key="aside"):
        for item in aside[:SHOWN]:
            with st.container(border=True, key=f"aside-{item.sha256[:12]}"):
                placing.one(desk, card, item)
    with st.expander("Print batch tags"):
        placing.print_tags(desk)


PAGE = Page("Inbox", "tray", "Photos", 20, render, writes=True)
