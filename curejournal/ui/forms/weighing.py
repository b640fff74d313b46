"""The weights of marked bars: all in one form, the scale's display beside them if wanted."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from curejournal.base.messages import msg, quantity
from curejournal.batch.kinds import GRAMS_IN_OUNCE
from curejournal.batch.records import Batch, Record, Weighing
from curejournal.ui.forms import entry
from curejournal.ui.i18n import habits, tr, weight_input
from curejournal.ui.page import Desk, plain
from curejournal.workflow.photos import Source
from curejournal.workflow.readers import USUAL
from curejournal.workflow.settings import settings_of

MARKED = ("bar 1", "bar 2", "bar 3")
"""The marks that are offered where nothing was weighed yet. Three tell a slip of one from what all do; chosen by us."""
USUAL_STEP_G = 1.0
PICTURES = ["jpg", "jpeg", "png", "heic", "heif", "webp"]


def weigh(desk: Desk, batch: Batch) -> None:
    """Ask for the weights of the marked bars."""
    key = entry.form_key("weigh", batch)
    last = {weighing.subject: weighing for _, weighing in batch.records(Weighing)}
    with st.form(key, enter_to_submit=False):
        st.caption(
            tr(msg("Always weigh the same marked bars. Leave out those you do not weigh. Enter goes to the next."))
        )
        grams = {}
        for number, subject in enumerate(last or MARKED, 1):
            label = _label(number, last.get(subject) or Weighing(subject, 0.0))
            grams[subject] = weight_input(label, value=None, step=0.1, key=f"{key}-of-{subject}")
        with st.expander(tr(msg("Another bar or tray"))):
            name = st.text_input(tr(msg("Its mark")), key=f"{key}-name", max_chars=80)
            new_grams = weight_input(msg("Grams"), value=None, step=0.1, key=f"{key}-new")
            new_bars = st.number_input(tr(msg("Bars on the scale")), value=1, min_value=1, step=1, key=f"{key}-bars")
        used = next(reversed(last.values())).resolution_g if last else settings_of(desk.journal).scale_step_g
        step = _scale_step(used, f"{key}-step")
        with st.expander(tr(msg("A photo of the scale’s display"))):
            display = st.file_uploader(
                tr(msg("Kept beside the weights; nothing is read from it")), type=PICTURES, key=f"{key}-display"
            )
        at = entry.moment(desk, key)
        sent = st.form_submit_button(tr(msg("Save")), type="primary", key=f"{key}-save")
    if sent:
        records: list[Record] = [
            replace(last.get(subject) or Weighing(subject, value), grams=value, resolution_g=step, confirmed=False)
            for subject, value in grams.items()
            if value is not None
        ]
        if new_grams is not None:
            records.append(Weighing(name.strip(), new_grams, step, bars=int(new_bars)))
        photo = Source(display.name, display.getvalue) if display is not None else None
        entry.offer(desk, batch.code, records, at, key, photo=photo, settings={"scale_step_g": step})


def _label(number: int, last: Weighing) -> str:
    bars = msg(", {bars} bars", bars=last.bars) if last.bars > 1 else ""
    if not last.grams:
        return msg("{number}. {subject}: grams", number=number, subject=plain(last.subject))
    return msg(
        "{number}. {subject}{bars}: grams (last {grams})",
        number=number,
        subject=plain(last.subject),
        bars=bars,
        grams=quantity(f"{last.grams:g}", "g"),
    )


def _scale_step(used_g: float | None, key: str) -> float:
    """Ask for the scale's step in the maker's unit, beginning with the one used last; in grams."""
    unit, grams, steps, usual = (
        ("g", 1.0, (0.01, 0.1, 0.5, 1.0, 2.0, 5.0), USUAL_STEP_G)
        if habits().units == USUAL.units
        else ("oz", GRAMS_IN_OUNCE, (0.001, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2), 0.05)
    )
    used = usual if used_g is None else round(used_g / grams, 4)
    options = sorted({*steps, used})
    chosen: float = st.selectbox(
        tr(msg("Step of the scale, {unit}", unit=unit)),
        options,
        index=options.index(used),
        key=f"{key}-{unit}",
        help=tr(msg("The step of its display: 1 g or 0.1 g. It is remembered.")),
    )
    return used_g if used_g is not None and chosen == used else chosen * grams
