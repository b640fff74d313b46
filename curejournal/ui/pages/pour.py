"""The pouring day: all loaves of the day, one press from each other, and large buttons for what happens."""

from __future__ import annotations

import streamlit as st

from curejournal.base.messages import msg
from curejournal.ui.components import common
from curejournal.ui.forms import pouring
from curejournal.ui.page import Desk


def render(desk: Desk) -> None:
    """Draw the page."""
    batches = pouring.of_the_day(desk)
    if not batches:
        common.empty("mould", msg("Nothing is being poured today. A batch stands here from its start until its cut."))
        common.first_act(desk, "batches", msg("Start a batch"))
        return
    codes = [batch.code for batch in batches]
    asked = st.session_state.get("poured-now") or st.query_params.get("batch", "")
    current = batches[codes.index(asked) if asked in codes else 0]
    st.session_state["poured-now"] = code = pouring.show(desk, current, batches, key="pour")
    with st.container(horizontal=True, key="act-pour"):
        common.way(desk, "photos", msg("Add photos"), ":material/photo_camera:", batch=code)
        common.way(desk, "batch", msg("All about this batch"), batch=code)
