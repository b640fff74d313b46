"""Choices that are seen rather than read: a picture or a colour before each option of a widget.

The widget stays Streamlit's own, so that keys, fingers and screen readers find what they know.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any

import streamlit as st

from curejournal.colour.sample import Lab
from curejournal.documents.formatting import hex_colour
from curejournal.documents.ribbon import as_image


def pictured(drawings: Sequence[str], key: str) -> Any:
    """Give a container whose one radio has a drawing (SVG) before each of its options."""
    return _before_each((f"background-image: url('{as_image(svg)}')" for svg in drawings), key, "pictured")


def swatched(colours: Sequence[Lab], key: str) -> Any:
    """Give a container whose one row of pills or radio has a patch of colour before each of its options."""
    return _before_each((f"background-color: {hex_colour(lab)}" for lab in colours), key, "swatched")


def _before_each(styles: Iterable[str], key: str, look: str) -> Any:
    name = f"{look}-{re.sub('[^a-zA-Z0-9_-]', '-', key)}"
    one = f".st-key-{name} [role=radiogroup] > :nth-of-type"
    rules = "".join(f"{one}({number})::before {{ {style} }}" for number, style in enumerate(styles, 1))
    st.html(f"<style>{rules}</style>")
    return st.container(key=name)
