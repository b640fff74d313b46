"""The demo's soaps as their makers would photograph them: with a card to measure by, and without one to show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np

from tests.path_traced.laying import (
    LaidCard,
    Print,
    flat_bar,
    ground,
    lay_card,
    mould,
    stuff,
    surrounding,
    window_light,
)
from tests.path_traced.shapes import in_loaf, top_relief
from tests.path_traced.world import Array, Body, Finish, Lamp, Lens, Pattern, Surface, Thing, moved, place
from tests.scene_items import Paint
from tests.spectra import soap_reflectance

BAR = (80.0, 26.0, 58.0)
"""A bar as it stood in the loaf: width, thickness, height (mm)."""
CURED = Finish(0.24)
FRESH = Finish(0.17)
WET = Finish(0.09)
UNCUT = ("loaf", "mould")
"""Settings of `show` in the first days."""


@dataclass(frozen=True)
class Style:
    """How a batch looks beside its colours: pattern over its portions, top, what was scattered on it, its ground."""

    portions: tuple[str, ...]
    pattern: str = "plain"
    options: Mapping[str, Any] | None = None
    top: str = "spooned"
    top_mm: float = 5.0
    scattered: str = ""
    ground: str = "wood"
    seed: int = 1


STYLES = {
    "UJ-31": Style(("sea buckthorn",), top="peaks", top_mm=6.0, ground="linen", seed=31),
    "UJ-32": Style(("juniper",), top="spooned", top_mm=6.0, scattered="berries", ground="stone", seed=32),
    "UJ-33": Style(
        ("rye and honey", "bran"), "specks", {"share": 0.012, "size_mm": 0.6}, "combed", 2.0, "oats", "dark wood", 33
    ),
    "UJ-34": Style(("charcoal", "birch"), "layers", {"edges": [29.0], "wave_mm": 3.4}, "peaks", 7.0, "", "slate", 34),
    "UJ-35": Style(("cardamom",), top="spooned", top_mm=5.0, scattered="pods", ground="dark wood", seed=35),
    "UJ-36": Style(
        ("cream", "heather", "cream"),
        "layers",
        {"edges": [15.0, 43.0], "wave_mm": 2.2},
        "peaks",
        5.5,
        "blossoms",
        "wood",
        36,
    ),
    "UJ-37": Style(("bog myrtle",), top="combed", top_mm=2.4, scattered="leaves", ground="linen", seed=37),
    "UJ-38": Style(("chamomile",), top="level", top_mm=1.2, scattered="petals", ground="wood", seed=38),
}
BRAN = (48.0, 11.0, 26.0)
SCATTER: dict[str, tuple[tuple[float, float, float], str, int, tuple[float, float]]] = {
    "berries": ((24.0, 2.0, -8.0), "dome", 20, (2.4, 3.4)),
    "oats": ((78.0, 5.0, 24.0), "petal", 60, (4.0, 6.0)),
    "pods": ((62.0, -7.0, 28.0), "petal", 14, (8.0, 11.0)),
    "blossoms": ((52.0, 28.0, -14.0), "petal", 70, (3.5, 6.5)),
    "leaves": ((46.0, -14.0, 26.0), "petal", 16, (9.0, 14.0)),
    "petals": ((90.0, 0.0, 8.0), "petal", 30, (6.0, 9.0)),
}
"""Colour, shape, how many on a loaf's 100 mm, and sizes (mm) of what is scattered on a top. Ours."""


def surfaces(style: Style, paints: Mapping[str, Paint], finish: Finish) -> tuple[Surface, ...]:
    """The portions of a style's pattern in the colours of a day."""
    made = []
    for name in style.portions:
        paint = paints.get(name)
        reflectance = soap_reflectance(BRAN, 1) if paint is None else paint.reflectance
        assert reflectance is not None
        made.append(Surface(reflectance, finish))
    return tuple(made)


