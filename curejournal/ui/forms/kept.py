"""What was kept last, said where it was kept: to be undone, or changed, at once."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import join, msg
from curejournal.batch.descriptions import describe
from curejournal.batch.records import AlkaliTest, Decision, Entry, SurfaceNote, Withdrawn
from curejournal.documents import formatting
from curejournal.ui.i18n import tr
from curejournal.ui.page import Desk, attempt, plain


def show(desk: Desk, page: str) -> None:
    """Say what was kept last, with a way to change it and one to take it back; another page begins without it."""
    code, kept = st.session_state.get("kept", ("", ()))
    if st.session_state.setdefault("kept-on", page) != page:
        st.session_state.pop("kept", None)
        return
    if not kept:
        return
    with st.container(horizontal=True, vertical_alignment="center", key="kept"):
        words = join("; ", (describe(entry.record) for entry in kept))
        when = formatting.moment(kept[0].at, desk.zone)
        st.success(
            tr(msg("Kept for {code}: {words} ({when}).", code=plain(code), words=plain(words), when=when)),
            icon=":material/check:",
        )
        # What was signed stays, and is answered by the next signature.
        if any(isinstance(entry.record, Decision) for entry in kept):
            return
        changing = len(kept) == 1 and not isinstance(kept[0].record, Withdrawn) and _change_press(kept[0])
        _undo_press(desk, kept)
    if changing and code:
        from curejournal.ui.forms import correction  # only who presses waits for the forms

        correction.opened(desk, desk.journal.batch(code), kept[0])


def _change_press(entry: Entry) -> bool:
    """The press that opens the form which made it; whether that is open."""
    here = ("kept", entry.id)
    is_open = st.session_state.get("touched") == here
    if st.button(tr(msg("Close") if is_open else msg("Change")), key="change-kept"):
        st.session_state["touched"] = None if is_open else here
        st.rerun()
    return is_open


def _undo_press(desk: Desk, kept: Sequence[Entry]) -> None:
    """The press that takes it back; of a test, or of what the bars looked like, it asks why."""
    why = msg("undone at once")
    if any(isinstance(entry.record, (AlkaliTest, SurfaceNote)) for entry in kept):
        with st.popover(tr(msg("Undo"))):
            why = st.text_input(tr(msg("Why is it taken back?")), key="undo-why", max_chars=500).strip()
            pressed = st.button(tr(msg("Take it back")), key="undo")
    else:
        pressed = st.button(tr(msg("Undo")), key="undo")
    if not pressed:
        return
    numbers = [entry.id for entry in kept]
    if attempt(partial(workflow.undo, desk.journal, *numbers, why=why, by=desk.by, now=desk.now)) is not None:
        del st.session_state["kept"]
        st.rerun()
