"""A photo by the phone's own camera, at its full size, that stays on the phone until the journal has it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import streamlit as st

from curejournal.base.messages import msg
from curejournal.ui.i18n import tr
from curejournal.ui.page import Desk
from curejournal.ui.state import outbox

SAFE = "photos safe"
"""Where the session keeps the names of photos that the journal has: the phone may forget them."""

_take = st.components.v2.component(
    "curejournal_taking",
    html='<div class="taking"><label><span></span><input type="file" accept="image/*" capture="environment"></label>'
    '<p class="hint" role="status"></p><div class="left" hidden><p></p><button type="button" class="back"></button>'
    '<button type="button" class="forget"></button></div></div>',
    css="""
.taking { font: 400 1rem/1.4 var(--sans); color: var(--ink); }
.taking [hidden] { display: none; }
label { position: relative; display: inline-grid; place-content: center; min-height: 3.4rem; padding: 0 var(--s6);
  border: 1px solid var(--edge); border-radius: 8px; font-weight: 600; cursor: pointer; }
label:focus-within { outline: 3px solid var(--ink); outline-offset: 2px; }
input { position: absolute; inset: 0; width: 100%; height: 100%; opacity: 0; cursor: pointer; }
p { margin: var(--s2) 0; }
button { font: inherit; color: inherit; background: transparent; border: 1px solid var(--edge); border-radius: 8px;
  min-height: 48px; padding: 0 var(--s4); margin-right: var(--s2); cursor: pointer; }
""",
    js=(Path(__file__).parent / "taking.js").read_text("utf-8"),
)


def offer(desk: Desk) -> None:
    """Draw the button, which hands what was taken to the page's field for files."""
    words = {
        "take": msg("Take a photo"),
        "dark": msg("This photo is too dark. Take it again nearer to a window."),
        "burnt": msg("The brightest parts are burnt out. If the card’s white is, take it again with less exposure."),
        "left": msg("Taken here and not in the journal yet: {count}.", count="{count}"),
        "back": msg("Bring back"),
        "forget": msg("Forget"),
    }
    safe = list(st.session_state.get(SAFE, ()))
    said = {name: tr(text) for name, text in words.items()}
    _take(key="taking", data={"journal": outbox.name_of(desk.journal), "safe": safe, "words": said})


def are_safe(names: Sequence[str]) -> None:
    """Let the phone forget photos that the journal has now."""
    st.session_state.setdefault(SAFE, []).extend(names)