def standing_bar(style: Style, soap: tuple[Surface, ...], at: Array, along: float, texels: int = 448) -> list[Thing]:
    """A bar on its loaf's underside, a cut face towards -y, with what was scattered on its top."""
    body = Body(
        soap, Pattern(style.pattern, style.seed, dict(style.options or {})), (0.0, along, BAR[2] / 2),
        mottling=0.014, relief="cut", relief_mm=0.05, texels=texels,
    )  # fmt: skip
    options = {
        "size": BAR,
        "loaf_height": BAR[2],
        "top": style.top,
        "top_mm": style.top_mm,
        "seed": style.seed,
        "cells": 110,
    }
    bar = Thing("block", options, at @ place(0, 0, BAR[2] / 2), body)
    return [
        bar,
        *_scatter(style, bar, (-BAR[0] / 2 + 6, BAR[0] / 2 - 6), (-BAR[1] / 2 + 2, BAR[1] / 2 - 2), BAR[2] / 2),
    ]


def _scatter(style: Style, on: Thing, xs: tuple[float, float], ys: tuple[float, float], top: float) -> list[Thing]:
    if not style.scattered:
        return []
    lab, shape, count, sizes = SCATTER[style.scattered]
    body = on.made_of
    assert isinstance(body, Body)
    rng = np.random.default_rng(style.seed + int(abs(body.origin[1]) * 7))
    each = []
    for k in range(max(1, round(count * (ys[1] - ys[0]) / 100 * rng.uniform(0.7, 1.3)))):
        where = np.array([[float(np.clip(rng.normal(0, 0.45), -0.98, 0.98)) * xs[1], rng.uniform(*ys), top]])
        rise = float(top_relief(in_loaf(where, body), style.top, style.top_mm, style.seed)[0])
        size = float(rng.uniform(*sizes))
        options = {"radius": size, "height": 0.9 * size} if shape == "dome" else {"length": size, "seed": k, "cells": 9}
        lift = 0.0 if shape == "dome" else 0.04 * size
        tilt = place(0, 0, 0, rng.uniform(0, 360), rng.normal(0, 16), rng.normal(0, 16))
        each.append((options, place(where[0, 0], where[0, 1], top + rise + lift) @ tilt))
    finish = Finish(0.18) if shape == "dome" else Finish(0.4, "beckmann", 0.7)
    return [Thing("many", {"shape": shape, "each": each}, on.place, Surface(soap_reflectance(lab, 2), finish))]


def lying_bar(
    style: Style, soap: tuple[Surface, ...], at: Array, along: float, texels: int = 320, **look: Any
) -> Thing:
    """A bar on a cut face, the other up; `at` is the middle of its underside."""
    size = (BAR[0], BAR[2], BAR[1])
    pattern = Pattern(style.pattern, style.seed, dict(style.options or {}))
    bar = flat_bar(
        soap, pattern, at @ place(0, 0, size[2] / 2), size, along, **{"mottling": 0.014, "texels": texels, **look}
    )
    options = {**bar.options, "top": style.top, "top_mm": 0.8 * style.top_mm, "seed": style.seed, "cells": 90}
    return replace(bar, options=options)


def whole_loaf(
    style: Style, soap: tuple[Surface, ...], at: Array, length: float = 250.0, texels: int = 512
) -> list[Thing]:
    body = Body(
        soap, Pattern(style.pattern, style.seed, dict(style.options or {})), (0.0, 0.0, BAR[2] / 2),
        mottling=0.014, relief="skin", relief_mm=0.06, texels=texels,
    )  # fmt: skip
    options = {
        "size": (BAR[0], length, BAR[2]), "loaf_height": BAR[2], "top": style.top, "top_mm": style.top_mm,
        "seed": style.seed, "cells": 180,
    }  # fmt: skip
    whole = Thing("block", options, at @ place(0, 0, BAR[2] / 2), body)
    return [
        whole,
        *_scatter(style, whole, (-BAR[0] / 2 + 6, BAR[0] / 2 - 6), (-length / 2 + 8, length / 2 - 8), BAR[2] / 2),
    ]


def room(kind: str, seed: int, behind: float = 430.0) -> tuple[Thing, ...]:
    """A bench and the wall behind it."""
    wall = Thing(
        "plane", {"size": (2600.0, 1500.0)}, place(0, behind, 700, 0, 90), stuff("plaster", 0.9, Finish(matt=1.0))
    )
    return (ground(kind, seed, (1500.0, 1500.0), 900), wall)


