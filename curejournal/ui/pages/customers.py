"""Customers: an order over several batches, a recall with its list to call, what somebody got, and erasing a name."""

from __future__ import annotations

from functools import partial
from typing import get_args

import streamlit as st

from curejournal.base.messages import Day, msg
from curejournal.batch.records import WhyOut
from curejournal.ui.components import common
from curejournal.ui.forms import business, entry, recall
from curejournal.ui.i18n import _, localised, tr, word_of
from curejournal.ui.page import Desk, attempt
from curejournal.ui.state import cache
from curejournal.workflow import customers

LINES = 4
"""Batches that one order may take at first; more are asked for as they are used. Chosen by us."""


def render(desk: Desk) -> None:
    """Draw the page."""
    names = desk.journal.names()
    if not names:
        common.empty("shelf", msg("No batch yet. Orders take bars of batches that were cut."))
        common.first_act(desk, "batches", msg("Start a batch"))
        return
    common.chosen(msg("What"), PARTS, "customers-what")(desk, names)


def _order(desk: Desk, names: dict[str, str]) -> None:
    common.say(msg("Bars of one batch or several go to one customer: all of the order is kept, or nothing."), "lead")
    if not common.may_enter(desk):
        return
    key = entry.form_key("order")
    with st.form(key):
        known = [one.name for one in desk.journal.contacts() if not one.erased]
        old = st.selectbox(_("Who"), known, None, key=f"{key}-known", placeholder=_("choose")) if known else None
        name = (
            st.text_input(tr(msg("Or a new name") if known else msg("Who")), key=f"{key}-who", max_chars=120).strip()
            or old
        )
        details = st.text_input(_("How to reach them in a recall"), key=f"{key}-details", max_chars=200)
        order = st.text_input(_("Order"), key=f"{key}-order", max_chars=80)
        why: WhyOut = st.selectbox(_("Why"), get_args(WhyOut), key=f"{key}-why", format_func=word_of)
        lines = []
        for line in range(LINES):
            with st.container(horizontal=True, key=f"{key}-line-{line}"):
                code = st.selectbox(
                    _("Batch"),
                    list(names),
                    None,
                    format_func=localised(lambda c: msg("{code} · {name}", code=c, name=names[c])),
                    key=f"{key}-code-{line}",
                    placeholder=_("choose"),
                )
                bars = st.number_input(_("Bars"), 0, 100_000, 0, key=f"{key}-bars-{line}", width=120)
            if code is not None and bars:
                lines.append((code, int(bars)))
        at = entry.moment(desk, key)
        sent = st.form_submit_button(_("Save"), type="primary")
    fill = partial(
        customers.fill_order,
        desk.journal,
        lines,
        name=name or "",
        details=details,
        order=order,
        why=why,
        at=at,
        by=desk.by,
        now=desk.now,
    )
    made = business.keep_or_ask(key, fill, sent=sent)
    if made is not None:
        entry.done(key)
        st.session_state["order-kept"] = len(made)
        st.rerun()


def _recall(desk: Desk, names: dict[str, str]) -> None:
    common.say(msg("Who has bars of a batch, or of anything that a lot went into? The list to call, at once."), "lead")
    lot = st.text_input(_("A lot (empty: choose a batch below)"), key="recall-lot", max_chars=80).strip()
    if lot:
        people, of = customers.who_has_lot(desk.journal, lot), f"lot-{lot}"
    else:
        code = common.chosen_batch(desk, "recall")
        if code is None:
            return
        people, of = customers.recall_list(desk.journal, code), code
    recall.listed(people, of)


def _got(desk: Desk, names: dict[str, str]) -> None:
    common.say(msg("What did this customer get, bring back, complain of?"), "lead")
    known = {one.id: one.name for one in desk.journal.contacts() if not one.erased}
    if not known:
        common.empty("shelf", msg("No customer yet: the first comes with the first order."))
        return
    contact = st.selectbox(_("Who"), list(known), None, format_func=localised(known.__getitem__), key="got-who")
    if contact is None:
        return
    common.listed(customers.history_words(desk.journal, contact))
    if not common.may_enter(desk):
        return
    with st.expander(_("Erase this name")):
        common.say(
            msg(
                "The name and how to reach them are erased for good; what they got stays on record without it. "
                "Backups and "
                "exports that were made before still hold it: delete those yourself."
            )
        )
        why = st.text_input(_("Who asked for it, and when"), key=f"erase-why-{contact}", max_chars=200)
        if st.button(_("Erase the name"), key=f"erase-{contact}"):
            erase = partial(customers.erase_name, desk.journal, contact, why=why, by=desk.by, now=desk.now)
            if attempt(erase) is not None:
                st.rerun()


def _complaints(desk: Desk, names: dict[str, str]) -> None:
    common.say(msg("Complaints that have no outcome yet. A new one is entered at its batch."), "lead")
    found = customers.open_complaints(desk.journal)
    if not found:
        common.say(msg("None is open."))
    for number, (code, item) in enumerate(found):
        with st.container(key=f"row-complaint-{number}"):
            common.way(desk, "batch", msg("{code} · {name}", code=code, name=names[code]), batch=code)
            common.say(msg("{at}: {what}", at=Day(item.at), what=item.record.what), "soft")
            if item.photo:
                st.image(cache.small_picture(desk.journal, item.photo, 640), width=320)


PARTS = {
    msg("An order"): _order,
    msg("Recall"): _recall,
    msg("What did they get?"): _got,
    msg("Complaints"): _complaints,
}
