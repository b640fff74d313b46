"""Long work that goes on while its page is left, and is found again on every page of its journal."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import streamlit as st

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.ui.i18n import _, tr
from curejournal.ui.page import Desk, plain, refusal

Tell = Callable[[float, str], None]
"""How work says how far it is: the part that is done, of 1, and what was done last."""

SECONDS = 1.0
"""Between two looks at work that goes on. Ours: as quick as a clock's hand, and light for a phone."""


@dataclass
class Work:
    """One piece of long work: what it is called, how far it is, and how it ended."""

    title: str
    part: float = 0.0
    words: str = ""
    ended: bool = False
    result: Any = None
    refused: CureJournalError | None = None


_going: dict[tuple[str, str], Work] = {}
_door = threading.Lock()


def begin(place: str, name: str, title: str, act: Callable[[Tell], Any]) -> Work:
    """Start work on a journal's folder, unless work of this name goes on there already; what goes on comes back."""
    with _door:
        known = _going.get((place, name))
        if known is not None and not known.ended:
            return known
        work = _going[place, name] = Work(title)
    threading.Thread(target=_do, args=(work, act), name=f"{name} {place}", daemon=True).start()
    return work


def _do(work: Work, act: Callable[[Tell], Any]) -> None:
    def tell(part: float, words: str) -> None:
        work.part, work.words = min(max(part, 0.0), 1.0), words

    # What an unforeseen fault leaves behind; it goes on into the log.
    work.refused = CureJournalError(
        msg("{title}: this stopped before its end.", title=work.title),
        msg("Start it again."),
        msg("What it had kept by then stays kept."),
    )
    try:
        work.result = act(tell)
        work.refused = None
    except CureJournalError as error:
        work.refused = error
    finally:
        work.ended = True


def of(place: str, name: str) -> Work | None:
    """Work of this name on a journal's folder, going on or ended and not yet put away."""
    return _going.get((place, name))


def is_going(place: str, name: str) -> bool:
    """Whether work of this name goes on."""
    work = of(place, name)
    return work is not None and not work.ended


def put_away(place: str, name: str) -> None:
    """Forget work that has ended."""
    with _door:
        work = _going.get((place, name))
        if work is not None and work.ended:
            del _going[place, name]


def done(place: str, name: str) -> Work | None:
    """Work that has ended well; if it was refused, that is said here and can be put away."""
    work = of(place, name)
    if work is None or not work.ended:
        return None
    if work.refused is not None:
        refusal(work.refused)
        if st.button(_("All right"), key=f"away-{name}"):
            put_away(place, name)
            st.rerun()
        return None
    return work


@st.fragment(run_every=SECONDS)
def _progress(place: str, name: str) -> None:
    work = of(place, name)
    if work is None or work.ended:
        st.rerun()
    st.progress(
        work.part,
        tr(
            msg("{title}: {words}", title=plain(work.title), words=plain(work.words))
            if work.words
            else f"{plain(work.title)}…"
        ),
    )


def going(desk: Desk) -> None:
    """One line for each piece of work that goes on in this journal, on whichever page."""
    for (place, name), work in list(_going.items()):
        if place == str(desk.journal.location) and not work.ended:
            _progress(place, name)
