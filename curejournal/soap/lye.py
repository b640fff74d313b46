"""How much alkali a recipe needs, and how sure that is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

from curejournal.base.counting import digits
from curejournal.base.messages import join, msg
from curejournal.soap.acids import acid_named
from curejournal.soap.liquids import more_than_water
from curejournal.soap.oils import sv_range
from curejournal.soap.possible import ImpossibleRecipe as ImpossibleRecipe
from curejournal.soap.possible import recipe_mass_g as recipe_mass_g
from curejournal.soap.possible import require, require_possible
from curejournal.soap.recipe import Acid, Alkali, Liquid, Oil, Recipe
from curejournal.soap.spreads import KOH_G_MOL as KOH_G_MOL
from curejournal.soap.spreads import NAOH_G_MOL as NAOH_G_MOL
from curejournal.soap.spreads import NAOH_PER_KOH, Spread, acid_spreads, fat_spreads, interval_of, lye_spreads, worst_of


class NothingToSaponify(ImpossibleRecipe):
    """A rebatch without new oils: no lye was put in, so there is no superfat to work out."""


LyeDoubtCode = Literal[
    "below zero",
    "may be below zero",
    "worst case below zero",
    "no lye",
    "much superfat",
    "concentration",
    "unknown oil",
    "acid elsewhere",
    "not water alone",
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

    What it gives to whoever judges further: superfat, in % of all fat, that of liquids included, after acids have taken
    up their part of the lye. `superfat_nominal_pct` is at the middle of every spread; `superfat_interval_pct` holds it
    with 95%, by what is known of each fat, of the lye's purity and strength, of the acids' strength, and by the scale;
    `superfat_sd_pct` is the standard deviation of the same; `superfat_worst_pct` takes every spread at its worst at
    once. A weight that was mistyped, lye that was not mixed in, and oils that were exchanged are in none of them.

    `unknown_oils` are fats of which no value is known: they count as taking up anything a fat can, so that the interval
    stays true, and the nominal value means nothing. `because` says in words what makes the interval as wide as it is.

    `water_g` is what the lye is dissolved in: that of liquids, of lye solutions and of acids; `lye_g` the solid alkali,
    impurities included, and `lye_concentration_pct` its part of both. Embeds are made soap and count neither
    there nor as fat. `embeds_water_g` are the bounds of what was left in them. `water_share` is all water's part of
    the fresh batch by mass, embeds at their upper bound: the most that a bar can lose. `acids_take_g` is the lye that
    acids take up, as g of pure NaOH.
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
    superfat_sd_pct: float = 0.0
    unknown_oils: tuple[str, ...] = ()
    because: str = ""
    acids_take_g: float = 0.0


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
    NothingToSaponify
        If it is a rebatch without new oils.

    Notes
    -----
    superfat = 1 - (lye - what acids take up) / (what the fat takes up), all as KOH. Every range counts as a uniform
    spread, independent of the others; lots of one fat without a certificate share theirs. One weighing is off by the
    rounding of two readings, zero and load, each uniform within half a step. First-order propagation (GUM, JCGM
    100:2008, 5.1.2) with the quantiles of the sum itself, not of a normal one; never wider than the worst case. An
    error of the scale that all weighings share cancels.

    """
    require_possible(recipe)
    if not recipe.oils:
        raise NothingToSaponify(
            msg("The soap was melted down and no oils were added: there is no lye to work out."),
            msg("What its parents left in it shows in titrations of its own bars."),
        )
    fats, lyes = fat_spreads(recipe), lye_spreads(recipe)
    acids = acid_spreads(recipe)
    nominal, worst = _superfat(fats, lyes, acids), worst_of(fats, lyes, acids)
    sd, interval = interval_of(fats, lyes, acids, nominal, worst)
    unknown = tuple(dict.fromkeys(spread.unknown for spread in fats if spread.unknown))

    lye_g = sum(alkali.solid_g for alkali in recipe.alkalis)
    water_g, embeds_water_g = _water(recipe)
    batch_g = recipe_mass_g(recipe)
    concentration = 100 * lye_g / (lye_g + water_g) if lye_g > 0 else None
    because = max((*fats, *lyes, *acids), key=lambda spread: spread.half_g).words
    checked = LyeCheck(
        superfat_nominal_pct=nominal,
        superfat_interval_pct=interval,
        superfat_worst_pct=worst,
        fat_g=sum(oil.grams for oil in recipe.oils) + sum(liq.grams * liq.fat_fraction for liq in recipe.liquids),
        lye_g=lye_g,
        water_g=water_g,
        batch_g=batch_g,
        water_share=water_share(recipe),
        lye_concentration_pct=concentration,
        water_to_lye=water_g / lye_g if lye_g > 0 else None,
        doubts=(),
        embeds_g=sum(embed.grams for embed in recipe.embeds),
        embeds_water_g=embeds_water_g,
        superfat_sd_pct=sd,
        unknown_oils=unknown,
        because=because,
        acids_take_g=sum(spread.middle_g for spread in acids) * NAOH_PER_KOH,
    )
    by_ranges = worst_of(fats, lyes, acids, scale=False)[0]
    return replace(checked, doubts=(*_doubts(checked, by_ranges), *_misplaced(recipe)))


