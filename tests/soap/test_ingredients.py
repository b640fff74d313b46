"""The ingredient list of a label: descending order of weight, names of the nomenclature, nothing made up."""

import pytest

from curejournal.soap.acids import ACIDS
from curejournal.soap.ingredients import INCI, ingredient_list
from curejournal.soap.oils import OILS
from curejournal.soap.recipe import Acid, Additive, Alkali, Embed, Liquid, Oil, Recipe

RECIPE = Recipe(
    (Oil("coconut", 300.0), Oil("olive", 700.0)),
    (Alkali("NaOH", 280.0, solution_pct=50.0),),
    (Liquid("distilled water", 140.0),),
    (Additive("invented scent", "fragrance", 30.0), Additive("blue sparkle", "pigment", 5.0)),
    acids=(Acid("citric acid", 10.0),),
)


def test_the_heaviest_comes_first_and_lye_and_its_water_are_told_apart():
    found = ingredient_list(RECIPE)
    assert found.text == ("Olea Europaea Fruit Oil, Cocos Nucifera Oil, Aqua, Sodium Hydroxide, Parfum, Citric Acid")
    assert found.unnamed == ("blue sparkle",), "a name that is not known is not made up"


def test_the_suppliers_own_names_and_allergens_go_before_ours():
    found = ingredient_list(RECIPE, {"blue sparkle": "Mica, CI 77891"}, {"invented scent": "Limonene, Linalool"})
    assert found.unnamed == ()
    assert found.names[-2:] == ("Mica, CI 77891", "Limonene, Linalool")


def test_soap_of_other_batches_has_a_list_of_its_own():
    from dataclasses import replace

    assert ingredient_list(replace(RECIPE, embeds=(Embed("B-1", 50.0),))).unnamed[-1] == "soap of batch B-1"


@pytest.mark.parametrize("key", [*OILS, *ACIDS])
def test_most_listed_fats_and_acids_have_a_name(key):
    rare = {"palm olein", "palm stearin", "duck fat", "goose fat", "boric acid"}
    assert (key in INCI) != (key in rare)
