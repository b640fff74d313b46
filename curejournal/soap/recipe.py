"""What goes into a batch: oils, alkali, liquids and additives, each with its lot."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
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
class Batter:
    """How much batter was poured off into a portion, in g, before anything went into that portion alone."""

    portion: str
    grams: float


@dataclass(frozen=True)
class Recipe:
    """One batch's materials as weighed. `batter` tells which part of it each portion got, where that was weighed."""

    oils: tuple[Oil, ...]
    alkalis: tuple[Alkali, ...]
    liquids: tuple[Liquid, ...] = ()
    additives: tuple[Additive, ...] = ()
    embeds: tuple[Embed, ...] = ()
    batter: tuple[Batter, ...] = ()

    @property
    def batter_g(self) -> float:
        """What there is to divide among the portions: all but what went into one of them alone, and embeds."""
        everywhere = sum(additive.grams for additive in self.additives if not additive.portion)
        base: tuple[Oil | Alkali | Liquid, ...] = (*self.oils, *self.alkalis, *self.liquids)
        return everywhere + sum(item.grams for item in base)

    @property
    def lots(self) -> tuple[str, ...]:
        """The lot of each oil, alkali, liquid and additive, in this order; empty where none was noted."""
        rows: tuple[Oil | Alkali | Liquid | Additive, ...] = (
            *self.oils,
            *self.alkalis,
            *self.liquids,
            *self.additives,
        )
        return tuple(row.lot for row in rows)

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
