"""What goes wrong: faded and yellowed cards, sleeves, coloured walls, soap that alone shines, deep moulds."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from tests.path_traced.laying import Print, mould, stuff, surrounding, window_light
from tests.path_traced.prints import print_of
from tests.path_traced.soaps import Under, loaf_under
from tests.path_traced.world import Array, Body, Finish, Lamp, Lens, Thing, place
from tests.path_traced.worlds import Draw
from tests.scene_items import Paint
from tests.spectra import edge, surface

Fault = Callable[[Draw, Under, Print, int], tuple[Under, Print, dict[str, Any]]]


def _faded(draw: Draw, under: Under, made: Print, which: int) -> tuple[Under, Print, dict[str, Any]]:
    fade = round(draw.between(0.1, 0.5), 2)
    return under, print_of(draw.world, which, fade), {"truth": {"fade": fade}}


def _through(made: Print, passes: Array, paper: Finish, ink: Finish) -> Print:
    """A print behind something that light passes twice."""

    def behind(paint: Paint) -> Paint:
        assert paint.reflectance is not None
        return surface(paint.reflectance * passes)

    white = behind(made.paper)
    paints = {name: white if paint is made.paper else behind(paint) for name, paint in made.paints.items()}
    return Print(paints, white, behind(made.ink), paper, ink)


def _yellowed(draw: Draw, under: Under, made: Print, which: int) -> tuple[Under, Print, dict[str, Any]]:
    strength = round(draw.between(0.08, 0.4), 2)
    passes = 1 - strength * edge(485, 32) - 0.08 * strength
    return under, _through(made, passes, made.paper_finish, made.ink_finish), {"truth": {"yellowed": strength}}


def _wall(draw: Draw, under: Under, made: Print, which: int) -> tuple[Under, Print, dict[str, Any]]:
    """A coloured board stands beside the soap, opposite the window, on the side where the camera is not."""
    colour, away = draw.one(("red", "green", "blue", "yellow")), draw.between(85, 140)
    slant, light = draw.between(-35, 35), draw.one(draw.world.lights[:3])
    half, share = (draw.between(200, 400), draw.between(250, 450)), draw.between(0.2, 0.4)

    def room(lens: Lens) -> tuple[tuple[Thing, ...], tuple[Lamp, ...], tuple[str, ...]]:
        side = -1 if lens.at[0] > 0 else 1
        wall = Thing("plane", {"size": (180.0, 260.0)}, place(side * away, 0, 90, 0, 0, -90 * side), stuff(colour))
        key = window_light(light, 1.0, (180 if side > 0 else 0) + slant, 34, 1200, half)
        return (wall,), (key, surrounding(light, share)), (light,)

    alone = replace(under, things=(under.soap, *(thing for thing in under.things if thing.shape == "many")))
    return alone, made, {"room": room, "truth": {"wall": colour, "wall_away_mm": round(away)}}


def _sleeve(draw: Draw, under: Under, made: Print, which: int) -> tuple[Under, Print, dict[str, Any]]:
    """A clear sleeve over the card, cut out at its window: smooth, and a little light lost on the way in and out."""
    lost = round(draw.between(0.06, 0.2), 3)
    shine = Finish(round(draw.between(0.05, 0.09), 3), draw.world.model)
    passes = (1 - lost) * (1 - 0.4 * lost * edge(470, 40))
    return under, _through(made, passes, shine, shine), {"truth": {"sleeve_loss": lost}}


def _shine(draw: Draw, under: Under, made: Print, which: int) -> tuple[Under, Print, dict[str, Any]]:
    """A broad light mirrored evenly in smooth soap, beside a matt card."""
    body = under.soap.made_of
    assert isinstance(body, Body)
    smooth = Finish(round(draw.between(0.06, 0.14), 3), draw.world.model)
    soap = replace(
        under.soap,
        made_of=replace(
            body, portions=tuple(replace(p, finish=smooth) for p in body.portions), relief_mm=min(body.relief_mm, 0.02)
        ),
    )
    things = tuple(soap if thing is under.soap else thing for thing in under.things)
    matt = Finish(0.3, draw.world.model, 1.0)

    def room(lens: Lens) -> tuple[tuple[Thing, ...], tuple[Lamp, ...], tuple[str, ...]]:
        light = draw.one(draw.world.lights[:4])
        eye = np.array(lens.at) - lens.towards
        azimuth = np.degrees(np.arctan2(-eye[1], -eye[0]))
        height = np.degrees(np.arctan2(eye[2], np.hypot(eye[0], eye[1])))
        broad = window_light(light, draw.between(0.12, 0.45), azimuth, height, 900, (420, 420))
        key = window_light(light, 1.0, draw.between(0, 360), draw.between(25, 40), 1300, (250, 300))
        return (), (key, broad, surrounding(light, draw.between(0.15, 0.4))), (light,)

    return replace(under, soap=soap, things=things), replace(made, paper_finish=matt, ink_finish=matt), {"room": room}


def _deep(draw: Draw, under: Under, made: Print, which: int) -> tuple[Under, Print, dict[str, Any]]:
    """The card on the rim of a mould, the soap well below."""
    depth = round(draw.between(10, 40), 1)
    lower = loaf_under("loaf", draw.one(("level", "combed")), wet=draw.chance(0.4))(draw, int(draw.rng.integers(99)))
    size = lower.soap.options["size"]
    walls = mould((79.0, 241.0, size[2] + depth), 14.0, lower.soap.place @ place(0, 0, -size[2] / 2), draw.seed)
    kept = tuple(thing for thing in lower.things if thing is lower.soap or thing.shape != "block")
    return replace(lower, things=(*kept, *walls), depth=depth), made, {"truth": {"depth_mm": depth}}


FAULTS: Mapping[str, Fault] = {
    "faded card": _faded,
    "yellowed card": _yellowed,
    "coloured wall": _wall,
    "sleeve": _sleeve,
    "soap shines": _shine,
    "deep mould": _deep,
}
