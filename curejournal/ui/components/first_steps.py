"""What a maker sees first: three steps to a measured colour, and a demo to look around in."""

from __future__ import annotations

import streamlit as st

from curejournal.base.messages import msg
from curejournal.ui.components import common
from curejournal.ui.page import Desk


def show(desk: Desk) -> None:
    """Draw them."""
    common.empty("photo", msg("Your journal is empty. Three steps to a first measured colour:"))
    steps = (
        (
            "cards",
            msg("1. Print the window card"),
            msg(
                "In the photo, it tells colours in any light. No printer? A 24-patch chart does as well, or white "
                "paper "
                "to begin with."
            ),
        ),
        (
            "batches",
            msg("2. Start a batch"),
            msg("A name is enough. With its recipe the lye is checked before you pour."),
        ),
        (
            "photos",
            msg("3. Take a photo"),
            msg("Card and soap in one picture, in daylight. Its colour is shown at once."),
        ),
    )
    for slug, label, words in steps:
        with st.container(key=f"row-step-{slug}"):
            common.way(desk, slug, label)
            common.say(words, "soft")
    with st.container(key="row-step-demo"):
        common.way(desk, "demo", msg("Rather look around first?"))
        common.say(
            msg("A demo journal stands beside yours, with eight invented batches. Yours stays as it is."), "soft"
        )
