"""What `KINDS` lists, of the room, the batter or a bar; entered, and put right."""

from __future__ import annotations

import streamlit as st

from curejournal.base.messages import msg, sentence
from curejournal.batch.kinds import KINDS
from curejournal.batch.records import Batch, ScalarReading
from curejournal.ui.forms import entry
from curejournal.ui.i18n import temperature_input, tr
from curejournal.ui.page import Desk


def enter(desk: Desk, batch: Batch) -> None:
    """Ask for each quantity; one left empty was not read."""
    key = entry.form_key("room", batch)
    with st.form(key, enter_to_submit=False):
        found = {name: field(name, None, key) for name in KINDS}
        at = entry.moment(desk, key)
        if st.form_submit_button(tr(msg("Save")), type="primary", key=f"{key}-save"):
            readings = [ScalarReading(name, value) for name, value in found.items() if value is not None]
            entry.offer(desk, batch.code, readings, at, key)


def field(name: str, shown: float | None, key: str) -> float | None:
    """Ask for one quantity in its unit."""
    kind = KINDS[name]
    label = msg("{reading}, {unit}", reading=sentence(kind.words), unit=kind.unit)
    ask = temperature_input if kind.unit == "°C" else st.number_input
    return ask(label, value=shown, step=0.5, key=f"{key}-{name}")