def eye(
    at: tuple[float, float, float],
    towards: tuple[float, float, float],
    fov: float,
    size: tuple[int, int],
    near: float = 0.0,
) -> Lens:
    """A phone's longer lens, wide open: what is `near` mm before the point looked at is sharp."""
    away = float(np.linalg.norm(np.subtract(at, towards)))
    return Lens(at, towards, fov, size, 1.7, away - near, (0.0, 0.0, 1.0))


def window_and_room(light: str, azimuth: float, height: float, fill: float) -> tuple[Lamp, ...]:
    """A window beside the bench and what the room throws back."""
    return (window_light(light, 1.0, azimuth, height, 900, (260, 330)), surrounding(light, fill))


# Pictures to show -------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Setting:
    """Things, lamps and lens of one picture."""

    things: tuple[Thing, ...]
    lamps: tuple[Lamp, ...]
    lens: Lens


def show(style: Style, paints: Mapping[str, Paint], how: str, light: str, size: tuple[int, int], seed: int) -> Setting:
    """Bars or a loaf of a batch, composed to be looked at."""
    rng = np.random.default_rng(seed)
    soap = surfaces(style, paints, FRESH if how in UNCUT else CURED)
    things: list[Thing] = [*room(style.ground, seed)]
    away = float(rng.choice([0.0, 30.0]))
    if how == "row":
        for k in range(5):
            y = (k - 1.5) * 38 + rng.normal(0, 2)
            things += standing_bar(
                style, soap, place(rng.normal(0, 2.5) + 9 * k - 14, y, 0, rng.normal(0, 3)), 30.0 * k
            )
        lens = eye((-150.0, -320.0, 175.0), (2.0, -2.0, 26.0), 30, size, 40)
    elif how == "trio":
        for k in range(3):
            things += standing_bar(
                style, soap, place((k - 1) * 66 + rng.normal(0, 2), k * 38 - 26, 0, -15 + rng.normal(0, 4)), 30.0 * k
            )
        lens = eye((40.0, -350.0, 150.0), (2.0, 6.0, 32.0), 38, size, 30)
    elif how == "stack":
        z = 0.0
        for k in range(3):
            stamp = {"relief": "stamp", "relief_mm": 0.7, "texels": 640} if k == 2 and style.pattern != "layers" else {}
            at = place(-22 + rng.normal(0, 2.5), rng.normal(0, 2), z, rng.normal(0, 6))
            things.append(lying_bar(style, soap, at, 30.0 * k, **stamp))
            z += BAR[1] + 0.25
        things += standing_bar(style, soap, place(62, -18, 0, 24), 110.0)
        lens = eye((-50.0, -340.0, 165.0), (12.0, -2.0, 38.0), 31, size, 25)
    elif how == "loaf":
        things += whole_loaf(style, soap, place(14, 66, 0, 3), 180.0)
        things += standing_bar(style, soap, place(4, -62, 0, 12), 130.0)
        things.append(lying_bar(style, soap, place(-86, -78, 0, 24), 170.0))
        lens = eye((-150.0, -330.0, 190.0), (-18.0, -4.0, 26.0), 43, size, 60)
    else:
        at = place(0, 0, 0, 28)
        things += whole_loaf(style, soap, at)
        things += mould((81.5, 252.0, BAR[2] + 9.0), 13.0, at, style.seed)
        lens = eye((-90.0, -350.0, 260.0), (8.0, 0.0, 26.0), 47, size, 20)
    return Setting(tuple(things), window_and_room(light, 158 + away, 36, 0.27), lens)


# Pictures to measure by -------------------------------------------------------------------------------


def hand_held(
    laid: LaidCard, size: tuple[int, int], rng: np.random.Generator, share: float, slid_mm: float = 0.0
) -> Lens:
    """Over the card, tilted as a hand tilts it; the card takes this share of the picture's width."""
    w, h = laid.card.size_mm
    middle = laid.points([[w / 2, h / 2]])[0]
    away = w / share / 1.274
    tilt, towards = np.radians([rng.uniform(8, 26), rng.uniform(235, 305)])
    at = middle + away * np.array([np.sin(tilt) * np.cos(towards), np.sin(tilt) * np.sin(towards), np.cos(tilt)])
    aim = middle + np.array([slid_mm, 4.0, 0.0])
    at = at + np.array([slid_mm, 0.0, 0.0])
    return Lens(
        (at[0], at[1], at[2]), (aim[0], aim[1], aim[2]), 65.0, size, 1.0, up=(float(rng.normal(0, 0.05)), 1.0, 0.0)
    )


