"""All batches, and the start of a new one."""

from __future__ import annotations

from collections.abc import Mapping

from curejournal.batch.records import Batch
from curejournal.documents.formatting import age
from curejournal.ui.components import common
from curejournal.ui.forms import start_batch
from curejournal.ui.i18n import st
from curejournal.ui.page import Desk, Page, plain
from curejournal.ui.state import cache

SHOWN = 20
AGAIN = 3
"""Soaps offered to be poured again, those that fit a phone. Ours."""


def render(desk: Desk) -> None:
    """Draw the page."""
    names = desk.journal.names()
    if not names:
        common.say("No batch yet. A name is enough to start one; with its recipe the lye is checked.")
    like = st.session_state.get("like") or st.query_params.get("like", "")
    # A key for each, or a switch that was drawn before would stay as it was.
    key = f"start-batch-{like}" if like else "start-batch"
    if common.may_enter(desk) and st.toggle("Start a batch", key=key, value=not names or bool(like)):
        start_batch.start(desk, names, like)
        return
    st.session_state.pop("like", None)
    if not desk.reads_only:
        _again(desk, names)
    wanted = st.pills(
        "Show only", ["open", "closed"], key="wanted", help="Closed: released, and nothing entered since."
    )
    sought = st.text_input("Find a name or code", key="sought").casefold()
    underway = {touched.code for touched in desk.journal.underway()}
    found = [
        code
        for code, name in names.items()
        if sought in f"{code} {name}".casefold() and (wanted is None or (code in underway) == (wanted == "open"))
    ]
    shown = st.session_state.setdefault("shown", SHOWN)
    for code in found[:shown]:
        _row(desk, desk.journal.batch(code))
    if len(found) > shown and st.button(f"Show more ({len(found)} in all)", key="more"):
        st.session_state["shown"] = shown + SHOWN
        st.rerun()


def _again(desk: Desk, names: Mapping[str, str]) -> None:
    """The soaps poured last, each to be poured again."""
    latest = dict(reversed([(name, code) for code, name in list(names.items())[:SHOWN]]))
    with st.container(horizontal=True, key="act-again"):
        for name, code in list(reversed(latest.items()))[:AGAIN]:
            if st.button(plain(f"Pour {name} again"), key=f"again-{code}", icon=":material/replay:"):
                # Not in the address: a link from a page to itself loses what stands behind its question mark.
                st.session_state["like"] = code
                st.rerun()


def _row(desk: Desk, batch: Batch) -> None:
    judgement = cache.judged(desk, batch)
    with st.container(key=f"row-{batch.code}"):
        common.way(desk, "batch", f"{batch.code} · {batch.name}", batch=batch.code)
        old = f"{age(batch.poured_at, desk.now)} old" if batch.poured_at else "not poured yet"
        st.html(common.tag(common.state_of(judgement)) + f" &nbsp; {old}")
        common.patches(common.latest_colours(judgement))
        if judgement.verdict != "ready":
            common.say(common.because(judgement), "soft")


PAGE = Page("Batches", "batches", 20, render, ":material/view_list:", main=True)
