"""What a recipe cannot be, and what it weighs."""

from __future__ import annotations

import math

from curejournal.base.counting import digits
from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg, quantity
from curejournal.soap.acids import mol_of_lye_per_g
from curejournal.soap.recipe import MOST_WATER, Acid, Alkali, Embed, Liquid, Oil, Recipe

MOST_POURED = 1.05
"""Batter in all portions as a part of what was weighed in, above which the weights cannot be right. Ours: scales and
what was rounded."""

MOST_SOLUTION_PCT = 60.0
"""% of solid in a lye solution above which it would not stay dissolved: about 52% NaOH or 53% KOH at 20 °C [from
memory: CRC Handbook]; warm ones hold a little more. Ours."""


class ImpossibleRecipe(CureJournalError):
    """Amounts that is not possible: negative, not a number, purity above 100%."""


def recipe_mass_g(recipe: Recipe) -> float:
    """Add up everything that was weighed in, in g.

    Parameters
    ----------
    recipe : Recipe

    Returns
    -------
    float
        In g.
    """
    return (
        sum(oil.grams for oil in recipe.oils)
        + sum(alkali.grams for alkali in recipe.alkalis)
        + sum(liquid.grams for liquid in recipe.liquids)
        + sum(additive.grams for additive in recipe.additives)
        + sum(embed.grams for embed in recipe.embeds)
        + sum(acid.grams for acid in recipe.acids)
    )


def require(holds: bool, sentence: str) -> None:
    """Refuse what does not hold.

    Parameters
    ----------
    holds : bool
    sentence : str
        What is wrong, as the maker reads it.

    Raises
    ------
    ImpossibleRecipe
    """
    if not holds:
        raise ImpossibleRecipe(sentence, msg("Correct it and try again."))


def require_possible(recipe: Recipe) -> None:
    """Refuse amounts that is not possible.

    Parameters
    ----------
    recipe : Recipe

    Raises
    ------
    ImpossibleRecipe, NoAcid
    """
    require(bool(recipe.oils) or recipe.rebatch, msg("The recipe has no oils."))
    require(
        0 <= recipe.scale_g <= 1000,
        msg("A scale with a step of {scale_g} is not possible.", scale_g=quantity(f"{recipe.scale_g:g}", "g")),
    )
    for oil in recipe.oils:
        _require_oil(oil)
    for alkali in recipe.alkalis:
        _require_alkali(alkali)
    for acid in recipe.acids:
        _require_acid(acid)
    for liquid in recipe.liquids:
        _require_liquid(liquid)
    _require_batter(recipe)
    for embed in recipe.embeds:
        _require_embed(embed)


def _require_oil(oil: Oil) -> None:
    _amount(oil.key, oil.grams)
    if oil.certificate_sv is not None:
        # Fats run from about 80 (wax esters) to 265, tars below; tricaprylin has 357 [arithmetic].
        sv = oil.certificate_sv
        plausible = (sv == 0 or 20 <= sv <= 400) and 0 <= oil.certificate_sv_half_width < 50
        require(
            plausible,
            msg(
                "A saponification value of {certificate_sv:g} ± {certificate_sv_half_width:g} "
                "for {key} is not possible: it has to be in mg KOH per g, from 20 to 400, "
                "or 0 for what takes up no lye.",
                certificate_sv=oil.certificate_sv,
                certificate_sv_half_width=oil.certificate_sv_half_width,
                key=oil.key,
            ),
        )


def _require_alkali(alkali: Alkali) -> None:
    _amount(alkali.kind, alkali.grams)
    low, high = alkali.purity_low_pct, alkali.purity_high_pct
    require(
        0 < low <= high <= 100,
        msg("A purity from {low:g} to {high:g}% for {kind} is not possible.", low=low, high=high, kind=alkali.kind),
    )
    if alkali.solution_pct is not None:
        strength, half = alkali.solution_pct, alkali.solution_half_width_pct
        require(
            0 <= half < strength and strength + half <= MOST_SOLUTION_PCT,
            msg(
                "A solution of {strength:g} ± {half:g}% {kind} is not possible: the most is {most_solution_pct:g}%.",
                strength=strength,
                half=half,
                kind=alkali.kind,
                most_solution_pct=MOST_SOLUTION_PCT,
            ),
        )


def _require_acid(acid: Acid) -> None:
    _amount(acid.key, acid.grams)
    strength, half = acid.strength_pct, acid.strength_half_width_pct
    require(
        0 <= half < strength <= 100,
        msg(
            "A strength of {strength:g} ± {half:g}% for {key} is not possible: it has to be above 0 and at most 100%.",
            strength=strength,
            half=half,
            key=acid.key,
        ),
    )
    mol_of_lye_per_g(acid)


def _require_liquid(liquid: Liquid) -> None:
    _amount(liquid.name, liquid.grams)
    water, fat = liquid.water_fraction, liquid.fat_fraction
    require(
        0 <= water <= 1 and 0 <= fat <= 1 and water + fat <= 1 + 1e-9,
        msg(
            "Water {water:g} and fat {fat:g} of {name} have to be parts of 1, together at most 1.",
            water=water,
            fat=fat,
            name=liquid.name,
        ),
    )


def _require_batter(recipe: Recipe) -> None:
    for additive in recipe.additives:
        _amount(additive.name, additive.grams)
    for part in recipe.batter:
        _amount(msg("batter in {portion}", portion=part.portion), part.grams)
    poured_g = sum(part.grams for part in recipe.batter)
    require(
        poured_g <= MOST_POURED * recipe.batter_g,
        msg(
            "{poured_g} of batter were poured into portions, but only {batter_g} were made.",
            poured_g=quantity(f"{poured_g:.0f}", "g"),
            batter_g=quantity(f"{recipe.batter_g:.0f}", "g"),
        ),
    )


def _require_embed(embed: Embed) -> None:
    _amount(embed.batch, embed.grams)
    low, high = embed.water_low_fraction, embed.water_high_fraction
    require(
        0 <= low <= high <= MOST_WATER,
        msg(
            "Water from {low:g} to {high:g} in the embeds of {batch} is not possible.",
            low=low,
            high=high,
            batch=embed.batch,
        ),
    )


def _amount(name: str, grams: float) -> None:
    require(
        math.isfinite(grams) and grams > 0,
        msg(
            "{grams} of {name} is not possible.", grams=quantity(digits(grams), "g"), name=name or "an unnamed material"
        ),
    )
    require(bool(name.strip()), msg("A material has no name."))
