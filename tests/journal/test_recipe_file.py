"""A recipe goes out and comes in again as it was, by JSON and through any spreadsheet."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from curejournal.journal.errors import DataRefused
from curejournal.journal.recipe_file import COLUMNS, fields_from_csv, fields_from_json, recipe_csv, recipe_json
from curejournal.soap.recipe import Acid, Additive, Alkali, Batter, Embed, Liquid, Oil, Recipe
from curejournal.workflow import RecipeUnreadable, recipe_from

FORMULAS = ("=1+1", "+1", "-1", "@SUM(A1)", "'quoted", "＝1")
WORDS = st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=20).filter(
    lambda text: text.strip() == text
)
GRAMS = st.floats(0.001, 1e6)
RECIPES = st.builds(
    Recipe,
    st.tuples(st.builds(Oil, WORDS, GRAMS, WORDS, st.none() | GRAMS)),
    st.tuples(st.builds(Alkali, st.sampled_from(["NaOH", "KOH"]), GRAMS, lot=WORDS)),
    st.tuples(st.builds(Liquid, WORDS, GRAMS, st.floats(0, 1), st.floats(0, 1), WORDS)),
    st.tuples(st.builds(Additive, WORDS, st.sampled_from(["fragrance", "pigment", "other"]), GRAMS, WORDS, WORDS)),
    st.tuples(st.builds(Embed, WORDS, GRAMS, WORDS, st.floats(0, 1), st.floats(0, 1), st.booleans())),
    st.tuples(st.builds(Batter, WORDS, GRAMS)),
    st.tuples(st.builds(Acid, WORDS, GRAMS, GRAMS, GRAMS, WORDS, st.none() | GRAMS, st.none() | st.integers(1, 12))),
    GRAMS,
    WORDS,
)


@given(RECIPES)
def test_json_comes_back_equal(recipe):
    assert recipe_from(fields_from_json(recipe_json(recipe))) == recipe


@given(RECIPES)
def test_the_table_comes_back_equal(recipe):
    assert recipe_from(fields_from_csv(recipe_csv(recipe))) == recipe


@pytest.mark.parametrize("text", FORMULAS)
def test_no_cell_is_run_by_a_spreadsheet(text):
    recipe = Recipe((Oil(text, 1.0, text),), (), (), (Additive(text, "other", 1.0, text, text),))
    cells = [cell for row in csv.reader(io.StringIO(recipe_csv(recipe))) for cell in row]
    assert not any(cell.startswith(("=", "+", "-", "@", "＝")) for cell in cells)
    assert recipe_from(fields_from_csv(recipe_csv(recipe))) == recipe


def test_a_spreadsheets_semicolons_decimal_commas_and_mark_are_understood():
    text = "\ufeffwhat;name;grams;lot\r\noil;olive;700,5;O-1\r\nalkali;NaOH;95;\r\n;;;\r\n"
    recipe = recipe_from(fields_from_csv(text))
    assert recipe.oils == (Oil("olive", 700.5, "O-1"),)
    assert recipe.alkalis == (Alkali("NaOH", 95.0),)


def test_milk_in_a_recipe_file_is_milk():
    """Water 0.87 and fat 0.041 of goat's milk [looked up: pages after USDA tables]; it was taken for water."""
    plain = {"oils": [{"key": "olive", "grams": 700}], "alkalis": [{"kind": "NaOH", "grams": 90}]}
    milk = recipe_from(plain | {"liquids": [{"name": "Goat’s milk", "grams": 230}]}).liquids
    assert milk == (Liquid("Goat’s milk", 230, 0.87, 0.041),)
    assert recipe_from(fields_from_csv("what,name,grams\noil,olive,700\nliquid,goat milk,230\n")).liquids == (
        Liquid("goat milk", 230, 0.87, 0.041),
    )
    own = recipe_from(plain | {"liquids": [{"name": "goat milk", "grams": 230, "water_fraction": 0.9}]}).liquids
    assert own == (Liquid("goat milk", 230, 0.9, 0.0),)
    with pytest.raises(RecipeUnreadable, match="yak kefir"):
        recipe_from(plain | {"liquids": [{"name": "yak kefir", "grams": 230}]})


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "first line"),
        ("what,name\noil,olive\n", "first line"),
        ("what,name,grams\nfat,olive,1\n", "fat"),
        ("what,name,grams\noil,olive,lots\n", "lots"),
        ("what,name,grams\noil,,5\n", "key is empty"),
        ("what,name,grams\noil,olive,5,6,7\n", "too many"),
        ("what,name,grams,certificate sv\noil,olive,5,190\n", "certificate sv"),
    ],
)
def test_a_wrong_table_is_refused_with_the_line(text, says):
    with pytest.raises(DataRefused, match=says):
        fields_from_csv(text)


@pytest.mark.parametrize(
    ("fields", "place"),
    [
        ({"oils": [{"key": "olive", "grams": 700, "certificat_sv": 190}]}, "oils.0.certificat_sv"),
        ({"additive": [{"name": "clove", "kind": "fragrance", "grams": 5}]}, "additive"),
    ],
)
def test_what_is_mistyped_is_refused_and_not_left_out(fields, place):
    """Left out unsaid, a certificate would not count in the lye check, nor a fragrance in what it did."""
    plain = {"oils": [{"key": "olive", "grams": 700}], "alkalis": [{"kind": "NaOH", "grams": 90}]}
    with pytest.raises(RecipeUnreadable, match=f"{place}: no recipe has this"):
        recipe_from(plain | fields)


@pytest.mark.parametrize("text", ["", "[]", "{", '{"format": "another"}', "[" * 100_000])
def test_what_is_no_recipe_is_refused(text):
    with pytest.raises(DataRefused):
        fields_from_json(text)


def test_every_field_of_every_material_has_its_column():
    assert set(COLUMNS) >= {
        "what",
        "name",
        "grams",
        "lot",
        "portion",
        "certificate_sv",
        "purity_low_pct",
        "fat_fraction",
    }
