"""Which forms a page draws, and how often each was done: what is half typed in them outlives a reload (`drafts.js`)."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

DONE, _DRAWN = "done", "forms drawn"
SCRIPT = Path(__file__).with_name("drafts.js").read_text("utf-8")


def note(form: str, times: int) -> None:
    """Note that a form is drawn, which was done so many times before in this session."""
    st.session_state.setdefault(_DRAWN, {})[form] = times


def taken() -> tuple[dict[str, int], dict[str, int]]:
    """Give how often each form was done: of those drawn by this run of the page, and of all; then begin anew."""
    return st.session_state.pop(_DRAWN, {}), dict(st.session_state.get(DONE, {}))
