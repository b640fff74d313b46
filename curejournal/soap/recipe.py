"""What goes into a batch: oils, alkali, liquids and additives, each with its lot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Oil:
    """One fat of the recipe.

    `key` names an entry of `oils.toml`. A certificate's own saponification
    value (mg KOH per g) with its half-width wins over the published range.
    """

    key: str
    grams: float
    lot: str = ""
    certificate_sv: float | None = None
    certificate_sv_half_width: float = 1.0


@dataclass(frozen=True)
class Alkali:
    """Solid sodium or potassium hydroxide as weighed, impurities included."""

    kind: Literal["NaOH", "KOH"]
    grams: float
    purity_low_pct: float = 97.0
    purity_high_pct: float = 99.0
    lot: str = ""


@dataclass(frozen=True)
class Liquid:
    """A liquid, of which only part is water and part may be fat (milk, for one)."""

    name: str
    grams: float
    water_fraction: float = 1.0
    fat_fraction: float = 0.0
    lot: str = ""


@dataclass(frozen=True)
class Additive:
    """A fragrance, pigment or other addition; `portion` is empty if it went into the whole batch."""

    name: str
    kind: Literal["fragrance", "pigment", "other"]
    grams: float
    portion: str = ""
    lot: str = ""


MOST_WATER = 0.30
"""Water's part of soap that no cold-process batch is above: lye of 25%, the weakest in use, leaves about 28%
(arithmetic)."""


@dataclass(frozen=True)
class Embed:
    """Pieces of an earlier batch that were put into this one.

    `batch` is that batch's code. `water_low_fraction` and `water_high_fraction` bound the water that was left in them,
    as parts of their weight; by default nobody knows it.
    """

    batch: str
    grams: float
    portion: str = ""
    water_low_fraction: float = 0.0
    water_high_fraction: float = MOST_WATER


@dataclass(frozen=True)
class Recipe:
    """One batch's materials as weighed."""

    oils: tuple[Oil, ...]
    alkalis: tuple[Alkali, ...]
    liquids: tuple[Liquid, ...] = ()
    additives: tuple[Additive, ...] = ()
    embeds: tuple[Embed, ...] = ()
