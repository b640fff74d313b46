"""The line between a page and the app: tried after a sleep, and told of when it was cut while something was pressed."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from curejournal.base.messages import msg
from curejournal.ui.i18n import tr
from curejournal.ui.page import Desk
from curejournal.ui.state import drafts, outbox

_watch = st.components.v2.component(
    "curejournal_line",
    js=outbox.SCRIPT + drafts.SCRIPT + Path(__file__).with_name("connection.js").read_text("utf-8"),
)


def watch(desk: Desk) -> None:
    """Watch the line, once on a page, send what waits on this phone, and bring back what is half typed."""
    _watch(
        key="line",
        data={
            "journal": outbox.name_of(desk.journal),
            "by": desk.by,
            "outbox": outbox.words(),
            **drafts.take(),
            "back": tr(
                msg("What you typed and did not save is back. Lists, dates and files are not: choose those again.")
            ),
            "cut": tr(msg("Connection lost while you pressed. Look below whether it was saved; if not, press again.")),
            "waits": tr(
                msg("Checking the connection. What you pressed will be sent; there is no need to press again.")
            ),
            "close": tr(msg("All right")),
        },
    )
