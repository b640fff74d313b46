"""Records of what was measured or seen: colours, weights, alkali tests, the surface, the room."""

from __future__ import annotations

import json
import math
from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal, Self

from curejournal.base.messages import msg
from curejournal.colour.sample import Lab, Matrix3

AlkaliMethod = Literal["strip", "meter", "titration"]
SurfaceLook = Literal["clear", "ash", "orange spots", "sweat", "lye pocket", "weeping"]
Weighed = Literal["lye", "oils", "lye and oils"]
WeighedHow = Literal["weighed twice", "weighed by two people", "photo of the scale", "batter weighed"]
Part = Literal["", "rim", "gel", "veins", "base"]
"""What of a portion is followed apart from it: the rim or the gelled middle of a bar, veins or the colour between."""
PARTS: dict[Part, str] = {
    "rim": msg("rim"),
    "gel": msg("gelled middle"),
    "veins": msg("veins"),
    "base": msg("between the veins"),
}


@dataclass(frozen=True)
class Subject:
    """What is followed: a portion, or a part of it."""

    portion: str
    part: Part = ""

    @classmethod
    def of(cls, name: str, portions: Collection[str]) -> Self:
        """Say what a name stands for; a portion of just that name comes first."""
        if name not in portions:
            for part in PARTS:
                portion = name.removesuffix(cls("", part).name)
                if portion.strip() and portion != name:
                    return cls(portion, part)
        return cls(name)

    @property
    def name(self) -> str:
        """The portion's name, with that of the part."""
        return msg("{portion} ({part})", portion=self.portion, part=PARTS[self.part]) if self.part else self.portion


@dataclass(frozen=True)
class ColourReading:
    """The colour of one portion in one photo.

    Mirrors `colour.sample.ColourSample` as plain values, plus where it came
    from. Readings of one photo share part of their error: they compare better
    than their own covariances say. A `part` is followed apart: it is not the colour of the portion itself.
    `left_out` are parts that the window shows besides, and that the maker does not follow.
    """

    portion: str
    lab: Lab
    covariance: Matrix3
    grade: str
    reasons: tuple[str, ...]
    pixels: int
    spread: Lab
    card: str
    area: str
    corners: tuple[tuple[float, float], ...]
    model: str
    software: str = ""
    part: Part = ""
    left_out: tuple[Part, ...] = ()

    @property
    def subject(self) -> str:
        """What its colour is followed as: the portion, or a part of it."""
        return Subject(self.portion, self.part).name

    @property
    def outline(self) -> tuple[tuple[float, float], ...]:
        """The polygon of `area`, pixels of the upright picture; empty if it is told otherwise, as imports may."""
        try:
            points = tuple((float(x), float(y)) for x, y in json.loads(self.area))
        except (ValueError, TypeError):
            return ()
        return points if len(points) > 2 and all(map(math.isfinite, sum(points, ()))) else ()


@dataclass(frozen=True)
class PhotoNote:
    """A photo filed under the batch; `why_no_colour` says why nothing was measured in it.

    `patch_errors` are the misfits (ΔE00) of the patches of `card`: over many photos they tell when a card fades.
    """

    caption: str = ""
    why_no_colour: str = ""
    card: str = ""
    patch_errors: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class Weighing:
    """The weight of one marked bar or tray. Always weigh the same ones.

    `grams` is what the scale showed less `tare_g`; `resolution_g` the step of the scale.
    `confirmed` says that the maker was asked about an unlikely weight and stood by it.
    """

    subject: str
    grams: float
    resolution_g: float = 1.0
    tare_g: float = 0.0
    bars: int = 1
    confirmed: bool = False


@dataclass(frozen=True)
class AlkaliTest:
    """A pH by strip or meter, or a titration of free caustic alkali.

    pH: `ph` as read, `half_width` of the strip's step or meter's doubt,
    `strength_pct` grams of soap in 100 ml of distilled water.
    Titration: `soap_g`, `acid_ml` of hydrochloric acid of `acid_mol_l`, `blank_ml`;
    `bar_weight_g` is the marked bar's weight that day, since free alkali in % rises as water leaves.
    `bar` says which bar was tested; `packet` which packet the strip is from: strips of one packet err alike.
    """

    method: AlkaliMethod
    ph: float | None = None
    half_width: float | None = None
    strength_pct: float | None = None
    temperature_c: float | None = None
    soap_g: float | None = None
    acid_ml: tuple[float, ...] = ()
    acid_mol_l: float | None = None
    blank_ml: float = 0.0
    bar_weight_g: float | None = None
    bar: str = ""
    packet: str = ""


@dataclass(frozen=True)
class SurfaceNote:
    """What the maker saw on the surface: ash, orange spots, sweat, lye pockets, or nothing.

    After the cut it speaks of cut faces too, unless `outside_only`. `set_aside` counts the affected bars that were
    taken out of the batch.
    """

    look: SurfaceLook
    count: int | None = None
    area_pct: float | None = None
    note: str = ""
    outside_only: bool = False
    set_aside: int | None = None


@dataclass(frozen=True)
class ScalarReading:
    """Any other measured quantity: an entry of `cure.kinds.KINDS`."""

    kind: str
    value: float


@dataclass(frozen=True)
class WeighingCheck:
    """What makes a blunder in the recipe's weights unlikely: how it was guarded against, and what that covers.

    `batter_g` is the mass of all batter, without its pot, where that was weighed, and `resolution_g` the scale's step.
    """

    covers: Weighed
    how: WeighedHow
    batter_g: float | None = None
    resolution_g: float = 1.0


@dataclass(frozen=True)
class PacketCheck:
    """Strips of one packet beside a calibrated meter, or a titrated bar's known pH, in the same soap solution."""

    packet: str
    strip_ph: float
    reference_ph: float
    half_width: float = 0.5
    reference_half_width: float = 0.1
