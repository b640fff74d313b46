"""The same recipe, larger or smaller: by a factor, to a mass, or to a mould."""

from __future__ import annotations

import math
from dataclasses import replace

from curejournal.base.messages import msg
from curejournal.soap.lye import ImpossibleRecipe, recipe_mass_g
from curejournal.soap.recipe import Recipe

BATTER_G_ML = 1.02
"""Density of batter. Ours: oils of 0.92 g/ml [from memory: CRC Handbook] and a lye of a third NaOH, 1.36 g/ml [from
memory: the same], in the usual ratio of 1000 g to 440 g, mixed without change of volume. About 1 is common practice."""


def mould_g(length_cm: float, width_cm: float, depth_cm: float) -> float:
    """Batter (g) that fills a mould with straight sides, measured inside, to a depth.

    Parameters
    ----------
    length_cm : float
    width_cm : float
    depth_cm : float
        To which it is filled.

    Returns
    -------
    float
        Batter in g.

    Raises
    ------
    ImpossibleRecipe
    """
    sides = (length_cm, width_cm, depth_cm)
    _require(all(math.isfinite(side) and 0 < side <= 500 for side in sides), msg("A mould has sides from 0 to 500 cm."))
    return length_cm * width_cm * depth_cm * BATTER_G_ML


def scale(recipe: Recipe, factor: float | None = None, *, to_g: float | None = None) -> Recipe:
    """The same recipe, larger or smaller.

    Give either a factor or the batch mass in g that it should come to, for a mould, say.
    Lots and certificates stay.

    Parameters
    ----------
    recipe : Recipe
    factor : float, optional
    to_g : float, optional
        Mass of the batch that is wanted.

    Returns
    -------
    Recipe

    Raises
    ------
    ImpossibleRecipe
        If neither or both are given, or the result would not be above zero.
    """
    _require((factor is None) != (to_g is None), msg("Give either a factor or a mass to come to."))
    by = factor if factor is not None else (to_g or 0.0) / recipe_mass_g(recipe)
    _require(math.isfinite(by) and by > 0, msg("A recipe can only be scaled to something above zero."))
    return replace(
        recipe,
        oils=tuple(replace(item, grams=item.grams * by) for item in recipe.oils),
        alkalis=tuple(replace(item, grams=item.grams * by) for item in recipe.alkalis),
        liquids=tuple(replace(item, grams=item.grams * by) for item in recipe.liquids),
        additives=tuple(replace(item, grams=item.grams * by) for item in recipe.additives),
        embeds=tuple(replace(item, grams=item.grams * by) for item in recipe.embeds),
        batter=tuple(replace(item, grams=item.grams * by) for item in recipe.batter),
        acids=tuple(replace(item, grams=item.grams * by) for item in recipe.acids),
    )


def _require(holds: bool, sentence: str) -> None:
    if not holds:
        raise ImpossibleRecipe(sentence, msg("Correct it and try again."))
