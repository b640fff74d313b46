"""Places in a photo, drawn by mouse or finger as box, band or polygon, or typed in pixels."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import streamlit as st

from curejournal.base.messages import msg
from curejournal.ui.i18n import _, tr
from curejournal.ui.page import plain
from curejournal.workflow import Points, outline_of

_HERE = Path(__file__).parent
_draw = st.components.v2.component(
    "curejournal_marking",
    html='<div class="mark"><div class="frame"><div class="sheet"><img alt=""><svg></svg></div></div>'
    '<div class="acts"><button class="closer" type="button">Closer</button>'
    '<button class="back" type="button">Take back the last mark</button></div></div>',
    css=(_HERE / "marking.css").read_text("utf-8"),
    js=(_HERE / "marking.js").read_text("utf-8"),
)
CORNERS = msg("the card’s four corners")
HOW = {
    "box": msg("Put the finger or mouse on one corner of it and pull to the other."),
    "band": msg("Pull along its middle, from one end to the other; then set how thick it is."),
    "polygon": msg("Touch its corners one after another; three make an area, more follow its shape."),
}
KEYS = msg("Arrows move the cross, with Shift in large steps; Enter sets a point; Escape forgets what was begun.")
# Ours: a layer of a cut bar that fills the picture is about so thick.
BAND_SHARE = 0.08


@dataclass(frozen=True)
class Marks:
    """What was marked, in pixels of the upright full-size picture; empty where nothing was."""

    areas: dict[str, Points]
    corners: tuple[tuple[float, float], ...] = ()


def _what_is_marked(
    names: Sequence[str], kinds: Sequence[str], key: str, *, corners: bool, how: str
) -> tuple[str, str]:
    """Ask what is marked, and as which shape; say how."""
    options = [*names, *([CORNERS] if corners else [])]
    what = names[0]
    if len(options) > 1:
        what = st.segmented_control(
            _("What do you mark?"), options, default=names[0], required=True, key=f"{key}-what", format_func=plain
        )
    kind = kinds[0]
    if what != CORNERS and len(kinds) > 1:
        kind = st.segmented_control(_("As a"), list(kinds), default=kinds[0], required=True, key=f"{key}-kind")
    st.caption(
        tr(
            msg("Touch the card’s corners one after another, clockwise from its own top left.")
            if what == CORNERS
            else how or HOW[kind]
        ),
        help=tr(KEYS),
    )
    return what, kind


def mark(
    picture: bytes,
    width: int,
    height: int,
    names: Sequence[str],
    key: str,
    alt: str,
    *,
    proposed: Mapping[str, Points] | None = None,
    kinds: Sequence[str] = tuple(HOW),
    corners: bool = True,
    how: str = "",
) -> Marks:
    """Ask for an area for each name, and for the card's corners where it was not found.

    `proposed` areas are drawn already and count until they are redrawn; `kinds` are the shapes to choose from;
    `how` says in place of `HOW` what to do. Marks are kept by `key`: another photo needs another.
    """
    what, kind = _what_is_marked(names, kinds, key, corners=corners, how=how)
    # Kept where no widget is drawn: a band keeps its thickness while another shape is chosen.
    thick = st.session_state.setdefault(f"{key}-thickness", max(round(BAND_SHARE * min(width, height)), 4))
    # Always there, so that what stands below keeps its state when a shape is chosen.
    room = st.container()
    if kind == "band":
        thick = room.slider(
            msg("How thick is the band, in pixels"), 4, min(width, height) // 2, thick, key=f"{key}-thick"
        )
        st.session_state[f"{key}-thickness"] = thick
    first = {name: {"kind": "polygon", "points": points, "proposed": True} for name, points in (proposed or {}).items()}
    drawn = _draw(
        key=key,
        data={
            "picture": f"data:image/jpeg;base64,{base64.b64encode(picture).decode()}",
            "alt": alt,
            "width": width,
            "height": height,
            "current": None if what == CORNERS else what,
            "kind": kind,
            "thick": thick,
            "shapes": first,
            "corners": [],
            "keys": tr(KEYS),
        },
        default={"shapes": first, "corners": []},
        on_shapes_change=_nothing,
        on_corners_change=_nothing,
    )
    shapes = {name: outline(shape["kind"], shape["points"], thick) for name, shape in (drawn.shapes or {}).items()}
    areas = {name: points for name, points in shapes.items() if name in names and len(points) > 2}
    with st.expander(_("Or type the places, in pixels")):
        areas |= _typed(names, kind, width, height, key)
    touched = tuple((float(x), float(y)) for x, y in (drawn.corners or []))
    return Marks(areas, touched if len(touched) == 4 else ())


def outline(kind: str, points: Sequence[Sequence[float]], thick: float) -> Points:
    """The outline of a shape: a box by two corners, a band by the ends of its middle line, a polygon by its corners."""
    at = np.array(points, float).reshape(-1, 2)
    if kind == "polygon":
        return tuple((float(x), float(y)) for x, y in at)
    if len(at) != 2:
        return ()
    if kind == "box":
        (left, top), (right, bottom) = at.tolist()
        return outline_of((left, top, right, bottom))
    along = at[1] - at[0]
    across = thick / 2 * np.array([-along[1], along[0]]) / max(float(np.hypot(*along)), 1e-9)
    corners = (at[0] + across, at[1] + across, at[1] - across, at[0] - across)
    return tuple((float(x), float(y)) for x, y in corners)


FIELDS = {
    "box": ("left", "top", "right", "bottom"),
    "band": (msg("from x"), msg("from y"), msg("to x"), msg("to y"), "thickness"),
}


def _typed(names: Sequence[str], kind: str, width: int, height: int, key: str) -> dict[str, Points]:
    st.caption(_("The picture has {width} x {height} pixels, counted from its top left.", width=width, height=height))
    found: dict[str, Points] = {}
    for name in names:
        if kind == "polygon":
            typed = st.text_input(
                _("{name}: corners", name=plain(name)), key=f"{key}-{name}-corners", placeholder="x,y x,y x,y"
            )
            points = _corners(typed)
            if typed and len(points) < 3:
                st.caption(_("Three corners at least, each as x,y with a space between them."))
            elif points:
                found[name] = points
            continue
        values = [
            st.number_input(
                _("{name}: {side}", name=plain(name), side=side),
                0,
                max(width, height),
                value=None,
                step=10,
                key=f"{key}-{name}-{side}",
            )
            for side in FIELDS[kind]
        ]
        numbers = [float(value) for value in values if value is not None]
        if len(numbers) == len(values):
            found[name] = outline(kind, (numbers[:2], numbers[2:4]), numbers[-1])
    return found


def _corners(typed: str) -> Points:
    pairs = [part.split(",") for part in typed.split()]
    if not all(len(pair) == 2 and all(side.strip().replace(".", "", 1).isdecimal() for side in pair) for pair in pairs):
        return ()
    return tuple((float(x), float(y)) for x, y in pairs)


def _nothing() -> None:
    """A new mark redraws the page; nothing else is to be done."""
