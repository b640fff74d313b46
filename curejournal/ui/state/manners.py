"""How a page behaves under a thumb; see `manners.js`."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

_manners = st.components.v2.component(
    "curejournal_manners", js=Path(__file__).with_name("manners.js").read_text("utf-8")
)


def mind(page: str) -> None:
    """Mind them, once on a page; another `page` opens at its top."""
    _manners(key="manners", data={"page": page})
