"""Pages of what all batches say: drawn from batches whose truth is known."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from curejournal.batch.records import ColourReading, Event, Portion
from curejournal.journal.store import Journal, NewEntry
from curejournal.soap.recipe import Additive, Alkali
from tests.ui.journals import NOW, RECIPE, reading
from tests.ui.pages import app, only, text_of

INTENDED = (85.0, 1.0, 12.0)


def colours(turn: float) -> list[tuple[float, ColourReading]]:
    """A turn that comes back, and the readings of it."""
    days = (0.2, 1, 3, 8, 15, 25, 35)
    labs = [np.add(INTENDED, np.array([-0.7, 0.2, 0.7]) * turn * np.exp(-0.3 * day)) for day in days]
    return [(day, reading(tuple(map(float, lab)), "soap")) for day, lab in zip(days, labs, strict=True)]


def words_of(at: AppTest) -> str:
    """What is said, whether or not a line may break between a figure and its unit."""
    return text_of(at).replace("\u00a0", " ")


@pytest.fixture
def blends(small: Path) -> Path:
    """Clove turns each batter that holds it, by twelve at 3 %; the mint never does."""
    with Journal.open(small) as journal:
        for number in range(8):
            clove = number % 2 == 0
            names = ["mint"] * (number % 3 > 0) + ["clove"] * clove
            additives = tuple(Additive(name, "fragrance", 30.0, lot=f"{name}-{number // 4}") for name in names)
            start = NOW - timedelta(days=80 + number)
            records = [replace(RECIPE, additives=additives), Portion("soap", 0, INTENDED)]
            journal.start_batch(f"T-{number}", f"Blend {number}", at=start, by="Ann", records=records)
            seen = [(0.0, Event("poured")), *colours(14.0 if clove else 0.5)]
            journal.add_many(f"T-{number}", [NewEntry(r, start + timedelta(days=d)) for d, r in seen], by="Ann")
    return small


def test_the_culprit_is_named_with_its_chance_and_effect(blends: Path) -> None:
    at = app("causes")
    assert not at.exception and not at.error
    told = text_of(at)
    assert told.index("● **clove**") < told.index("○ **mint**")
    assert "Very likely turned it" in told and "Did it change with the lot?" in told


def test_a_material_is_told_with_its_journey_lots_and_uses(blends: Path) -> None:
    at = app("materials", material="clove")
    told = text_of(at)
    assert "Expected with clove, by 4 batches, several lots taken together" in told.replace("\\", "")
    assert "lot clove-1" in told and "It came back." in told
    at.number_input(key="dose-clove").set_value(9.0).run()
    assert "This dose was never tried." in text_of(at)


def test_a_planned_pour_is_scaled_to_its_mould_and_started(blends: Path) -> None:
    at = app("plan", like="T-0")
    assert "clove" in text_of(at)
    only(at.button_group, "Scale it").set_value("to a mass").run()
    at.number_input(key="scale-g").set_value(2896.0).run()
    assert not at.exception and "1400.0 g olive" in words_of(at)  # twice the 1448 g of RECIPE, arithmetic
    only(at.button_group, "Scale it").set_value("to a mould").run()
    assert "Inside the mould: about 1492 g" in words_of(at)  # 25 x 9 x 6.5 cm at 1.02 g/ml, arithmetic
    assert only(at.text_input, "clove, lot").placeholder == "was clove-0"
    only(at.text_input, "clove, lot").input("clove-9")
    only(at.text_input, "Name").input("Again")
    only(at.text_input, "Code (short, your own)").input("P-1")
    only(at.button, "Start a batch with this recipe").click().run()
    assert not at.error
    with Journal.open(blends) as journal:
        recipe = journal.batch("P-1").recipe
    assert recipe is not None
    assert sum(oil.grams for oil in recipe.oils) + recipe.alkalis[0].grams < 1492
    assert recipe.lots == ("", "", "", "", "clove-9"), "new bottles have new lots"


def test_a_plan_tells_of_which_lots_it_speaks(blends: Path) -> None:
    at = app("plan", like="T-0")
    together = "What several lots did is taken together, and they may differ: lot clove-1: turned by"
    assert together in text_of(at)
    only(at.text_input, "clove, lot").input("clove-1").run()
    told = text_of(at)
    assert together not in told and "clove, lot clove-1 (so far" in told and "Other lots, left out: lot clove-0" in told


def test_a_recipe_below_zero_is_flagged_before_the_pour(small: Path) -> None:
    heavy = replace(RECIPE, alkalis=(Alkali("NaOH", 190, lot="N-1"),))
    with Journal.open(small) as journal:
        journal.start_batch("H-1", "Heavy", at=NOW, by="Ann", records=[heavy])
    told = text_of(app("plan", like="H-1")).replace("\\", "")
    assert "More lye than these oils take up" in told and "Do not pour" in told and "every spread" in told


def test_where_a_lot_went_is_listed_with_its_batches(blends: Path) -> None:
    at: AppTest = app("documents")
    only(at.button_group, "Which paper").set_value("Lot").run()
    only(at.text_input, "The supplier’s lot, or the code of an embedded batch").input("clove-0").run()
    assert "30 g clove" in words_of(at)
    only(at.text_input, "The supplier’s lot, or the code of an embedded batch").input("nowhere").run()
    assert "No batch names the lot nowhere" in text_of(at)
