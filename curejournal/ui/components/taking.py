"""A photo by the phone's own camera or the one within the page; it stays on the phone until the journal has it."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from curejournal.base.messages import msg
from curejournal.ui.components import viewfinder
from curejournal.ui.components.scripted import scripted
from curejournal.ui.i18n import tr
from curejournal.ui.page import Desk
from curejournal.ui.state import outbox
from curejournal.workflow import Card

SAFE = "photos safe"
"""Where the session keeps the names of photos that the journal has: the phone may forget them."""

_take = scripted("taking", first=viewfinder.SCRIPT)


def offer(desk: Desk, card: Card | None) -> None:
    """Draw the buttons, which hand what was taken to the page's field for files; the card is looked for beforehand."""
    words = {
        "take": msg("Take a photo"),
        "open": msg("Use this device’s camera here"),
        "view": msg("What the camera sees"),
        "looking": msg("Looking for the card…"),
        "noHint": msg("Nothing can be said of this view now. A photo can be taken all the same."),
        "noCamera": msg("The browser gives this page no camera. Use “Take a photo”, or choose files."),
        "shutter": msg("Take it"),
        "close": msg("Close"),
        "dark": msg("This photo is too dark. Take it again nearer to a window."),
        "burnt": msg("The brightest parts are burnt out. If the card’s white is, take it again with less exposure."),
        "left": msg("Taken here and not in the journal yet: {count}.", count="{count}"),
        "back": msg("Bring back"),
        "forget": msg("Forget"),
    }
    data = {
        "journal": outbox.name_of(desk.journal),
        "card": card.name if card else "",
        "safe": list(st.session_state.get(SAFE, ())),
        "stands_at": round(1000 * desk.now.timestamp()) if desk.stands_still else None,
        "words": {name: tr(text) for name, text in words.items()},
    }
    _take(key="taking", data=data)


def are_safe(names: Sequence[str]) -> None:
    """Let the phone forget photos that the journal has now."""
    st.session_state.setdefault(SAFE, []).extend(names)