def side_light(light: str, lens: Lens, rng: np.random.Generator) -> tuple[Lamp, ...]:
    """A window that is not mirrored to the eye, as a maker would turn it."""
    ahead = np.subtract(lens.at, lens.towards)
    mirrored = ahead / np.linalg.norm(ahead) * [-1, -1, 1]
    while True:
        key = window_light(light, 1.0, rng.uniform(100, 260), rng.uniform(34, 56), 1200, (320, 380))
        towards = np.array(key.at) / np.linalg.norm(key.at)
        if np.degrees(np.arccos(towards @ mirrored)) > 48:
            return (key, surrounding(light, rng.uniform(0.35, 0.6)))


def through_window(
    style: Style, paints: Mapping[str, Paint], portion: str, cut: bool, made: Print, light: str,
    size: tuple[int, int], seed: int, slid_mm: float = 0.0, wet: bool = False,
) -> tuple[Setting, LaidCard]:  # fmt: skip
    """The card on a bar of one portion with others about, or over the loaf in its mould."""
    rng = np.random.default_rng(seed)
    finish = WET if wet else CURED if cut else FRESH
    alone = replace(style, portions=(portion, *(name for name in style.portions if name == "bran")))
    if portion not in style.portions or (len(style.portions) > 1 and "bran" not in style.portions):
        alone = replace(alone, pattern="plain", options=None, portions=(portion,))
    soap = surfaces(alone, paints, finish)
    things: list[Thing] = [ground(style.ground, seed % 5, (1100.0, 1100.0), 800)]
    if cut:
        under = lying_bar(
            replace(alone, top="level", top_mm=0.8), soap, place(0, 0, 0, rng.normal(0, 4)), 12.0 * (seed % 9)
        )
        top = BAR[1]
        at = place(
            rng.normal(0, 2), rng.normal(0, 2), top + rng.uniform(0.1, 0.4), rng.normal(0, 5), rng.normal(0, 0.4)
        )
        pattern = surfaces(style, paints, CURED)
        for x, y, turn in ((-118.0, 52.0, 82.0), (96.0, 96.0, 12.0), (-14.0, 112.0, -8.0)):
            where = place(x + rng.normal(0, 4), y + rng.normal(0, 4), 0, turn + rng.normal(0, 6))
            things += (
                [lying_bar(style, pattern, where, rng.uniform(0, 150))]
                if rng.random() < 0.4
                else standing_bar(style, pattern, where, rng.uniform(0, 150), 256)
            )
        things.append(under)
    else:
        turned = place(0, 0, 0, 90 + rng.normal(0, 3))
        level = replace(alone, top="level", top_mm=0.25 if wet else 0.9, scattered="")
        under, *_ = whole_loaf(level, soap, turned, texels=384)
        depth = rng.uniform(1.2, 3.0)
        top = BAR[2]
        things += [under, *mould((81.0, 251.0, BAR[2] + depth), 13.0, turned, style.seed)]
        at = place(rng.normal(0, 8), rng.normal(0, 2), top + depth + 0.1, rng.normal(0, 4))
    laid = lay_card(made_card(), made, at, 0.6, 0.15, 0.0, {"copy_id": "W-01"})
    lens = hand_held(laid, size, rng, rng.uniform(0.56, 0.66), slid_mm)
    things += laid.things
    return Setting(tuple(things), side_light(light, lens, rng), lens), laid


def made_card() -> Any:
    from tests.scenes import card_named

    return card_named("window")


Fields = dict[str, tuple[Thing, Array]]
"""By portion: the thing that shows it, and a field (4, 3) on it in its own mm."""


