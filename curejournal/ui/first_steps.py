"""What a maker sees first: three steps to a measured colour, and a demo to look around in."""

from __future__ import annotations

import streamlit as st

from curejournal.ui import parts
from curejournal.ui.page import Desk


def show(desk: Desk) -> None:
    """Draw them."""
    parts.say(
        "This journal follows your soap from the pour to the release: its colour from photos, its weight, its alkali. "
        "It is empty. Three steps to a first measured colour:",
        "lead",
    )
    steps = (
        (
            "cards",
            "1. Print the window card",
            "It lies in the photo on or beside the soap, so that colours can be told in any light. "
            "No printer? A 24-patch colour chart does as well, and plain white paper for a beginning.",
        ),
        (
            "batches",
            "2. Start a batch",
            "A name is enough. With its recipe the lye is checked before you pour.",
        ),
        ("photos", "3. Take a photo", "Card and soap in one picture, in daylight. Its colour is shown at once."),
    )
    for slug, label, words in steps:
        with st.container(key=f"row-step-{slug}"):
            parts.way(desk, slug, label)
            parts.say(words, "soft")
    with st.container(key="row-step-demo"):
        parts.way(desk, "demo", "Rather look around first?")
        parts.say("A demo journal stands beside yours, with eight invented batches. Yours stays as it is.", "soft")
