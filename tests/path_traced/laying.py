"""What lies in front of the camera: cards with a thickness, bars, loaves in their moulds, grounds and lights."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
import segno

from curejournal.photo.card import Card
from tests.path_traced.shapes import curl_height
from tests.path_traced.world import Array, Body, Finish, Lamp, Pattern, Surface, Thing, moved, place
from tests.scene_items import Paint
from tests.spectra import TILT, edge, light_named

INK_LIFT_MM = 0.02
"""Ours: printed fields lie this far over the sheet, so that they do not fight with it."""


@dataclass(frozen=True, eq=False)
class LaidCard:
    """A card somewhere in space: its things to render and where its own millimetres are."""

    card: Card
    things: tuple[Thing, ...]
    at: Array
    thickness: float
    curl_mm: float
    curl_deg: float
    patches: Mapping[str, Surface]
    paper: Surface

    def points(self, where: Any) -> Array:
        """Own millimetres (N, 2), x right and y down, to the world (N, 3)."""
        x, y = np.asarray(where, float).T
        w, h = self.card.size_mm
        z = self.thickness + curl_height(x, y, (w, h), self.curl_mm, self.curl_deg)
        return moved(np.column_stack([x - w / 2, h / 2 - y, z]), self.at)


@dataclass(frozen=True)
class Print:
    """How a card is made: the paints of its fields, and how paper and ink shine."""

    paints: Mapping[str, Paint]
    paper: Paint
    ink: Paint
    paper_finish: Finish
    ink_finish: Finish
    core: Array | None = field(default=None, compare=False)
    """Reflectance of the sheet's inside, seen at its cut edges; the paper's own if none."""


def _modules(dark: np.ndarray, x: float, y: float, size: float) -> list[tuple[float, float, float, float]]:
    """Dark squares of a marker or code, joined along rows."""
    boxes, step = [], size / len(dark)
    for row, line in enumerate(dark):
        ends = np.flatnonzero(np.diff(np.concatenate([[0], line.astype(int), [0]])))
        boxes += [(x + step * a, y + step * row, step * (b - a), step) for a, b in ends.reshape(-1, 2).tolist()]
    return boxes


def dark_fields(card: Card, texts: Mapping[str, str]) -> list[tuple[float, float, float, float]]:
    boxes: list[tuple[float, float, float, float]] = []
    for marker in card.markers:
        dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, "DICT_" + marker.dictionary))
        dark = cv2.aruco.generateImageMarker(dictionary, marker.id, dictionary.markerSize + 2) == 0
        boxes += _modules(dark, marker.x, marker.y, marker.size)
    for slot, text in texts.items():
        where = (card.slots or {})[slot]
        boxes += _modules(
            np.array([list(row) for row in segno.make(text, micro=False).matrix]) > 0, where.x, where.y, where.w
        )
    return boxes


def lay_card(
    card: Card,
    made: Print,
    at: Array,
    thickness: float = 0.3,
    curl_mm: float = 0.0,
    curl_deg: float = 0.0,
    texts: Mapping[str, str] | None = None,
    border_mm: float = 0.0,
) -> LaidCard:
    """A card as a sheet of some thickness, its underside's middle at the origin of `at`; a border is of its ink."""
    w, h = card.size_mm
    paper = Surface(reflectance_of(made.paper), made.paper_finish)
    ink = Surface(reflectance_of(made.ink), made.ink_finish)
    core = paper if made.core is None else Surface(made.core, Finish(matt=1.0))
    window = card.window
    hole = None if window is None else (window.x, window.y, window.w, window.h)
    curl = {"curl_mm": curl_mm, "curl_deg": curl_deg}
    sheet = {"size": (w, h), "thickness": thickness, "window": hole, **curl}
    things = []
    if border_mm:
        frame = {"size": (w + 2 * border_mm, h + 2 * border_mm), "thickness": thickness}
        things += [Thing("board", {**frame, "side": side}, at, ink) for side in ("top", "rest")]
    else:
        things += [
            Thing("board", {**sheet, "side": "top"}, at, paper),
            Thing("board", {**sheet, "side": "rest"}, at, core),
        ]
    lift = {"size": (w, h), "lift_mm": thickness + INK_LIFT_MM, **curl}
    patches = {}
    for patch in card.patches:
        paint = made.paints[patch.id]
        bare = paint is made.paper
        patches[patch.id] = paper if bare else Surface(reflectance_of(paint), made.ink_finish)
        if not bare:
            box = (patch.x, patch.y, patch.w, patch.h)
            things.append(Thing("field", {**lift, "box": box}, at, patches[patch.id]))
    if dark := dark_fields(card, texts or {}):
        things.append(Thing("rectangles", {**lift, "boxes": dark, "cells": 2}, at, ink))
    return LaidCard(card, tuple(things), at, thickness, curl_mm, curl_deg, patches, paper)


def reflectance_of(paint: Paint) -> Array:
    assert paint.reflectance is not None
    return paint.reflectance


# Grounds and rooms ----------------------------------------------------------------------------------

