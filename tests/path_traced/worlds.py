"""What each set of scenes draws from: materials, inks, cameras, lights and seeds. No two sets share any of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from tests.path_traced.world import Finish, Surface
from tests.printing import Printer
from tests.scene_items import Lab
from tests.spectra import soap_reflectance


@dataclass(frozen=True)
class World:
    """What one set draws from."""

    name: str
    first_seed: int
    model: str
    roughness: tuple[float, float]
    paper_matt: tuple[float, float]
    printers: tuple[Printer, ...]
    cameras: tuple[tuple[str, int | None], ...]
    lights: tuple[str, ...]
    lamps: tuple[str, ...]
    families: tuple[tuple[Lab, Lab], ...]
    grounds: tuple[str, ...]


CHOOSING = World(
    "choosing",
    1000,
    "beckmann",
    (0.10, 0.32),
    (0.35, 0.75),
    (Printer(41), Printer(42, ink_change=7), Printer(43, dots=2.0)),
    (
        ("camera 1", 1),
        ("camera 1", 4),
        ("Canon EOS 5D Mark II", None),
        ("Nikon D700", None),
        ("Canon PowerShot S90", 5),
        ("Sony ILCE-7RM2", None),
    ),
    ("daylight, overcast", "daylight, window", "daylight, blue sky", "LED, neutral", "LED, warm", "tungsten"),
    ("LED, warm", "tungsten", "fluorescent, three-band"),
    (
        ((91, 1, 14), (4, 2, 6)),
        ((82, 4, 26), (6, 4, 9)),
        ((64, 16, 44), (8, 6, 8)),
        ((45, 15, 28), (9, 5, 8)),
        ((28, 8, 12), (8, 4, 5)),
        ((84, -10, 8), (6, 5, 6)),
        ((60, -12, 16), (10, 6, 8)),
        ((76, 18, 6), (7, 7, 6)),
        ((66, 12, -14), (8, 6, 8)),
        ((20, 2, 2), (5, 2, 3)),
        ((48, 32, 22), (8, 8, 8)),
    ),
    ("wood", "paper", "stone"),
)
REPORTING = World(
    "reporting",
    70_000,
    "ggx",
    (0.06, 0.20),
    (0.2, 0.65),
    (
        Printer(141, ink_change=31),
        Printer(142, ink_change=32, dots=1.7),
        Printer(143, ink_change=33, ink_error=0.09),
        Printer(144, ink_change=34, dots=2.4),
    ),
    (
        ("Sony IMX219", None),
        ("Sony IMX219", 21),
        ("OmniVision OV5647", None),
        ("OmniVision OV5647", 22),
        ("Nikon D7000", None),
        ("Canon Digital Rebel XTi", 23),
        ("Sony ILCE-7SM2", None),
    ),
    (
        "daylight 4600",
        "daylight 5800",
        "daylight 7200",
        "LED, cool",
        "LED-B2",
        "black body 2850",
        "fluorescent, cool white",
    ),
    ("black body 2700", "LED-B1", "FL12"),
    (
        ((93, -1, 9), (3, 2, 5)),
        ((87, 2, 20), (5, 3, 7)),
        ((74, 9, 34), (8, 6, 9)),
        ((56, 20, 38), (9, 6, 9)),
        ((36, 13, 20), (8, 5, 7)),
        ((72, -8, 22), (9, 5, 9)),
        ((78, 14, 2), (7, 7, 6)),
        ((58, 8, -18), (9, 6, 8)),
        ((24, 1, 0), (7, 2, 3)),
        ((54, 28, 12), (9, 9, 8)),
        ((66, -16, -6), (8, 6, 6)),
        ((80, 6, 52), (6, 6, 9)),
    ),
    ("dark wood", "linen", "slate", "paper"),
)
WORLDS = {world.name: world for world in (CHOOSING, REPORTING)}


class Draw:
    """Chance of one scene, with the questions that a scene asks of it."""

    def __init__(self, world: World, number: int) -> None:
        self.world, self.seed = world, world.first_seed + number
        self.rng = np.random.default_rng(self.seed)

    def between(self, low: float, high: float) -> float:
        return float(self.rng.uniform(low, high))

    def about(self, spread: float) -> float:
        return float(self.rng.normal(0, spread))

    def chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def one(self, options: Any) -> Any:
        return options[int(self.rng.integers(len(options)))]

    def finish(self, low: float | None = None, high: float | None = None) -> Finish:
        least, most = self.world.roughness
        return Finish(
            round(self.between(low or least, high or most), 3), self.world.model, round(self.between(0, 0.15), 3)
        )

    def lab(self, family: int) -> Lab:
        centre, half = self.world.families[family % len(self.world.families)]
        lab = np.array(centre) + np.array(half) * self.rng.uniform(-1, 1, 3)
        return (float(lab[0]), float(lab[1]), float(lab[2]))

    def soap(self, finish: Finish, family: int | None = None, near: Lab | None = None) -> Surface:
        """A smooth spectrum of a soap's colour; `near` moves a little from another."""
        while True:
            lab = self.lab(int(self.rng.integers(99)) if family is None else family)
            if near is not None:
                lab = tuple(np.add(near, self.rng.uniform(-1, 1, 3) * [4, 3, 4]).tolist())
            try:
                return Surface(soap_reflectance(lab, int(self.rng.integers(1000))), finish)
            except ValueError:  # no smooth reflectance has that colour
                continue
