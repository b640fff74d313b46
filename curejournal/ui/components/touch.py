"""Pictures in which the soap is touched to choose its measured colour."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import streamlit as st

from curejournal.ui.i18n import tr
from curejournal.workflow import Points

_HERE = Path(__file__).parent
_touch = st.components.v2.component(
    "curejournal_touch",
    html='<div class="touch"></div>',
    css=(_HERE / "touch.css").read_text("utf-8"),
    js=(_HERE / "touch.js").read_text("utf-8"),
)


@dataclass(frozen=True)
class Area:
    """An area to touch: what it is chosen by, its name, its outline in pixels of the full-size upright picture."""

    id: str
    label: str
    outline: Points


@dataclass(frozen=True)
class Picture:
    """A picture (JPEG), its full size, what is said below it and to who cannot see it, and its areas."""

    jpeg: bytes
    width: int
    height: int
    words: str
    alt: str
    areas: tuple[Area, ...]


def touched(pictures: Sequence[Picture], key: str) -> str:
    """Show pictures; gives the id of the area that was touched last, or nothing."""
    chosen = (st.session_state.get(key) or {}).get("touched", "")
    found = _touch(
        key=key,
        data={"pictures": [_plain(picture) for picture in pictures], "chosen": chosen},
        default={"touched": ""},
        on_touched_change=_nothing,
    )
    return str(found.touched or "")


def _plain(picture: Picture) -> dict[str, object]:
    return {
        "src": f"data:image/jpeg;base64,{base64.b64encode(picture.jpeg).decode()}",
        "width": picture.width,
        "height": picture.height,
        "words": tr(picture.words),
        "alt": tr(picture.alt),
        "areas": [
            {"id": area.id, "label": tr(area.label), "points": [list(point) for point in area.outline]}
            for area in picture.areas
        ],
    }


def _nothing() -> None:
    """What is touched comes with the next run of the page."""
