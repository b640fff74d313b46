"""A soap's ingredient list as a label bears it: names of the nomenclature in descending order of weight."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources

from curejournal.base.messages import join, msg
from curejournal.soap.recipe import Recipe

INCI: Mapping[str, str] = tomllib.loads(resources.files(__package__).joinpath("inci.toml").read_text("utf-8"))["names"]
"""Names by the key of an oil, acid or alkali, or by a material's usual name."""
SCENT = "Parfum"
"""What a fragrance is called: “parfum” or “aroma” (Regulation (EC) No 1223/2009, Art. 19(1)(g)) [looked up: an answer
of the British government of 2020, and the page of Austria's AGES on the article]."""


@dataclass(frozen=True)
class IngredientList:
    """The names in their order, and the materials for which none is known."""

    names: tuple[str, ...]
    unnamed: tuple[str, ...]

    @property
    def text(self) -> str:
        """As it stands on a label."""
        return join(", ", self.names)


def ingredient_list(
    recipe: Recipe, own: Mapping[str, str] | None = None, allergens: Mapping[str, str] | None = None
) -> IngredientList:
    """List what went in, by weight when it went in, the heaviest first.

    Parameters
    ----------
    recipe : Recipe
        Soap of earlier batches is left out: its own list has to be added.
    own : mapping of material to name, optional
        Names from the suppliers' documents, which go before those listed here.
    allergens : mapping of material to text, optional
        The allergens of a material as its supplier states them; they follow the list.

    Returns
    -------
    IngredientList

    """
    own, allergens = own or {}, allergens or {}
    grams: dict[str, float] = {}
    unnamed: list[str] = []

    def add(material: str, weight: float, usual: str = "") -> None:
        name = own.get(material) or usual or INCI.get(material) or INCI.get(material.casefold())
        if name is None:
            unnamed.append(material)
        elif weight > 0:
            grams[name] = grams.get(name, 0.0) + weight

    for oil in recipe.oils:
        add(oil.key, oil.grams)
    for alkali in recipe.alkalis:
        add(alkali.kind, alkali.solid_g)
    add("water", sum(alkali.water_g for alkali in recipe.alkalis))
    # The water of vinegar is part of vinegar.
    add("water", sum(acid.water_g for acid in recipe.acids if acid.key != "vinegar"))
    for liquid in recipe.liquids:
        plain = liquid.water_fraction == 1.0 and "water" in liquid.name.casefold()
        add("water" if plain else liquid.name.replace("\u2019", "'"), liquid.grams)
    for acid in recipe.acids:
        add(acid.key, acid.grams * acid.strength_pct / 100 if acid.key != "vinegar" else acid.grams)
    for additive in recipe.additives:
        add(additive.name, additive.grams, SCENT if additive.kind == "fragrance" and additive.name not in own else "")
    unnamed += [msg("soap of batch {batch}", batch=embed.batch) for embed in recipe.embeds]
    ordered = [name for name, _ in sorted(grams.items(), key=lambda item: -item[1])]
    said = [text.strip() for material, text in allergens.items() if text.strip()]
    return IngredientList((*ordered, *dict.fromkeys(said)), tuple(dict.fromkeys(unnamed)))
