"""Pages of what all batches say: drawn from batches whose truth is known."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from curejournal.batch.records import Event
from curejournal.journal.store import Journal, NewEntry
from curejournal.soap.recipe import Alkali
from curejournal.workflow import materials
from tests.ui import journals
from tests.ui.journals import NOW, RECIPE
from tests.ui.pages import app, only, text_of


def words_of(at: AppTest) -> str:
    """What is said, whether or not a line may break between a figure and its unit."""
    return text_of(at).replace("\u00a0", " ")


@pytest.fixture
def blends(small: Path) -> Path:
    return journals.blends(small)


def test_the_culprit_is_named_with_its_chance_and_effect(blends: Path) -> None:
    at = app("causes")
    assert not at.exception and not at.error
    told = text_of(at)
    assert told.index("● **clove**") < told.index("○ **mint**")
    assert "Very likely discoloured it" in told and "Did it change with the lot?" in told


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


def test_a_test_pour_is_started_by_one_press_and_stands_beside_its_batch(small: Path) -> None:
    journals.blends(small, twin="vanilla")
    at = app("causes")
    told = text_of(at).replace("\\", "")
    assert "Pours that would tell" in told and " of the batter of " in told
    assert "goggles, gloves, lye into water" in told
    with Journal.open(small) as journal:
        found = materials.which(journal, NOW).found
        (pour,) = found.test_pours
    assert set(pour.separates) == {"clove", "vanilla"}
    only(at.button, "Start this test pour").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        started = journal.batch("TP-1")
        assert (started.kind, started.poured_at) == ("test pour", None)
        assert started.recipe is not None and [one.name for one in started.recipe.additives] == [pour.material]
        journal.add_many("TP-1", [NewEntry(Event("poured"), NOW)], by="Ann")
    assert "Test pours, side by side" in text_of(app("causes"))


def test_who_may_only_read_starts_no_test_pour(small: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    journals.blends(small, twin="vanilla")
    monkeypatch.setattr("curejournal.ui.pages.causes.common.may_enter", lambda _desk: False)
    at = app("causes")
    assert "Pours that would tell" in text_of(at)
    assert [button.label for button in at.button if "test pour" in button.label] == []
