"""What stands first on every page: bars that may have to be called back, answered on the spot; and what is on hold."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from functools import partial

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg, msg_n
from curejournal.batch.records import Act, Decision
from curejournal.ui.components import common
from curejournal.ui.forms import entry
from curejournal.ui.i18n import _, tr
from curejournal.ui.page import Desk, attempt, plain
from curejournal.ui.state import due_cache
from curejournal.ui.state.due_cache import Glance
from curejournal.workflow import customers

ANSWERING, CALLED, DRAWN = "recall-answer", "called-back", "recalls-drawn"
HOLDS = 3
"""Batches on hold that are named on every page; Today has all. Ours: more would hide the page."""


def first(desk: Desk, page: str) -> None:
    """Draw them."""
    _called(desk)
    glances = due_cache.look(desk).glances
    st.session_state[DRAWN] = {one.code for one in glances if one.recall}
    here = st.query_params.get("batch", "") if page == "batch" else ""
    for glance in sorted(glances, key=lambda one: one.code != here):
        if glance.recall:
            box(desk, glance.code, glance.name, glance.recall)
    # Today has what is on hold with what to do about it, and a batch its own verdict.
    held = [one for one in glances if one.held and not one.recall and one.code != here]
    if held and page != "today":
        _holds(desk, held)


def of_batch(desk: Desk, code: str, name: str, questions: Sequence[str]) -> None:
    """Draw the question about one batch, unless it stands above already: not all batches may be looked at yet."""
    if questions and code not in st.session_state.get(DRAWN, ()):
        box(desk, code, name, questions)


def _holds(desk: Desk, held: Sequence[Glance]) -> None:
    with st.container(horizontal=True, vertical_alignment="center", key="holds"):
        st.html(common.tag("on hold"), width="content")
        for glance in held[:HOLDS]:
            common.way(desk, "batch", msg("{code} · {name}", code=glance.code, name=glance.name), batch=glance.code)
        if len(held) > HOLDS:
            more = msg_n("{number} more batch", "{number} more batches", len(held) - HOLDS)
            common.way(desk, "today", more)


def box(desk: Desk, code: str, name: str, questions: Sequence[str]) -> None:
    """Draw the question about bars that have gone out, with its two answers."""
    with st.container(border=True, key=f"recall-{code}"):
        for question in questions:
            words = msg("{code} · {name}: {question}", code=plain(code), name=plain(name), question=plain(question))
            st.error(tr(words), icon=":material/back_hand:")
        if desk.reads_only:
            return
        answer = st.session_state.get(ANSWERING)
        if answer == (code, "back"):
            _call_back(desk, code, questions)
        elif answer == (code, "stay"):
            _not_needed(desk, code)
        else:
            with st.container(horizontal=True):
                back = st.button(_("Call them back"), key=f"recall-{code}-back", type="primary")
                stay = st.button(_("Not needed, because…"), key=f"recall-{code}-stay")
            if back or stay:
                st.session_state[ANSWERING] = (code, "back" if back else "stay")
                st.rerun()


def _call_back(desk: Desk, code: str, questions: Sequence[str]) -> None:
    who_has(desk, code)
    released = any(decision.act == "release" for _, decision in desk.journal.batch(code).records(Decision))
    usual = msg("Bars are called back. {question}", question=" ".join(map(str, questions)))
    _sign(desk, code, "withdraw" if released else "hold", usual, _("Sign: call them back"))


def _not_needed(desk: Desk, code: str) -> None:
    _sign(desk, code, "keep on sale", "", _("Sign: not needed"))


def _sign(desk: Desk, code: str, act: Act, usual: str, label: str) -> None:
    key = entry.form_key(f"recall-sign-{code}")
    with st.form(key, border=False, enter_to_submit=False):
        why = st.text_area(
            _("Because"),
            tr(usual),
            key=f"{key}-why",
            max_chars=2000,
            placeholder=_("The meter was not calibrated; calibrated it read 9.8 on three bars."),
        )
        name = st.text_input(
            _("Your name, in full: it stands as the signature"),
            desk.by,
            key=f"{key}-name",
            max_chars=80,
            disabled=desk.signed_in,
        )
        with st.container(horizontal=True):
            sent = st.form_submit_button(label, type="primary", key=f"recall-{code}-sign")
            left = st.form_submit_button(_("Not now"), key=f"recall-{code}-later")
    if left:
        st.session_state.pop(ANSWERING)
        st.rerun()
    if sent:
        sign = partial(workflow.decide, desk.journal, code, act, signed_by=name.strip(), on=desk.now)
        signed = attempt(lambda: sign(statement=why.strip()))
        if signed is not None:
            st.session_state.pop(ANSWERING)
            if act != "keep on sale":
                st.session_state[CALLED] = code
            entry.tell(code, [signed], key)
            st.rerun()


def _called(desk: Desk) -> None:
    """Whom to call now, from the signature on until that is put away."""
    code = st.session_state.get(CALLED)
    if code is None or code not in desk.journal.names():
        return
    with st.container(border=True, key="called-back"):
        st.markdown(_("**{code} is called back. These have bars of it:**", code=plain(code)))
        who_has(desk, code)
        if st.button(_("Put the list away"), key="called-back-done"):
            del st.session_state[CALLED]
            st.rerun()


def who_has(desk: Desk, code: str) -> None:
    """List who has bars of a batch, or of any that has pieces of it, with how to reach them."""
    listed(customers.recall_list(desk.journal, code), code)


def listed(people: Sequence[customers.HasBars], of: str) -> None:
    """List people who have bars, and offer the list as a file."""
    if not people:
        common.say(msg("Nobody has bars of it, as far as this journal knows."))
        return
    common.listed(one.words for one in people)
    st.download_button(
        _("The list (CSV)"),
        lambda: _as_csv(people),
        f"recall-{of}.csv",
        "text/csv",
        key=f"recall-list-{of}",
        on_click="ignore",
    )


def _as_csv(people: Sequence[customers.HasBars]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(("who", "how to reach them", "batch", "bars", "since"))
    for one in people:
        for code, bars in one.bars.items():
            writer.writerow([_safe(one.who), _safe(one.details), _safe(code), bars, f"{one.since:%Y-%m-%d}"])
    return text.getvalue().encode("utf-8-sig")


def _safe(text: str) -> str:
    """Text that no spreadsheet runs."""
    return f"'{text}" if text.startswith(("=", "+", "-", "@")) else text
