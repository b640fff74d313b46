"""How much of a material is in a soap, each figure with what it is a part of."""

from __future__ import annotations

from dataclasses import dataclass

from curejournal.base.counting import digits
from curejournal.base.messages import join, msg
from curejournal.soap.lye import water_share
from curejournal.soap.possible import recipe_mass_g
from curejournal.soap.recipe import Recipe


@dataclass(frozen=True)
class Dosage:
    """One material's dose by its three bases, all in % by mass.

    `of_oils_pct` is of all oils of the batch, None without any. `of_portion_pct` is of the batter of the portion that
    it went into, None unless that batter was weighed. `of_soap_pct` is of the finished soap, all portions together,
    from fresh to fully dry: suppliers state their limits so.
    """

    of_oils_pct: float | None
    of_portion_pct: float | None
    of_soap_pct: tuple[float, float]

    @property
    def words(self) -> str:
        """The dose with its bases: “3.0 % of the oils; 2.1 to 2.6 % of the finished soap”."""
        low, high = (digits(pct, 1 if pct >= 0.1 else 2) for pct in self.of_soap_pct)
        told = (
            [msg("{of_oils_pct} % of the oils", of_oils_pct=digits(self.of_oils_pct, 1))]
            if self.of_oils_pct is not None
            else []
        )
        told += (
            [msg("{of_portion_pct} % of its portion's batter", of_portion_pct=digits(self.of_portion_pct, 1))]
            if self.of_portion_pct
            else []
        )
        told.append(msg("{high} % of the finished soap", high=low if low == high else f"{low} to {high}"))
        return join("; ", told)


def dosage(recipe: Recipe, grams: float, portion: str = "") -> Dosage:
    """The dose of so many grams of a material in a recipe, in one portion of it or (empty) in all.

    Parameters
    ----------
    recipe : Recipe
    grams : float
        Of the material.
    portion : str
        Empty for the whole batch.

    Returns
    -------
    Dosage
    """
    oils_g = sum(oil.grams for oil in recipe.oils)
    weighed = {part.portion: part.grams for part in recipe.batter}
    mass_g = recipe_mass_g(recipe)
    dry_g = mass_g * (1 - water_share(recipe))
    return Dosage(
        of_oils_pct=100 * grams / oils_g if oils_g > 0 else None,
        of_portion_pct=100 * grams / weighed[portion] if portion in weighed else None,
        of_soap_pct=(100 * grams / mass_g, 100 * grams / dry_g),
    )
