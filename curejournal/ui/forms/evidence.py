"""Small forms of what counts as evidence: weighing checks, packets of strips, a colour that is accepted as it is."""

from __future__ import annotations

from functools import partial
from typing import get_args

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg
from curejournal.batch.records import Batch, PacketCheck, Weighed, WeighedHow, WeighingCheck
from curejournal.judging.colour_states import State
from curejournal.judging.judgement import Judgement
from curejournal.ui.components import common
from curejournal.ui.forms import entry
from curejournal.ui.i18n import _, weight_input, word_of
from curejournal.ui.page import Desk, attempt

TITRATION = msg(
    "How a titration is done: dissolve 5 to 10 g of shavings from several places in 100 ml of ethanol that was made "
    "neutral to phenolphthalein beforehand, with gentle warmth from a water bath. Ethanol burns: no flame, no hot "
    "plate, windows open. Add three drops of phenolphthalein. If it stays colourless, no free lye is found. If it "
    "turns pink, add 0.1 mol/l hydrochloric acid drop by drop until the pink is gone, and read the volume. Do the same "
    "without soap: that is the blank. Two or three titrations of different bars tell more than one. Goggles and "
    "gloves; if this is new to you, let a laboratory do it."
)
"""After ISO 456 and AOCS Da 4a [from memory]; the cautions are those of the materials."""


def weighing_check(desk: Desk, batch: Batch) -> None:
    """What guards against a blunder in the recipe's weights."""
    key = entry.form_key("weighed", batch)
    with st.form(key):
        st.caption(_("Without a titration, the recipe carries the verdict: say what makes a blunder in it unlikely."))
        covers: Weighed = st.radio(_("What was checked?"), get_args(Weighed)[::-1], key=f"{key}-covers")
        how: WeighedHow = st.radio(_("How?"), get_args(WeighedHow), key=f"{key}-how", format_func=word_of)
        batter = weight_input(msg("All batter, without its pot, g"), value=None, step=1.0, key=f"{key}-batter")
        at = entry.moment(desk, key)
        if st.form_submit_button(_("Save"), type="primary"):
            entry.offer(desk, batch.code, [WeighingCheck(covers, how, batter)], at, key)


def packet_check(desk: Desk, batch: Batch) -> None:
    """Strips of a packet beside a calibrated meter, in the same soap solution."""
    key = entry.form_key("packet", batch)
    with st.form(key):
        st.caption(
            _("Once for each packet, in soap: strips may read up to three units low. It counts for all batches.")
        )
        packet = st.text_input(_("Packet"), key=f"{key}-packet", max_chars=80)
        strip = st.number_input(_("The strip read"), value=None, step=0.5, key=f"{key}-strip")
        half = st.number_input(_("Half a step of the strip"), value=0.5, min_value=0.05, step=0.05, key=f"{key}-half")
        meter = st.number_input(_("The calibrated meter read"), value=None, step=0.1, format="%.2f", key=f"{key}-meter")
        at = entry.moment(desk, key)
        if st.form_submit_button(_("Save"), type="primary") and strip is not None and meter is not None:
            entry.offer(desk, batch.code, [PacketCheck(packet.strip(), strip, meter, half)], at, key)


def accept_colour(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    """Offer to accept, with a reason, each colour that came to rest off its target."""
    for portion, series in judgement.journeys.items():
        if series.state is not State.STABLE_OFF:
            continue
        key = entry.form_key(f"accept-{portion}", batch)
        with st.form(key):
            common.say(
                msg(
                    "{portion}: {words}. Its target and what materials did stay as they are.",
                    portion=portion,
                    words=series.words,
                )
            )
            why = st.text_input(_("Why you accept it as it is"), key=f"{key}-why", max_chars=500)
            sent = st.form_submit_button(_("Accept its colour"))
        if sent:
            act = partial(workflow.accepted_colour, desk.journal, batch.code, portion, why.strip(), desk.now)
            record = attempt(act)
            if record is not None:
                entry.offer(desk, batch.code, [record], desk.now, key)