def water_share(recipe: Recipe) -> float:
    """Water's part of the fresh batch by mass, embeds at their upper bound.

    Parameters
    ----------
    recipe : Recipe

    Returns
    -------
    float
        From 0 to 1.
    """
    water_g, (_, embeds_most_g) = _water(recipe)
    return (water_g + embeds_most_g) / recipe_mass_g(recipe)


def _water(recipe: Recipe) -> tuple[float, tuple[float, float]]:
    """The water that the lye is in, and the bounds of what was left in embeds, in g."""
    free_g = sum(liquid.grams * liquid.water_fraction for liquid in recipe.liquids)
    free_g += sum(alkali.water_g for alkali in recipe.alkalis) + sum(acid.water_g for acid in recipe.acids)
    low = sum(embed.grams * embed.water_low_fraction for embed in recipe.embeds)
    return free_g, (low, sum(embed.grams * embed.water_high_fraction for embed in recipe.embeds))


def _superfat(fats: Iterable[Spread], lyes: Iterable[Spread], acids: Iterable[Spread]) -> float:
    fat, lye, acid = (sum(spread.middle_g for spread in some) for some in (fats, lyes, acids))
    return 100 * (1 - (lye - acid) / fat)


def alkalis_for(recipe: Recipe, superfat_pct: float) -> tuple[Alkali, ...]:
    """The recipe's own alkalis, reweighed for a target superfat: their mix, purity and solution stay.

    Parameters
    ----------
    recipe : Recipe
        One without alkali gets NaOH of 97 to 99%.
    superfat_pct : float
        Part of the fat to leave without lye, in %; at the middle of each fat's range.

    Returns
    -------
    tuple of Alkali
        With grams for the target.

    Raises
    ------
    ImpossibleRecipe
        If the target or an amount cannot be.
    UnknownOil
        If nobody knows how much lye one of the fats takes up.
    """
    require(0 <= superfat_pct < 100, msg("The superfat has to be from 0 to below 100%."))
    given = replace(recipe, alkalis=recipe.alkalis or (Alkali("NaOH", 100.0),))
    require_possible(given)
    by = _koh_for(given, superfat_pct) / sum(spread.middle_g for spread in lye_spreads(given))
    return tuple(replace(alkali, grams=alkali.grams * by) for alkali in given.alkalis)


