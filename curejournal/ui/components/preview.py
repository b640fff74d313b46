"""A paper on the page before it is taken: its first pages, small."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import streamlit as st

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg, msg_n
from curejournal.ui.components import common
from curejournal.ui.i18n import tr
from curejournal.ui.page import Desk, plain
from curejournal.ui.state import cache


def paper(desk: Desk, key: str, make: Callable[[], bytes], asked: Any) -> None:
    """Show the first pages of a PDF; `asked` is what it is made from, beside the journal as it stands and the hour."""
    stands = (key, repr(asked), desk.journal.head(), cache.hour(desk).isoformat())
    try:
        pages, count = cache.preview(str(desk.journal.location), stands, make)
    except CureJournalError as fault:
        st.info(plain(str(fault)), icon=":material/info:")
        return
    with st.container(horizontal=True, key=f"preview-{key}"):
        for number, page in enumerate(pages, 1):
            st.image(page, width=400, alt=tr(msg("Preview of page {number}", number=number)))
    common.say(msg_n("{number} page in all.", "{number} pages in all.", count), "small soft")
