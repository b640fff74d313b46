"""What is seen on the bars, chosen by its picture; entered, and put right."""

from __future__ import annotations

from collections.abc import Mapping
from typing import get_args

import streamlit as st

from curejournal.base.messages import msg
from curejournal.batch.records import Batch, SurfaceLook, SurfaceNote
from curejournal.documents.surface_sketches import surface_sketch
from curejournal.ui.components.choices import pictured
from curejournal.ui.forms import entry
from curejournal.ui.i18n import tr, word_of
from curejournal.ui.page import Desk

LOOKS: Mapping[SurfaceLook, str] = {
    "clear": msg("Even and dry, nothing on it."),
    "ash": msg("A white, powdery film, mostly on top. It can be planed or steamed off."),
    "orange spots": msg("Orange or brown specks, often with a stale smell: oil that turns rancid."),
    "sweat": msg("Small clear beads in damp air: glycerine draws water. They dry again."),
    "lye pocket": msg("A hole or white vein with clear liquid in it. It may be lye: gloves, and do not sell it."),
    "weeping": msg("Liquid runs out and stays wet. It may be lye or oil: gloves, and do not sell it."),
}
"""What each finding looks like [common practice, no source]."""


def check(desk: Desk, batch: Batch) -> None:
    """Ask what the bars look like."""
    key = entry.form_key("look", batch)
    with st.form(key, enter_to_submit=False):
        found = fields(SurfaceNote("clear"), key)
        at = entry.moment(desk, key)
        if st.form_submit_button(tr(msg("Save")), type="primary", key=f"{key}-save"):
            entry.offer(desk, batch.code, [found], at, key)


def fields(shown: SurfaceNote, key: str) -> SurfaceNote:
    """Ask what was seen, beginning with what it shows."""
    looks = get_args(SurfaceLook)
    with pictured([surface_sketch(look) for look in looks], f"{key}-pictures"):
        look: SurfaceLook = st.radio(
            tr(msg("What do the bars look like?")),
            looks,
            looks.index(shown.look),
            key=f"{key}-look",
            format_func=word_of,
            captions=[tr(LOOKS[look]) for look in looks],
        )
    more = any(value is not None for value in (shown.count, shown.area_pct, shown.set_aside)) or shown.outside_only
    with st.expander(tr(msg("How many, how much of it")), expanded=more):
        count = st.number_input(tr(msg("How many spots")), value=shown.count, min_value=0, step=1, key=f"{key}-count")
        area = st.number_input(tr(msg("Part of the surface, %")), value=shown.area_pct, step=1.0, key=f"{key}-area")
        outside = st.checkbox(
            tr(msg("Only the outside was looked at, no cut face")), shown.outside_only, key=f"{key}-outside"
        )
        aside = st.number_input(
            tr(msg("Affected bars set aside")), value=shown.set_aside, min_value=0, step=1, key=f"{key}-aside"
        )
    note = st.text_input(tr(msg("Remark")), shown.note, key=f"{key}-note", max_chars=500)
    number, taken = (None if one is None else int(one) for one in (count, aside))
    return SurfaceNote(look, number, area, note.strip(), outside, taken)
