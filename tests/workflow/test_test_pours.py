"""A test pour is started by one press, stands beside the batch that it is like, and may not be sold."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from curejournal import workflow
from curejournal.batch.records import BarsOut, Event, Portion
from curejournal.batch.validation import ImpossibleRecord
from curejournal.colour.difference import Interval
from curejournal.journal.store import Journal
from curejournal.materials.effects import TestPour
from curejournal.soap.recipe import Additive, Liquid
from curejournal.workflow import materials
from curejournal.workflow.materials.test_pours import NoTestPour
from tests.cli.test_commands import as_json, run
from tests.judging.batches import INTENDED, POURED, RECIPE, day
from tests.ui.journals import blends

BY, NOW = "Kaja (invented)", day(60)
MIXED = replace(
    RECIPE,
    additives=(
        Additive("clove", "fragrance", 20.0, "", "CL-1"),
        Additive("rose", "fragrance", 10.0, "", "RO-1"),
        Additive("clay", "pigment", 5.0),
    ),
)


def pour(material: str, dose_pct: float = 1.5, *, without: bool = False) -> TestPour:
    return TestPour(material, dose_pct, without, ("clove", "rose"), Interval(8, 6, 10), Interval(2, 1, 3))


@pytest.fixture
def blended(journal: Journal) -> Journal:
    records = [MIXED, Portion("cream", target_lab=INTENDED, target_source="swatch", tolerance=2.5), Event("poured")]
    workflow.start_batch(journal, "B-1", "Blend", at=POURED, by=BY, now=NOW, records=records)
    return journal


def test_one_material_alone_goes_in_at_the_dose_that_is_proposed(blended: Journal) -> None:
    started = materials.start_test_pour(blended, pour("Clove"), by=BY, now=NOW)
    assert (started.code, started.kind, started.poured_at) == ("TP-1", "test pour", None)
    recipe = started.recipe
    assert recipe is not None
    (clove,) = recipe.additives
    assert (clove.name, clove.lot, clove.portion) == ("clove", "CL-1", "test")
    assert recipe.batter_g == pytest.approx(500, abs=0.5)
    assert 100 * clove.grams / recipe.batter_g == pytest.approx(1.5, abs=0.01)
    # As much lye for its oils as before.
    assert recipe.alkalis[0].grams / sum(o.grams for o in recipe.oils) == pytest.approx(0.1464, rel=0.01)
    (portion,) = started.portions
    assert (portion.target_lab, portion.tolerance) == (INTENDED, 2.5)


def test_a_pour_without_it_holds_all_else_at_its_usual_dose(blended: Journal) -> None:
    recipe = materials.start_test_pour(blended, pour("clove", without=True), by=BY, now=NOW).recipe
    assert recipe is not None
    pct = {one.name: 100 * one.grams / recipe.batter_g for one in recipe.additives}
    assert pct == pytest.approx({"rose": 100 * 10 / MIXED.batter_g, "clay": 100 * 5 / MIXED.batter_g}, abs=0.01)


def test_it_stands_beside_the_batch_that_it_is_like_and_is_not_for_sale(blended: Journal) -> None:
    materials.start_test_pour(blended, pour("clove"), by=BY, now=NOW)
    (found,) = materials.pours_made(blended)
    assert (found.code, found.beside, found.poured) == ("TP-1", "B-1", False)
    for record in (Event("poured"), Event("cut", bars=4)):
        workflow.enter(blended, "TP-1", record, at=NOW, by=BY, now=NOW, confirmed=True)
    assert materials.pours_made(blended)[0].poured
    with pytest.raises(ImpossibleRecord, match="not for sale"):
        workflow.enter(blended, "TP-1", BarsOut(1, "a shop", "sold"), at=NOW, by=BY, now=NOW, confirmed=True)
    assert materials.start_test_pour(blended, pour("rose"), by=BY, now=NOW).code == "TP-2"


def test_a_liquid_is_left_to_the_maker(journal: Journal) -> None:
    milk = replace(RECIPE, liquids=(*RECIPE.liquids, Liquid("goat's milk", 50, 0.87, 0.04)))
    workflow.start_batch(journal, "B-1", "Milk", at=POURED, by=BY, now=NOW, records=[milk, Event("poured")])
    with pytest.raises(NoTestPour, match="liquid"):
        materials.start_test_pour(journal, pour("goat's milk", without=True), by=BY, now=NOW)
    with pytest.raises(NoTestPour, match="No recipe names"):
        materials.start_test_pour(journal, pour("clove"), by=BY, now=NOW)
    assert list(journal.names()) == ["B-1"], "nothing was started"


def test_the_command_line_starts_what_is_proposed_and_lists_what_was_made(tmp_path: Path) -> None:
    where = blends(tmp_path / "journal", twin="vanilla")
    (pour,) = as_json("material", "test-pour", journal=where)["proposed"]
    assert set(pour["separates"]) == {"clove", "vanilla"}
    refused = as_json("material", "test-pour", "mint", code=1, journal=where)["error"]
    assert "No test pour of “mint” is proposed" in refused["what"] and pour["material"] in refused["do"]
    assert as_json("material", "test-pour", journal=where)["made"] == []
    said = run("material", "test-pour", pour["material"].upper(), "--by", BY, journal=where)
    assert said.startswith("TP-1: Test pour") and "goggles, gloves, lye into water" in said
    assert "not poured yet" in run("material", "test-pour", journal=where)
    with Journal.open(where) as journal:
        assert journal.batch("TP-1").kind == "test pour"


def test_a_complaint_keeps_the_photo_that_came_with_it(blended: Journal, tmp_path: Path) -> None:
    from curejournal.batch.sales import Complaint
    from curejournal.workflow import customers
    from tests.ui.journals import plain_jpeg

    data = plain_jpeg(3)
    entry = customers.enter_complaint(
        blended, "B-1", Complaint("orange spots", bars=1), data, "sent.jpg", at=day(50), by=BY, now=NOW
    )
    assert entry.photo is not None and blended.photo_bytes(entry.photo) == data
    assert blended.unfiled_photos() == (), "it does not wait in the inbox"
    settled = Complaint("orange spots", "sent two new bars", 1)
    done, _ = workflow.enter(blended, "B-1", settled, at=day(50), by=BY, now=NOW, supersedes=entry.id)
    assert done.photo == entry.photo and customers.open_complaints(blended) == ()