def lye_for(
    oils: Iterable[Oil],
    superfat_pct: float,
    *,
    liquids: Iterable[Liquid] = (),
    acids: Iterable[Acid] = (),
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
    acids
        What takes up lye before the oils do.
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
    UnknownOil
        If nobody knows how much lye one of the fats takes up.

    """
    require(0 <= superfat_pct < 100, msg("The superfat has to be from 0 to below 100%."))
    require(0 <= koh_share <= 1, msg("The share of KOH has to be from 0 to 1."))
    require(0 < naoh_purity_pct <= 100 and 0 < koh_purity_pct <= 100, msg("A purity has to be above 0 and up to 100%."))
    recipe = Recipe(tuple(oils), (), tuple(liquids), acids=tuple(acids))
    koh_g = _koh_for(recipe, superfat_pct)
    return LyeNeed(
        naoh_g=koh_g * (1 - koh_share) * NAOH_PER_KOH / (naoh_purity_pct / 100),
        koh_g=koh_g * koh_share / (koh_purity_pct / 100),
        naoh_purity_pct=naoh_purity_pct,
        koh_purity_pct=koh_purity_pct,
    )


def _koh_for(recipe: Recipe, superfat_pct: float) -> float:
    """KOH in g for the fats less a superfat, and for the acids, at the middle of each range."""
    fats = sum(spread.middle_g for spread in _known_fats(recipe)) * (1 - superfat_pct / 100)
    return fats + sum(spread.middle_g for spread in acid_spreads(recipe))


def _known_fats(recipe: Recipe) -> tuple[Spread, ...]:
    for oil in recipe.oils:
        sv_range(oil)
    return fat_spreads(recipe)


def _doubts(checked: LyeCheck, worst_by_ranges_pct: float) -> Iterable[LyeDoubt]:
    concentration = checked.lye_concentration_pct
    if concentration is None:
        yield LyeDoubt("no lye", msg("There is no alkali in the recipe."), msg("Enter the NaOH or KOH as weighed."))
        return
    yield from _unknown(checked) if checked.unknown_oils else _superfat_doubts(checked, worst_by_ranges_pct)
    # Solubility of NaOH at 20 °C is about 52% by mass [from memory: CRC Handbook]; 25-40% is usual
    # [common practice, no source].
    if not 20 <= concentration <= 50:
        yield LyeDoubt(
            "concentration",
            msg("A lye of {concentration:.0f}% is outside 20 to 50%.", concentration=concentration),
            msg("Check the water: was a liquid left out, or does a liquid hold less water than entered?"),
        )


def _unknown(checked: LyeCheck) -> Iterable[LyeDoubt]:
    low, high = checked.superfat_worst_pct
    over = (
        msg("More lye than these oils can take up, whatever they are")
        if high < 0
        else msg("The superfat cannot be told")
    )
    yield LyeDoubt(
        "below zero" if high < 0 else "unknown oil",
        msg(
            "How much lye {unknown_oils} takes up is not known here. {over}: it is somewhere from {low} to {high}%.",
            unknown_oils=_and(checked.unknown_oils),
            over=over,
            low=digits(low, 0),
            high=digits(high, 0),
        ),
        msg(
            "Enter the saponification value of the supplier's certificate, or your own, with its spread. "
            "Until then only a titration can show that no lye is left."
        ),
    )


def _and(names: tuple[str, ...]) -> str:
    return join(" and ", (f"“{name}”" for name in names))


def _superfat_doubts(checked: LyeCheck, worst_by_ranges_pct: float) -> Iterable[LyeDoubt]:
    nominal, (low, high) = checked.superfat_nominal_pct, checked.superfat_interval_pct
    if nominal < 0:
        slipped = msg("Check the weights: did a decimal slip in the lye? ") if nominal < -50 else ""
        yield LyeDoubt(
            "below zero",
            msg("More lye than these oils take up: superfat {nominal}%.", nominal=digits(nominal, 1)),
            msg(
                "{slipped}Do not pour: weigh less alkali or more oil. If it is poured, hold the batch and titrate.",
                slipped=slipped,
            ),
        )
    elif low < 0:
        yield LyeDoubt(
            "may be below zero",
            msg(
                "The oils may take up less lye than is in the recipe: superfat {low} to {high}%.",
                low=digits(low, 1),
                high=digits(high, 1),
            ),
            msg("Raise the superfat, or enter the certificate's saponification value. If it is poured, titrate."),
        )
    elif worst_by_ranges_pct < 0:  # the scale's rounding alone, at its worst everywhere, asks nobody anything
        yield LyeDoubt(
            "worst case below zero",
            msg(
                "With every spread at its worst the superfat would be {superfat_worst_pct}%.",
                superfat_worst_pct=digits(checked.superfat_worst_pct[0], 1),
            ),
            msg("Unlikely, but a titration before selling settles it."),
        )
    if nominal > 20:
        yield LyeDoubt(
            "much superfat",
            msg("A superfat of {nominal:.0f}% is far above the usual 2 to 10% (salt bars apart).", nominal=nominal),
            msg("Check the weights: an oil entered twice, or a decimal slipped in the lye?"),
        )


def _misplaced(recipe: Recipe) -> Iterable[LyeDoubt]:
    """What stands where it does not count: an acid among the additives, milk as plain water."""
    for name in (*(row.name for row in recipe.additives), *(row.name for row in recipe.liquids)):
        acid = acid_named(name)
        if acid is not None:
            yield LyeDoubt(
                "acid elsewhere",
                msg(
                    "“{name}” takes up lye, but it is not entered as an acid, so the superfat leaves it out.", name=name
                ),
                msg("Enter it among the acids, as {key}, with its strength.", key=acid.key),
            )
    for liquid in recipe.liquids:
        if liquid.water_fraction == 1.0 and more_than_water(liquid.name):
            yield LyeDoubt(
                "not water alone",
                msg("“{name}” is entered as nothing but water.", name=liquid.name),
                msg("Enter its water and fat; the label tells them."),
            )
