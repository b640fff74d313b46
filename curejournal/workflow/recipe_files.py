"""Recipes as plain data, as in a recipe file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from pydantic import ConfigDict, TypeAdapter, ValidationError

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.journal.record_json import refuse_beyond
from curejournal.soap.liquids import liquid_named, more_than_water
from curejournal.soap.recipe import Recipe

# Through a tuple of one, since pydantic takes no config for a plain dataclass. What no recipe has may be mistyped.
_RECIPE = TypeAdapter(tuple[Recipe], config=ConfigDict(extra="forbid", allow_inf_nan=False))


class RecipeUnreadable(CureJournalError):
    """A recipe file lacks something or holds what no recipe has."""


def recipe_from(fields: Mapping[str, Any]) -> Recipe:
    """A recipe from plain data, as in a recipe file.

    Raises
    ------
    RecipeUnreadable, EntryRefused
    """
    try:
        (recipe,) = _RECIPE.validate_python((_with_milk(fields),))
    except ValidationError as fault:
        first = fault.errors(include_url=False)[0]
        place = ".".join(str(part) for part in first["loc"][1:])
        why = msg("no recipe has this") if first["type"] == "unexpected_keyword_argument" else first["msg"]
        raise RecipeUnreadable(
            msg("The recipe cannot be read: {place}: {why}.", place=place, why=why), msg("Correct it and try again.")
        ) from fault
    refuse_beyond("recipe", asdict(recipe))
    # NaOH is much alike; KOH takes up water, and a usual purity of NaOH would be far off.
    if any(row["kind"] == "KOH" and not {"purity_low_pct", "purity_high_pct"} <= set(row) for row in fields["alkalis"]):
        raise RecipeUnreadable(
            msg("The recipe does not say how pure its KOH is."),
            msg("Add purity_low_pct and purity_high_pct; the bag's label tells, often about 90."),
        )
    return recipe


def _with_milk(fields: Mapping[str, Any]) -> dict[str, Any]:
    """The same with the water and fat of liquids that are not water alone, where the file leaves them out."""
    rows = fields.get("liquids", ())
    if not isinstance(rows, list | tuple) or not all(isinstance(row, Mapping) for row in rows):
        return dict(fields)  # what is wrong with it is said when it is read
    return {**fields, "liquids": [_liquid(row) for row in rows]} if rows else dict(fields)


def _liquid(row: Mapping[str, Any]) -> dict[str, Any]:
    name, known = str(row.get("name", "")), liquid_named(str(row.get("name", "")))
    if "water_fraction" in row or not (known or more_than_water(name)):
        return dict(row)
    if known is None:
        raise RecipeUnreadable(
            msg("The recipe does not say how much of “{name}” is water and how much is fat.", name=name),
            msg("Add water_fraction and fat_fraction, as parts of 1; the label tells them."),
        )
    return {"fat_fraction": known.fat, **row, "water_fraction": known.water}
