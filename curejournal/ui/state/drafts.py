"""Which forms a page draws, and which were saved: what is half typed in them outlives a reload (`drafts.js`)."""

from __future__ import annotations

import secrets
from collections import Counter, deque
from pathlib import Path
from typing import Any

import streamlit as st

_DONE, _DRAWN, _STAMPS = "done", "forms drawn", "stamps of forms"
SCRIPT = Path(__file__).with_name("drafts.js").read_text("utf-8")
_REMEMBERED = 200
"""Forms saved last, in all windows, that each page is told of. Ours: more than a day's."""
_saved: deque[str] = deque(maxlen=_REMEMBERED)


def drawn(form: str) -> int:
    """Note that a form is drawn; gives how often it was done before in this session."""
    times = _done()[form]
    st.session_state.setdefault(_DRAWN, {})[form] = {"times": times, "stamp": _stamp(form, times)}
    return times


def done(form: str) -> None:
    """Note that what was asked by a form is kept: it is drawn again, and what is half typed in it is forgotten.

    Noted for all sessions: a page that was left before it was told learns of it when it is opened again.
    """
    _saved.append(_stamp(form, _done()[form]))
    _done()[form] += 1


def take() -> dict[str, Any]:
    """Give the forms drawn by this run of the page, and the stamps of those that were saved; then begin again."""
    return {"forms": st.session_state.pop(_DRAWN, {}), "saved": list(_saved)}


def _done() -> Counter[str]:
    counted: Counter[str] = st.session_state.setdefault(_DONE, Counter())
    return counted


def _stamp(form: str, times: int) -> str:
    """A name that tells other browsers nothing of the form."""
    stamps: dict[tuple[str, int], str] = st.session_state.setdefault(_STAMPS, {})
    return stamps.setdefault((form, times), secrets.token_hex(5))
