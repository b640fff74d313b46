"""Lots: every bottle, drum and roll with its supplier and dates, and where it went."""

from __future__ import annotations

from functools import partial

import streamlit as st

from curejournal.base.messages import msg
from curejournal.batch.descriptions import describe
from curejournal.batch.stock import MaterialLot
from curejournal.ui.components import common
from curejournal.ui.forms import entry, fields
from curejournal.ui.i18n import _, localised
from curejournal.ui.page import Desk, attempt
from curejournal.workflow import stock


def render(desk: Desk) -> None:
    """Draw the page."""
    common.say(msg("Oils, lye, additives, packaging: from whom, since when, how long they keep."), "lead")
    known = stock.lots(desk.journal)
    today = desk.now.date()
    for number, lot in enumerate(sorted(known.values(), key=lambda one: (one.material, one.lot))):
        over = lot.best_before is not None and lot.best_before < today
        with st.container(key=f"row-lot-{number}"):
            common.say(describe(lot) + (msg(" (best before is over)") if over else ""))
    if not known:
        common.empty("lots", msg("No lot yet. With one, a recall finds every bar that its oil went into."))
    if not common.may_enter(desk):
        return
    st.subheader(_("Add or correct a lot"))
    names = {msg("{material}, lot {lot}", material=lot.material, lot=lot.lot): lot for lot in known.values()}
    chosen = st.selectbox(
        _("Which lot"), [None, *names], format_func=localised(lambda name: name or msg("a new lot")), key="lot-old"
    )
    key = entry.form_key(f"lot-{chosen}")
    with st.form(key):
        record = fields.fields_of(names[chosen] if chosen else MaterialLot("", ""), key)
        sent = st.form_submit_button(_("Save"), type="primary")
    if sent and isinstance(record, MaterialLot):
        made = attempt(partial(stock.enter_lot, desk.journal, record, by=desk.by, now=desk.now))
        if made is not None:
            entry.done(key)
            st.rerun()
