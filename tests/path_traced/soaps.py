"""What lies under a card: bars of every pattern, loaves in their moulds, wet batter."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tests.path_traced.laying import flat_bar, loaf, mould
from tests.path_traced.world import Finish, Pattern, Surface, Thing, place
from tests.path_traced.worlds import Draw
from tests.scene_items import Lab
from tests.spectra import lab_of


@dataclass(frozen=True, eq=False)
class Under:
    """What lies under a window: its things, which of them is the soap, and the height of its upper side."""

    kind: str
    things: tuple[Thing, ...]
    soap: Thing
    top: float
    names: tuple[str, ...]
    depth: float = 0.0
    """From where a card lies down to the soap, in mm."""


def _moved(lab: Lab, lightness: float, a: float, b: float) -> Lab:
    return (lab[0] + lightness, lab[1] + a, lab[2] + b)


def bar_under(kind: str, portions: int, pattern: str, **options: Any) -> Callable[[Draw, int], Under]:
    names = {
        "gel": ("rim", "gelled"),
        "veins": ("base", "vein"),
        "specks": ("soap", "specks"),
        "embeds": ("base", "embeds"),
    }

    def make(draw: Draw, family: int) -> Under:
        finish = draw.finish()
        first = draw.soap(finish, family)
        rest = [draw.soap(finish) for _ in range(portions - 1)]
        if kind == "gel":  # the middle is darker and warmer, of the same soap
            lab = lab_of(first.wanted)
            rest = [draw.soap(finish, near=_moved(lab, draw.between(-20, -8), draw.between(1, 5), draw.between(2, 12)))]
        own = dict(options)
        if pattern == "layers":
            own["edges"] = np.sort(draw.rng.uniform(14, 46, portions - 1)).tolist()
        if pattern == "gel":
            own["radius"] = draw.between(0.28, 0.75)
        if pattern == "swirl":
            own |= {"grain_mm": draw.between(30, 60), "portions": portions, "fold": draw.between(0.5, 1.0)}
        size = (draw.between(78, 92), draw.between(56, 64), draw.between(22, 34))
        stamp = kind == "stamped"
        soap = flat_bar(
            (first, *rest), Pattern(pattern, draw.seed, own), place(0, 0, size[2] / 2, draw.about(5)), size,
            along=draw.between(-60, 60), mottling=draw.between(0.0, 0.02),
            relief="stamp" if stamp else "cut",
            relief_mm=draw.between(0.25, 0.6) if stamp else draw.between(0.02, 0.09),
        )  # fmt: skip
        things = [soap]
        if kind == "crumbs":
            crumbs = [
                (
                    {"size": draw.between(0.6, 1.8), "seed": k},
                    place(draw.between(-24, 24), draw.between(-17, 17), size[2], draw.between(0, 360)),
                )
                for k in range(12)
            ]
            things.append(Thing("many", {"shape": "crumb", "each": crumbs}, place(), first))
        if draw.chance(0.5):
            beside = replace(
                soap,
                place=place(
                    draw.one((-1, 1)) * draw.between(95, 120), draw.between(-60, 60), size[2] / 2, draw.about(25)
                ),
            )
            things.append(beside)
        called = names.get(pattern) or tuple(f"portion {k + 1}" for k in range(portions))
        return Under(kind, tuple(things), soap, size[2], called[:portions])

    return make


def loaf_under(kind: str, top: str, wet: bool = False, petals: bool = False) -> Callable[[Draw, int], Under]:
    def make(draw: Draw, family: int) -> Under:
        finish = Finish(round(draw.between(0.05, 0.09), 3), draw.world.model) if wet else draw.finish()
        first = draw.soap(finish, family)
        portions: tuple[Surface, ...] = (first,)
        pattern = Pattern("plain", draw.seed)
        if not wet and draw.chance(0.4):
            portions, pattern = (
                (first, draw.soap(finish)),
                Pattern("swirl", draw.seed, {"grain_mm": draw.between(40, 70), "portions": 2}),
            )
        height, rise = draw.between(48, 62), {"level": 0.8, "combed": 1.6, "spooned": 5.0, "peaks": 4.0}[top]
        at = place(0, 0, 0, 90 + draw.about(4))
        soap = loaf(
            portions, pattern, at @ place(0, 0, height / 2), (78.0, 240.0, height), top, 0.25 if wet else rise,
            draw.seed, mottling=0.0 if wet else draw.between(0, 0.02), relief="skin",
            relief_mm=0.0 if wet else draw.between(0.03, 0.1),
        )  # fmt: skip
        depth = draw.between(1.0, 4.0) + (0.6 * rise if not wet else 0)
        things = [soap, *mould((79.0, 241.0, height + depth), 14.0, at, draw.seed)]
        if wet:
            bubbles = []
            for _ in range(int(draw.rng.integers(5, 40))):
                size = draw.between(0.3, 1.3)
                spot = place(draw.between(-30, 30), draw.between(-50, 50), height - 0.02)
                bubbles.append(({"radius": size, "height": 0.55 * size}, spot))
            things.append(Thing("many", {"shape": "dome", "each": bubbles}, at, first))
        if petals:
            colour = draw.soap(Finish(0.4, "beckmann", 0.7), near=draw.one(((45, 38, 12), (70, 20, 50), (58, 14, -22))))
            petals_there = [
                (
                    {"length": draw.between(6, 14), "seed": k},
                    place(draw.between(-30, 30), draw.between(-70, 70), height + 1.0, draw.between(0, 360)),
                )
                for k in range(int(draw.rng.integers(4, 12)))
            ]
            things.append(Thing("many", {"shape": "petal", "each": petals_there}, at, colour))
        names = ("soap",) if len(portions) == 1 else ("portion 1", "portion 2")
        return Under(kind, tuple(things), soap, height, names, depth)

    return make


SOAPS: dict[str, Callable[[Draw, int], Under]] = {
    "plain bar": bar_under("plain", 1, "plain"),
    "swirl": bar_under("swirl", 2, "swirl"),
    "three-colour swirl": bar_under("swirl", 3, "swirl"),
    "layers": bar_under("layers", 2, "layers"),
    "three layers": bar_under("layers", 3, "layers"),
    "drops": bar_under("drops", 2, "drops"),
    "marble": bar_under("marble", 2, "veins"),
    "partly gelled": bar_under("gel", 2, "gel"),
    "embeds": bar_under("embeds", 2, "embeds"),
    "specks": bar_under("specks", 2, "specks"),
    "stamped": bar_under("stamped", 1, "plain"),
    "crumbs": bar_under("crumbs", 1, "plain"),
    "plain bar again": bar_under("plain", 1, "plain"),
    "loaf": loaf_under("loaf", "level"),
    "textured top": loaf_under("textured top", "combed"),
    "petals": loaf_under("petals", "level", petals=True),
    "wet batter": loaf_under("wet batter", "level", wet=True),
}

BARS = tuple(kind for kind in SOAPS if kind not in ("loaf", "textured top", "petals", "wet batter"))
