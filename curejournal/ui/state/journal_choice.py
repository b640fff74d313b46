"""Which journal is looked at: the maker's own, or the demo's beside it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import platformdirs
import streamlit as st

from curejournal.journal.store import Journal

DATA = Path(platformdirs.user_data_path("curejournal"))
DEMO = DATA / "demo"
STAYS = ("by",)
"""What is remembered from one journal to the other: who writes; nothing that could be undone in the wrong one."""


@st.cache_resource(show_spinner="Opening the journal…")
def opened(folder: str, on_server: bool = True) -> Journal:
    """The journal of a folder, opened once; its database may be on a server, save the demo's."""
    url = os.environ.get("CUREJOURNAL_DATABASE_URL") if on_server else None
    return Journal.open(Path(folder), url=url or None)


def own_folder() -> Path:
    """Where the maker's own journal is."""
    return Path(os.environ.get("CUREJOURNAL_JOURNAL") or DATA / "journal")


def looks_at_demo() -> bool:
    """Whether this window looks at the demo from beside the maker's own journal."""
    return bool(st.session_state.get("demo"))


def journal() -> Journal:
    """The journal that this window looks at.

    Raises
    ------
    CureJournalError
        As `Journal.open`.
    """
    if looks_at_demo():
        return opened(str(DEMO), on_server=False)
    return opened(str(own_folder()))


def all_open() -> Iterator[Journal]:
    """The journals that windows of this app look at: the maker's own, and the demo once it was made.

    Raises
    ------
    CureJournalError
        As `Journal.open`.
    """
    yield opened(str(own_folder()))
    if DEMO.is_dir():
        yield opened(str(DEMO), on_server=False)


def turn_to(demo: bool) -> None:
    """Look at the other journal from now on, in this window alone."""
    for name in [name for name in st.session_state if name not in STAYS]:
        del st.session_state[name]
    st.session_state["demo"] = demo
