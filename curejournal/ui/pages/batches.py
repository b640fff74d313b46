"""The wall: every batch by its latest picture, and the start of a new one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

import streamlit as st

from curejournal.base.messages import join, msg, msg_n
from curejournal.batch.records import Batch
from curejournal.judging.judgement import Judgement
from curejournal.ui.components import common, showing
from curejournal.ui.forms import doing, start_batch
from curejournal.ui.i18n import _, word_of
from curejournal.ui.page import Desk, plain
from curejournal.ui.state import cache

SHOWN = 24
AGAIN = 6
"""Soaps offered to be poured again. Ours: as many as a phone shows at once."""
ALL, UNDER_WAY, DONE = "all", msg("under way"), "done"
JUDGED = (msg("on hold"), "ready", "not yet", "released")
SORTED = (msg("newest first"), msg("oldest first"), msg("by name"))
PICTURES, LIST = msg("Pictures"), msg("List")


class Asked(NamedTuple):
    """What is asked of the wall."""

    wanted: str
    words: str
    order: str
    form: str


def render(desk: Desk) -> None:
    """Draw the page."""
    names = desk.journal.names()
    like = st.session_state.get("like") or st.query_params.get("like", "")
    if (not names or like or st.session_state.get("starting")) and common.may_enter(desk):
        _start(desk, names, like)
        return
    common.say(
        msg(
            "{names}, each by its latest picture in true colour.",
            names=msg_n("{number} batch", "{number} batches", len(names)),
        ),
        "lead",
    )
    with st.container(horizontal=True, key="wall-head"):
        if common.may_enter(desk):
            if st.button(_("Start a batch"), key="start-batch", type="primary"):
                st.session_state["starting"] = True
                st.rerun()
            _again(names)
        asked = _asked()
    found = _found(desk, names, asked)
    if 0 < len(found) < len(names):
        common.say(msg("Shown: {found} of {all}.", found=len(found), all=len(names)), "soft")
    shown = st.session_state.setdefault("shown", SHOWN)
    draw: Callable[[Desk, Batch, Judgement], None] = _card if asked.form == PICTURES else _row
    with st.container(key="wall" if asked.form == PICTURES else "compact"):
        for code in found[:shown]:
            batch = desk.journal.batch(code)
            draw(desk, batch, cache.judged(desk, batch))
    if not found:
        common.say(msg("No batch is like that."), "soft")
    if len(found) > shown and st.button(_("Show more ({found} in all)", found=len(found)), key="wall-more"):
        st.session_state["shown"] = shown + SHOWN
        st.rerun()


def _start(desk: Desk, names: Mapping[str, str], like: str) -> None:
    if not names:
        common.empty("wall", msg("No batch yet. A name is enough to start one; with its recipe the lye is checked."))
    elif st.button(_("Back to the batches"), key="start-back", icon=":material/arrow_back:"):
        st.session_state.pop("starting", None)
        st.session_state.pop("like", None)
        st.query_params.pop("like", None)
        st.rerun()
    start_batch.start(desk, names, like)


def _again(names: Mapping[str, str]) -> None:
    """Offer the soaps poured last, each to be poured again; folded away, so that the pictures come first."""
    latest = dict(reversed([(name, code) for code, name in list(names.items())[:SHOWN]]))
    with st.popover(_("Pour again"), key="act-again"):
        for name, code in list(reversed(latest.items()))[:AGAIN]:
            if st.button(plain(name), key=f"again-{code}", width="stretch"):
                # Not in the address: a link from a page to itself loses what stands behind its question mark.
                st.session_state["like"] = code
                st.rerun()


def _asked() -> Asked:
    with st.popover(_("Find"), key="wall-asked"):
        words = st.text_input(_("Find a name or code"), key="sought")
        wanted = st.selectbox(_("Show"), [ALL, UNDER_WAY, DONE, *JUDGED], key="wanted", format_func=word_of)
        order = st.selectbox(_("Order"), SORTED, key="order", format_func=word_of)
        form = st.segmented_control(
            _("As"),
            [PICTURES, LIST],
            default=PICTURES,
            required=True,
            key="wall-form",
            label_visibility="collapsed",
            format_func=word_of,
        )
    return Asked(wanted, words.casefold(), order, form)


def _found(desk: Desk, names: Mapping[str, str], asked: Asked) -> list[str]:
    found = [code for code, name in names.items() if asked.words in f"{code} {name}".casefold()]
    if asked.wanted in (UNDER_WAY, DONE):
        underway = {touched.code for touched in desk.journal.underway()}
        found = [code for code in found if (code in underway) == (asked.wanted == UNDER_WAY)]
    elif asked.wanted in JUDGED:
        batches = [desk.journal.batch(code) for code in found]
        states = {one.code: common.state_of(cache.judged(desk, one)) for one in batches}
        found = [code for code in found if states[code] in (asked.wanted, asked.wanted.removeprefix("on "))]
    if asked.order == SORTED[2]:
        found.sort(key=lambda code: names[code].casefold())
    return found[::-1] if asked.order == SORTED[1] else found


def _card(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    with st.container(key=f"card-{batch.code}", gap=None):
        showing.picture(desk, batch, judgement, 640)
        st.html(showing.strip(desk, judgement))
        common.way(desk, "batch", batch.name, batch=batch.code)
        st.html(
            f'<p class="small soft">{common.text(join(" · ", (batch.code, showing.old(desk, batch))))}</p>'
            f'<div class="foot-of-card">{common.tag(common.state_of(judgement))}'
            f'<span class="small soft">{common.text(_next(desk, judgement))}</span></div>'
        )


def _next(desk: Desk, judgement: Judgement) -> str:
    """What is due now, or else when something is."""
    if not judgement.due:
        return ""
    first = judgement.due[0]
    words = doing.words_of([first])
    return words if first.when <= desk.now else msg("{words}, {first}", words=words, first=doing.since(desk, [first]))


def _row(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    with st.container(key=f"row-{batch.code}", horizontal=True, vertical_alignment="center"):
        common.way(desk, "batch", msg("{code} · {name}", code=batch.code, name=batch.name), batch=batch.code)
        st.html(
            common.tag(common.state_of(judgement)) + msg(" &nbsp; {batch}", batch=common.text(showing.old(desk, batch)))
        )
        common.say(_next(desk, judgement), "soft")
