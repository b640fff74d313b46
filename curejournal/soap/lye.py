"""How much alkali a recipe needs, and how sure that is."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from curejournal.base.counting import digits
from curejournal.base.errors import CureJournalError
from curejournal.soap.oils import sv_range
from curejournal.soap.recipe import MOST_WATER, Liquid, Oil, Recipe

# IUPAC abridged standard atomic weights (g/mol): H 1.008, O 15.999, Na 22.990, K 39.098.
NAOH_G_MOL = 22.990 + 15.999 + 1.008
KOH_G_MOL = 39.098 + 15.999 + 1.008
NAOH_PER_KOH = NAOH_G_MOL / KOH_G_MOL

LIQUID_FAT_SV = (190.0, 265.0)
"""mg KOH per g of the fat in a liquid, which the recipe does not name. Ours: wide enough for
coconut (248-265, Codex STAN 210) and for milk fat (about 210-235) [from memory]."""

MOST_POURED = 1.05
"""Batter in all portions as a part of what was weighed in, above which the weights cannot be right. Ours: scales and
what was rounded."""

COVERAGE = 1.96
"""Standard deviations in a 95% interval of many independent spreads (GUM, JCGM 100:2008, 6.3.3)."""


class ImpossibleRecipe(CureJournalError):
    """Amounts that cannot be: negative, not a number, purity above 100%."""


LyeDoubtCode = Literal[
    "below zero", "may be below zero", "worst case below zero", "no lye", "much superfat", "concentration"
]


@dataclass(frozen=True)
class LyeDoubt:
    """Something about a recipe to settle before the pour. `code` is stable and meant for scripts."""

    code: LyeDoubtCode
    text: str
    do: str


@dataclass(frozen=True)
class LyeCheck:
    """What a recipe's lye does to its fat.

    Superfat is in % of all fat, that of liquids included. `superfat_interval_pct`
    combines independent spreads (95%); `superfat_worst_pct` takes every
    spread at its worst at once. `water_g` is what the lye is dissolved in; embeds are made soap and count neither
    there nor as fat. `embeds_water_g` are the bounds of what was left in them. `water_share` is all water's part of
    the fresh batch by mass, embeds at their upper bound: the most that a bar can lose.
    """

    superfat_nominal_pct: float
    superfat_interval_pct: tuple[float, float]
    superfat_worst_pct: tuple[float, float]
    fat_g: float
    lye_g: float
    water_g: float
    batch_g: float
    water_share: float
    lye_concentration_pct: float | None
    water_to_lye: float | None
    doubts: tuple[LyeDoubt, ...]
    embeds_g: float = 0.0
    embeds_water_g: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class LyeNeed:
    """Solid alkali to weigh, impurities included, in g, and the purities that it is reckoned for."""

    naoh_g: float
    koh_g: float
    naoh_purity_pct: float
    koh_purity_pct: float


def check_lye(recipe: Recipe) -> LyeCheck:
    """Judge a recipe's lye before the pour.

    Parameters
    ----------
    recipe : Recipe
        Amounts in g as weighed.

    Returns
    -------
    LyeCheck
        Superfat with its interval and worst case, water, and doubts.

    Raises
    ------
    ImpossibleRecipe
        If an amount cannot be, or there is no fat.
    UnknownOil
        If a fat has neither a published range nor a certificate.

    Notes
    -----
    Every published range and purity range counts as a uniform spread, variance
    (high - low)^2 / 12, independent of the others; lots of one fat without a
    certificate share theirs. First-order propagation (GUM, JCGM 100:2008,
    5.1.2), never wider than the worst case.

    """
    _possible(recipe)
    need = _demands(recipe.oils, recipe.liquids)
    supply = [
        (
            alkali.grams * alkali.purity_low_pct / 100 * _koh_per(alkali.kind),
            alkali.grams * alkali.purity_high_pct / 100 * _koh_per(alkali.kind),
        )
        for alkali in recipe.alkalis
    ]
    need_low, need_high = sum(low for low, _ in need), sum(high for _, high in need)
    have_low, have_high = sum(low for low, _ in supply), sum(high for _, high in supply)
    need_mid, have_mid = (need_low + need_high) / 2, (have_low + have_high) / 2

    nominal = 100 * (1 - have_mid / need_mid)
    worst = (100 * (1 - have_high / need_low), 100 * (1 - have_low / need_high))
    ratio_sd = math.hypot(_uniform_sd(supply) / need_mid, have_mid / need_mid * _uniform_sd(need) / need_mid)
    combined = (
        max(worst[0], nominal - COVERAGE * 100 * ratio_sd),
        min(worst[1], nominal + COVERAGE * 100 * ratio_sd),
    )

    oils_g = sum(oil.grams for oil in recipe.oils)
    lye_g = sum(alkali.grams for alkali in recipe.alkalis)
    water_g = sum(liquid.grams * liquid.water_fraction for liquid in recipe.liquids)
    embeds_water_g = (
        sum(embed.grams * embed.water_low_fraction for embed in recipe.embeds),
        sum(embed.grams * embed.water_high_fraction for embed in recipe.embeds),
    )
    batch_g = recipe_mass_g(recipe)
    concentration = 100 * lye_g / (lye_g + water_g) if lye_g > 0 else None
    return LyeCheck(
        superfat_nominal_pct=nominal,
        superfat_interval_pct=combined,
        superfat_worst_pct=worst,
        fat_g=oils_g + sum(liq.grams * liq.fat_fraction for liq in recipe.liquids),
        lye_g=lye_g,
        water_g=water_g,
        batch_g=batch_g,
        water_share=(water_g + embeds_water_g[1]) / batch_g,
        lye_concentration_pct=concentration,
        water_to_lye=water_g / lye_g if lye_g > 0 else None,
        doubts=tuple(_doubts(nominal, combined, worst, concentration)),
        embeds_g=sum(embed.grams for embed in recipe.embeds),
        embeds_water_g=embeds_water_g,
    )


def lye_for(
    oils: Iterable[Oil],
    superfat_pct: float,
    *,
    liquids: Iterable[Liquid] = (),
    koh_share: float = 0.0,
    naoh_purity_pct: float = 98.0,
    koh_purity_pct: float = 90.0,
) -> LyeNeed:
    """Alkali to weigh for a target superfat, reckoned at the middle of each fat's range.

    Parameters
    ----------
    oils, liquids
        What needs saponifying; fat in liquids counts.
    superfat_pct : float
        Part of the fat to leave without lye, in %.
    koh_share : float
        Part of the alkali, by moles, that is KOH: 0 for a hard bar.
    naoh_purity_pct, koh_purity_pct : float
        97-99% is common for NaOH, about 90% for KOH [common practice, no source].

    Returns
    -------
    LyeNeed
        Grams to weigh, of these purities.

    Raises
    ------
    ImpossibleRecipe
        If the target, share or purity cannot be.

    """
    _require(0 <= superfat_pct < 100, "The superfat has to be from 0 to below 100%.")
    _require(0 <= koh_share <= 1, "The share of KOH has to be from 0 to 1.")
    _require(0 < naoh_purity_pct <= 100 and 0 < koh_purity_pct <= 100, "A purity has to be above 0 and up to 100%.")
    koh_g = sum((low + high) / 2 for low, high in _demands(tuple(oils), tuple(liquids))) * (1 - superfat_pct / 100)
    return LyeNeed(
        naoh_g=koh_g * (1 - koh_share) * NAOH_PER_KOH / (naoh_purity_pct / 100),
        koh_g=koh_g * koh_share / (koh_purity_pct / 100),
        naoh_purity_pct=naoh_purity_pct,
        koh_purity_pct=koh_purity_pct,
    )


def recipe_mass_g(recipe: Recipe) -> float:
    """Everything that was weighed in, in g."""
    return (
        sum(oil.grams for oil in recipe.oils)
        + sum(alkali.grams for alkali in recipe.alkalis)
        + sum(liquid.grams for liquid in recipe.liquids)
        + sum(additive.grams for additive in recipe.additives)
        + sum(embed.grams for embed in recipe.embeds)
    )


def _koh_per(kind: str) -> float:
    return 1 / NAOH_PER_KOH if kind == "NaOH" else 1.0


def _uniform_sd(ranges: Iterable[tuple[float, float]]) -> float:
    return math.sqrt(sum((high - low) ** 2 / 12 for low, high in ranges))


def _demands(oils: Iterable[Oil], liquids: Iterable[Liquid]) -> list[tuple[float, float]]:
    """Grams of KOH that each independent source of fat takes up, lowest and highest."""
    demands: list[tuple[float, float]] = []
    published: dict[str, float] = defaultdict(float)
    for oil in oils:
        low, high = sv_range(oil)
        if oil.certificate_sv is None:
            published[oil.key] += oil.grams
        else:
            demands.append((oil.grams * low / 1000, oil.grams * high / 1000))
    for key, grams in published.items():
        low, high = sv_range(Oil(key, grams))
        demands.append((grams * low / 1000, grams * high / 1000))
    for liquid in liquids:
        fat_g = liquid.grams * liquid.fat_fraction
        if fat_g > 0:
            demands.append((fat_g * LIQUID_FAT_SV[0] / 1000, fat_g * LIQUID_FAT_SV[1] / 1000))
    return demands


def _doubts(
    nominal: float, combined: tuple[float, float], worst: tuple[float, float], concentration: float | None
) -> Iterable[LyeDoubt]:
    if concentration is None:
        yield LyeDoubt("no lye", "There is no alkali in the recipe.", "Enter the NaOH or KOH as weighed.")
        return
    low, high = combined
    if nominal < 0:
        slipped = "Check the weights: did a decimal slip in the lye? " if nominal < -50 else ""
        yield LyeDoubt(
            "below zero",
            f"More lye than these oils take up: superfat {digits(nominal, 1)}%.",
            f"{slipped}Do not pour: weigh less alkali or more oil. If it is poured, hold the batch and titrate.",
        )
    elif low < 0:
        yield LyeDoubt(
            "may be below zero",
            f"The oils may take up less lye than is in the recipe: superfat {digits(low, 1)} to {digits(high, 1)}%.",
            "Raise the superfat, or enter the certificate's saponification value. If it is poured, titrate.",
        )
    elif worst[0] < 0:
        yield LyeDoubt(
            "worst case below zero",
            f"With every spread at its worst the superfat would be {digits(worst[0], 1)}%.",
            "Unlikely, but a titration before selling settles it.",
        )
    if nominal > 20:
        yield LyeDoubt(
            "much superfat",
            f"A superfat of {nominal:.0f}% is far above the usual 2 to 10% (salt bars apart).",
            "Check the weights: an oil entered twice, or a decimal slipped in the lye?",
        )
    # Solubility of NaOH at 20 °C is about 52% by mass [from memory: CRC Handbook]; 25-40% is usual
    # [common practice, no source].
    if not 20 <= concentration <= 50:
        yield LyeDoubt(
            "concentration",
            f"A lye of {concentration:.0f}% is outside 20 to 50%.",
            "Check the water: was a liquid left out, or does a liquid hold less water than entered?",
        )


def _require(holds: bool, sentence: str) -> None:
    if not holds:
        raise ImpossibleRecipe(sentence, "Correct it and try again.")


def _possible(recipe: Recipe) -> None:
    _require(bool(recipe.oils), "The recipe has no oils.")
    for oil in recipe.oils:
        _amount(oil.key, oil.grams)
        if oil.certificate_sv is not None:
            # Fats run from about 80 (wax esters) to 265; above 400 not even tributyrin (557) is a soap fat.
            plausible = 50 <= oil.certificate_sv <= 400 and 0 <= oil.certificate_sv_half_width < 50
            _require(
                plausible,
                f"A saponification value of {oil.certificate_sv:g} ± {oil.certificate_sv_half_width:g} "
                f"for {oil.key} cannot be: it has to be in mg KOH per g, from 50 to 400.",
            )
    for alkali in recipe.alkalis:
        _amount(alkali.kind, alkali.grams)
        low, high = alkali.purity_low_pct, alkali.purity_high_pct
        _require(0 < low <= high <= 100, f"A purity from {low:g} to {high:g}% for {alkali.kind} cannot be.")
    for liquid in recipe.liquids:
        _amount(liquid.name, liquid.grams)
        water, fat = liquid.water_fraction, liquid.fat_fraction
        _require(
            0 <= water <= 1 and 0 <= fat <= 1 and water + fat <= 1 + 1e-9,
            f"Water {water:g} and fat {fat:g} of {liquid.name} have to be parts of 1, together at most 1.",
        )
    for additive in recipe.additives:
        _amount(additive.name, additive.grams)
    for part in recipe.batter:
        _amount(f"batter in {part.portion}", part.grams)
    poured_g = sum(part.grams for part in recipe.batter)
    _require(
        poured_g <= MOST_POURED * recipe.batter_g,
        f"{poured_g:.0f}\u00a0g of batter were poured into portions, but only {recipe.batter_g:.0f}\u00a0g were made.",
    )
    for embed in recipe.embeds:
        _amount(embed.batch, embed.grams)
        low, high = embed.water_low_fraction, embed.water_high_fraction
        _require(
            0 <= low <= high <= MOST_WATER, f"Water from {low:g} to {high:g} of embeds of {embed.batch} cannot be left."
        )


def _amount(name: str, grams: float) -> None:
    _require(
        math.isfinite(grams) and grams > 0, f"{digits(grams)}\u00a0g of {name or 'an unnamed material'} cannot be."
    )
    _require(bool(name.strip()), "A material has no name.")
