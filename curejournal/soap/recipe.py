"""What goes into a batch: oils, alkali, acids, liquids and additives, each with its lot."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Literal


@dataclass(frozen=True)
class Oil:
    """One fat of the recipe.

    `key` names an entry of `oils.toml`, or any other fat by its own name. A certificate's own saponification
    value (mg KOH per g) with its half-width wins over the published range, and so does the maker's own; `sv_from` says
    whose it is.
    """

    key: str
    grams: float
    lot: str = ""
    certificate_sv: float | None = None
    certificate_sv_half_width: float = 1.0
    sv_from: str = ""


@dataclass(frozen=True)
class Alkali:
    """Sodium or potassium hydroxide as weighed, impurities included.

    `solution_pct` is None for the solid. For a solution it is the solid in 100 g of it, known to
    `solution_half_width_pct`; the purity is that of the solid, 100% if the supplier states the strength as pure alkali.
    """

    kind: Literal["NaOH", "KOH"]
    grams: float
    purity_low_pct: float = 97.0
    purity_high_pct: float = 99.0
    lot: str = ""
    solution_pct: float | None = None
    solution_half_width_pct: float = 0.5

    @property
    def solid_g(self) -> float:
        """The solid in it, impurities included, in g."""
        return self.grams if self.solution_pct is None else self.grams * self.solution_pct / 100

    @property
    def water_g(self) -> float:
        """The water that a solution brings, in g."""
        return self.grams - self.solid_g


@dataclass(frozen=True)
class Acid:
    """An acid that takes up lye before any oil does: an entry of `acids.toml`, by its key.

    `strength_pct` is the acid in 100 g of what was weighed, known to `strength_half_width_pct`: 100 of crystals, 5 of a
    5% vinegar. The rest is water. An acid that is not listed needs its molar mass and how many protons of a molecule
    take up lye.
    """

    key: str
    grams: float
    strength_pct: float = 100.0
    strength_half_width_pct: float = 0.0
    lot: str = ""
    molar_mass_g_mol: float | None = None
    protons: int | None = None

    @property
    def water_g(self) -> float:
        """The water that it brings, in g."""
        return self.grams * (1 - self.strength_pct / 100)


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


POT_LOSS = 0.02
"""Part of the batter that may stay in the pot or be spilled before it is weighed. Ours."""
MOST_WATER = 0.30
"""Water's part of soap that no cold-process batch is above: lye of 25%, the weakest in use, leaves about 28%
(arithmetic)."""


@dataclass(frozen=True)
class Embed:
    """Pieces of an earlier batch that were put into this one.

    `batch` is that batch's code. `water_low_fraction` and `water_high_fraction` bound the water that was left in them,
    as parts of their weight; by default nobody knows it. `melted` says that they were melted through, as in a rebatch:
    that batch is then a parent by weight, and no piece of it stays whole.
    """

    batch: str
    grams: float
    portion: str = ""
    water_low_fraction: float = 0.0
    water_high_fraction: float = MOST_WATER
    melted: bool = False


@dataclass(frozen=True)
class Batter:
    """How much batter was poured off into a portion, in g, before anything went into that portion alone."""

    portion: str
    grams: float


@dataclass(frozen=True)
class Recipe:
    """One batch's materials as weighed.

    `batter` tells which part of it each portion got, where that was weighed. `scale_g` is the step of the scale that
    everything was weighed with, in g. `name` is the recipe's own: rules may be set for all batches of one recipe.
    """

    oils: tuple[Oil, ...]
    alkalis: tuple[Alkali, ...]
    liquids: tuple[Liquid, ...] = ()
    additives: tuple[Additive, ...] = ()
    embeds: tuple[Embed, ...] = ()
    batter: tuple[Batter, ...] = ()
    acids: tuple[Acid, ...] = ()
    scale_g: float = 1.0
    name: str = ""

    @property
    def rebatch(self) -> bool:
        """Whether soap of earlier batches was melted through for it."""
        return any(embed.melted for embed in self.embeds)

    @property
    def materials(self) -> tuple[Oil | Alkali | Liquid | Additive | Acid, ...]:
        """Every row that has a lot: oils, alkalis, liquids, additives and acids, in this order."""
        return (*self.oils, *self.alkalis, *self.liquids, *self.additives, *self.acids)

    @property
    def batter_g(self) -> float:
        """What there is to divide among the portions: all but what went into one of them alone, and embeds."""
        everywhere = sum(additive.grams for additive in self.additives if not additive.portion)
        melted = sum(embed.grams for embed in self.embeds if embed.melted)
        base: tuple[Oil | Alkali | Liquid | Acid, ...] = (*self.oils, *self.alkalis, *self.liquids, *self.acids)
        return everywhere + melted + sum(item.grams for item in base)

    def agrees_with(self, batter_g: float, step_g: float) -> bool:
        """Whether the batter weighs what its materials sum up to, within two steps of the scale and `POT_LOSS`."""
        least = (1 - POT_LOSS) * self.batter_g - step_g
        return least <= batter_g <= self.batter_g + 2 * step_g

    @property
    def lots(self) -> tuple[str, ...]:
        """The lot of each of `materials`; empty where none was noted."""
        return tuple(row.lot for row in self.materials)

    def with_lots(self, lots: Sequence[str]) -> Recipe:
        """The same materials of other lots, in the order of `lots`; a certificate is of its own lot alone."""
        left = iter(lots)
        oils = []
        for oil in self.oils:
            lot = next(left)
            oils.append(replace(oil, lot=lot, certificate_sv=oil.certificate_sv if lot == oil.lot else None))
        return replace(
            self,
            oils=tuple(oils),
            alkalis=tuple(replace(row, lot=next(left)) for row in self.alkalis),
            liquids=tuple(replace(row, lot=next(left)) for row in self.liquids),
            additives=tuple(replace(row, lot=next(left)) for row in self.additives),
            acids=tuple(replace(row, lot=next(left)) for row in self.acids),
        )

    def share(self, portion: str, portions: Collection[str]) -> float | None:
        """Which part of the batter a portion got.

        Parameters
        ----------
        portion : str
        portions : collection of str
            All among which the batter was divided; small controls that were poured aside are best left out.

        Returns
        -------
        float or None
            As weighed. Where a portion was not, it counts as getting as much as each other that was not: a guess, which
            weighing replaces. None if the weighed ones leave nothing for it.

        """
        weighed = {part.portion: part.grams / self.batter_g for part in self.batter}
        if portion in weighed:
            return min(weighed[portion], 1.0)
        others = [name for name in portions if name not in weighed and name != portion]
        left = 1.0 - sum(weighed.values())
        return left / (1 + len(others)) if left > 0.001 else None
