"""Components drawn by a script of ours: markup, style and script lie beside this file under one name."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import streamlit as st


def scripted(name: str, *, first: str = "") -> Any:
    """The component `name`; the script `first` comes before its own."""
    place = Path(__file__).with_name(name)
    html, css, script = (place.with_suffix(end).read_text("utf-8") for end in (".html", ".css", ".js"))
    return st.components.v2.component(f"curejournal_{name}", html=html, css=css, js=first + script)