# Ours: reflectances of what stands about in a workshop.
STUFF = {
    "oak": 0.12 + 0.36 * (1 - edge(585, 48)),
    "walnut": 0.05 + 0.19 * (1 - edge(590, 55)),
    "linen": 0.50 + 0.17 * (1 - edge(520, 70)),
    "slate": 0.075 - 0.008 * TILT,
    "stone": 0.40 + 0.07 * (1 - edge(540, 70)),
    "paper": 0.80 - 0.02 * TILT,
    "plaster": 0.74 + 0.03 * TILT,
    "board": 0.30 + 0.30 * (1 - edge(570, 55)),
    "red": 0.06 + 0.52 * (1 - edge(600, 14)),
    "green": 0.07 + 0.34 * np.exp(-0.5 * ((550 + 150 * TILT - 530) / 38) ** 2),
    "blue": 0.07 + 0.42 * edge(490, 22),
    "yellow": 0.08 + 0.66 * (1 - edge(510, 12)),
}


SOMEWHAT_MATT = Finish(0.3, "beckmann", 0.4)


def stuff(name: str, factor: float = 1.0, finish: Finish = SOMEWHAT_MATT) -> Surface:
    return Surface(STUFF[name] * factor, finish)


def ground(kind: str, seed: int, size: tuple[float, float] = (1400.0, 1400.0), texels: int = 1024) -> Thing:
    """What everything stands on, at z = 0."""
    options: dict[str, Any] = {"size": size}
    if kind == "wood":
        matter = Body(
            (stuff("oak"), stuff("oak", 0.62), stuff("walnut", 0.7)), Pattern("wood", seed), relief="", texels=texels,
        )  # fmt: skip
    elif kind == "dark wood":
        matter = Body(
            (stuff("walnut"), stuff("walnut", 0.6), stuff("walnut", 0.4)), Pattern("wood", seed), texels=texels
        )
    elif kind == "linen":
        cloth = Finish(matt=1.0)
        matter = Body((stuff("linen", 1.0, cloth), stuff("linen", 0.86, cloth)), Pattern("cloth", seed), texels=texels)
        options |= {"sag_mm": 0.7, "cells": 160}
    elif kind in ("stone", "slate"):
        finish = Finish(0.3, "beckmann", 0.5)
        matter = Body(
            (stuff(kind, 1.0, finish), stuff(kind, 1.5 if kind == "slate" else 0.84, finish)),
            Pattern("stone", seed),
            texels=texels,
        )
    else:
        return Thing("plane", options, place(), stuff("paper", 1.0, Finish(matt=1.0)))
    return Thing("plane", options, place(), matter)


def window_light(
    light: str,
    power: float,
    azimuth_deg: float,
    height_deg: float,
    away: float = 900.0,
    half: tuple[float, float] = (300.0, 380.0),
) -> Lamp:
    """A window seen from the origin: the light comes from this azimuth (0 is +x, 90 is +y) and height."""
    azimuth, height = np.radians([azimuth_deg, height_deg])
    at = away * np.array([np.cos(height) * np.cos(azimuth), np.cos(height) * np.sin(azimuth), np.sin(height)])
    # As seen from the origin its brightness, not its power, is given: scaled so that power is the light that arrives.
    arriving = 4 * half[0] * half[1] / away**2 * np.sin(height)
    return Lamp(light_named(light), power / arriving, (at[0], at[1], at[2]), (0.0, 0.0, 0.0), half)


def surrounding(light: str, power: float) -> Lamp:
    """Light from everywhere, as walls and sky give it."""
    return Lamp(light_named(light), power / np.pi)


# Soap -----------------------------------------------------------------------------------------------


def flat_bar(
    portions: tuple[Surface, ...], pattern: Pattern, at: Array, size: tuple[float, float, float] = (84.0, 60.0, 26.0),
    along: float = 0.0, **body: Any,
) -> Thing:  # fmt: skip
    """A bar that lies on a cut face, the other up: its own y is the loaf's height, its own z the loaf's length."""
    soap = Body(
        portions,
        pattern,
        origin=(0.0, along, size[1] / 2),
        axes=((1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0)),
        **{"relief": "cut", "relief_mm": 0.05, **body},
    )
    return Thing("block", {"size": size, "loaf_height": size[1]}, at, soap)


def loaf(
    portions: tuple[Surface, ...], pattern: Pattern, at: Array, size: tuple[float, float, float] = (80.0, 250.0, 58.0),
    top: str = "level", top_mm: float = 1.0, seed: int = 0, **body: Any,
) -> Thing:  # fmt: skip
    """A loaf standing: its own z is the loaf's height."""
    soap = Body(portions, pattern, origin=(0.0, 0.0, size[2] / 2), **{"relief": "skin", "relief_mm": 0.05, **body})
    options = {"size": size, "loaf_height": size[2], "top": top, "top_mm": top_mm, "seed": seed, "cells": 90}
    return Thing("block", options, at, soap)


def mould(inner: tuple[float, float, float], wall: float, at: Array, seed: int) -> list[Thing]:
    """Four boards about an inner space (width, length, height), standing on the ground at `at`."""
    w, length, h = inner
    things = []
    for x, y, sx, sy in (
        (-(w + wall) / 2, 0, wall, length + 2 * wall),
        ((w + wall) / 2, 0, wall, length + 2 * wall),
        (0, -(length + wall) / 2, w, wall),
        (0, (length + wall) / 2, w, wall),
    ):
        axes = (
            ((0.0, 1.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
            if sy > sx
            else ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
        )
        wood = Body(
            (stuff("board"), stuff("board", 0.78), stuff("oak", 0.9)),
            Pattern("wood", seed),
            (0, 300.0 + 90 * x, 0),
            axes,
            texels=160,
        )
        things.append(Thing("block", {"size": (sx, sy, h), "cells": 14, "radius": 1.0}, at @ place(x, y, h / 2), wood))
    return things
