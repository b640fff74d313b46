"""Places in a photo, drawn by mouse or finger, or typed in pixels."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import streamlit as st

from curejournal.ui.page import plain
from curejournal.workflow import Box

_HERE = Path(__file__).parent
_draw = st.components.v2.component(
    "curejournal_marking",
    html='<div class="mark"><img alt=""><svg></svg></div>',
    css=(_HERE / "marking.css").read_text("utf-8"),
    js=(_HERE / "marking.js").read_text("utf-8"),
)
CORNERS = "the card’s four corners"


@dataclass(frozen=True)
class Marks:
    """What was marked, in pixels of the upright full-size picture; empty where nothing was."""

    areas: dict[str, Box]
    corners: tuple[tuple[float, float], ...] = ()


def mark(picture: bytes, width: int, height: int, names: Sequence[str], key: str, alt: str) -> Marks:
    """Ask for a box for each name, and for the card's corners where it was not found."""
    what = st.segmented_control(
        "What do you mark?", [*names, CORNERS], default=names[0], required=True, key=f"{key}-what", format_func=plain
    )
    st.caption(
        "Touch the card’s corners one after another, clockwise from its own top left."
        if what == CORNERS
        else "Draw a box on the soap: put the finger or mouse on one corner and pull to the other."
    )
    drawn = _draw(
        key=key,
        data={
            "picture": f"data:image/jpeg;base64,{base64.b64encode(picture).decode()}",
            "alt": alt,
            "width": width,
            "height": height,
            "current": None if what == CORNERS else what,
            "boxes": {},
            "corners": [],
        },
        default={"boxes": {}, "corners": []},
        on_boxes_change=_nothing,
        on_corners_change=_nothing,
    )
    boxes = {name: _box(sides) for name, sides in (drawn.boxes or {}).items() if name in names}
    corners = tuple((float(x), float(y)) for x, y in (drawn.corners or []))
    with st.expander("Or type the places, in pixels"):
        boxes |= _typed(names, width, height, key)
    return Marks(boxes, corners if len(corners) == 4 else ())


def _typed(names: Sequence[str], width: int, height: int, key: str) -> dict[str, Box]:
    st.caption(f"The picture has {width} x {height} pixels, counted from its top left.")
    found = {}
    for name in names:
        sides = [
            st.number_input(f"{plain(name)}: {side}", 0, most, value=None, step=10, key=f"{key}-{name}-{side}")
            for side, most in (("left", width), ("top", height), ("right", width), ("bottom", height))
        ]
        typed = [side for side in sides if side is not None]
        if len(typed) == 4:
            found[name] = _box(typed)
    return found


def _box(sides: Sequence[float]) -> Box:
    left, top, right, bottom = (float(side) for side in sides)
    return (left, top, right, bottom)


def _nothing() -> None:
    """A new mark redraws the page; nothing else is to be done."""