def pots(style: Style, paints: Mapping[str, Paint], portions: list[str], wet: bool) -> tuple[list[Thing], Fields]:
    """A little of each portion, poured aside in small moulds."""
    things: list[Thing] = []
    fields: Fields = {}
    for k, name in enumerate(portions):
        at = place(88.0 * (k - (len(portions) - 1) / 2), 62, 0, 90)
        alone = replace(style, portions=(name,), pattern="plain", options=None, top="level", top_mm=0.3, scattered="")
        soap = surfaces(alone, paints, WET if wet else FRESH)
        body = Body(soap, Pattern("plain", style.seed + k), (0.0, 90.0 * k, 11.0), mottling=0.01, texels=160)
        block = {"size": (52.0, 70.0, 22.0), "loaf_height": 22.0, "top": "level", "top_mm": 0.3, "seed": k, "cells": 60}
        pot = Thing("block", block, at @ place(0, 0, 11.0), body)
        things += [pot, *mould((52.4, 70.4, 25.0), 6.0, at, style.seed + k)]
        fields[name] = (pot, np.array([[-18, -26, 11.0], [18, -26, 11.0], [18, 26, 11.0], [-18, 26, 11.0]]))
    return things, fields


def beside_chart(
    style: Style, paints: Mapping[str, Paint], portions: list[str], chart: LaidCard, light: str,
    size: tuple[int, int], seed: int, cut: bool = True, wet: bool = False,
) -> tuple[Setting, Fields]:  # fmt: skip
    """Bars, or small moulds before the cut, beside the chart."""
    rng = np.random.default_rng(seed)
    bars, fields = _bars_apart(style, paints, portions, rng) if cut else pots(style, paints, portions, wet)
    middle = np.array([0.0, 6.0, 8.0])
    tilt, towards = np.radians([rng.uniform(4, 14), rng.uniform(250, 290)])
    at = middle + 232 * np.array([np.sin(tilt) * np.cos(towards), np.sin(tilt) * np.sin(towards), np.cos(tilt)])
    lens = Lens((at[0], at[1], at[2]), (0.0, 6.0, 8.0), 65.0, size, 1.0)
    things = (ground(style.ground, seed % 5, (1100.0, 1100.0), 800), *bars, *chart.things)
    return Setting(things, side_light(light, lens, rng), lens), fields


def _bars_apart(
    style: Style, paints: Mapping[str, Paint], portions: list[str], rng: np.random.Generator
) -> tuple[list[Thing], Fields]:
    """A layered bar for the portions in its layers, and a bar for each other one."""
    fields: Fields = {}
    half_z = BAR[1] / 2
    layered = [name for name in portions if name in style.portions and style.pattern == "layers"]
    bars: list[Thing] = []
    x = -47.0 if len(portions) > len(layered) or not layered else 0.0
    if layered:
        bar = lying_bar(
            replace(style, top="level", top_mm=0.8),
            surfaces(style, paints, CURED),
            place(x, 60, 0, rng.normal(0, 2)),
            20.0,
        )
        bars.append(bar)
        for name in layered:
            low, high = _band(style, name)
            y0, y1 = low - BAR[2] / 2, high - BAR[2] / 2
            fields[name] = (bar, np.array([[-33, y1, half_z], [33, y1, half_z], [33, y0, half_z], [-33, y0, half_z]]))
    for name in [name for name in portions if name not in layered]:
        plain = replace(style, portions=(name,), pattern="plain", options=None, top="level", top_mm=0.8)
        x = x + 92.0 if bars else (-47.0 if len(portions) > 1 else 0.0)
        bar = lying_bar(plain, surfaces(plain, paints, CURED), place(x, 60, 0, rng.normal(0, 2)), 40.0)
        bars.append(bar)
        fields[name] = (bar, np.array([[-32, 20, half_z], [32, 20, half_z], [32, -20, half_z], [-32, -20, half_z]]))
    return bars, fields


def _band(style: Style, name: str) -> tuple[float, float]:
    """Heights in the loaf between which a layer surely shows, the widest of its bands."""
    edges = [0.0, *(style.options or {})["edges"], BAR[2]]
    wave = (style.options or {})["wave_mm"] * 2.0 + 0.6
    bands = [
        (low + (wave if k else 2.0), high - (wave if k + 1 < len(style.portions) else 2.5))
        for k, (low, high) in enumerate(pairwise(edges))
        if style.portions[k] == name
    ]
    return max(bands, key=lambda band: band[1] - band[0])


def field_px(lens: Lens, bar: Thing, corners: Array) -> Array:
    return lens.project(moved(corners, bar.place))
