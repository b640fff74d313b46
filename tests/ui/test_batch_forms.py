"""Acts beside readings are entered as what they are: bars that leave, trays, pieces, portions, target colours."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from curejournal import workflow
from curejournal.batch.records import BarsOut, Event, Portion, Weighing
from curejournal.journal.store import Journal
from curejournal.soap.recipe import Batter, Recipe
from curejournal.ui.forms import target_colour
from tests.ui.journals import NOW, RECIPE, reading
from tests.ui.pages import app, only, text_of, writing
from tests.ui.pages import form as form_on


def form(code: str, name: str) -> AppTest:
    return form_on(writing(code), code, name)


def latest(folder: Path, code: str, kind: type) -> object:
    with Journal.open(folder) as journal:
        return journal.batch(code).of(kind)[-1].record


def enter(folder: Path, code: str, *records: object) -> None:
    with Journal.open(folder) as journal:
        for record in records:
            workflow.enter(journal, code, record, at=NOW - timedelta(days=1), by="Ann", now=NOW, confirmed=True)


@pytest.mark.parametrize("why", ["sold", "given", "sample", "retained", "scrapped"])
def test_bars_that_left_are_kept_with_whom_to_ask(small: Path, why: str) -> None:
    enter(small, "B-1", Event("cut", bars=12))
    at = form("B-1", "bars out")
    only(at.radio, "Why did they leave?").set_value(why)
    only(at.number_input, "How many bars").set_value(4)
    only(at.text_input, "To whom or where: whom to ask in a recall").input("Saturday market")
    only(at.button, "Save").click().run()
    if any(button.key == "keep-doubted" for button in at.button):
        at.button(key="keep-doubted").click().run()  # not released: it is asked about
    assert latest(small, "B-1", BarsOut) == BarsOut(4, "Saturday market", why)


@pytest.mark.parametrize(
    ("change", "label", "value", "expected"),
    [
        ("bars were taken from it", "Bars on it now", 7, {"bars": 7, "tare_g": 0.0}),
        ("another tray or box lies under it", "Its tare, g", 120.0, {"bars": 10, "tare_g": 120.0}),
        ("it was cut into bars", "Bars on it now", 14, {"bars": 14, "tare_g": 0.0}),
    ],
)
def test_a_change_on_the_scale_is_entered_as_what_it_is(
    small: Path, change: str, label: str, value: float, expected: dict[str, float]
) -> None:
    enter(small, "B-2", Event("cut", bars=14), Weighing("tray", 1000.0, 1.0, bars=10))
    at = form("B-2", "tray or bars changed")
    only(at.selectbox, "Which bar, tray or loaf").set_value("tray").run()
    only(at.radio, "What changed").set_value(change).run()
    only(at.number_input, label).set_value(value)
    only(at.number_input, "Grams now, the tare taken off").set_value(990.0 * expected["bars"] / 10)
    if change.startswith("bars"):
        only(at.text_input, "To whom or where").input("Ines")
    only(at.button, "Save").click().run()
    if any(button.key == "keep-doubted" for button in at.button):
        at.button(key="keep-doubted").click().run()
    kept = latest(small, "B-2", Weighing)
    assert isinstance(kept, Weighing)
    assert (kept.subject, kept.bars, kept.tare_g) == ("tray", expected["bars"], expected["tare_g"])
    if change.startswith("bars"):
        assert latest(small, "B-2", BarsOut) == BarsOut(3, "Ines", "sold", "from tray")


def test_pieces_of_another_batch_make_it_a_parent(small: Path) -> None:
    at = form("B-1", "pieces of another batch")
    only(at.selectbox, "Pieces of which batch").set_value("B-2")
    only(at.number_input, "Grams").set_value(80.0)
    only(at.button, "Save").click().run()
    assert not at.error
    recipe = latest(small, "B-1", Recipe)
    assert isinstance(recipe, Recipe)
    assert [(embed.batch, embed.grams) for embed in recipe.embeds] == [("B-2", 80.0)]
    with Journal.open(small) as journal:
        assert len(journal.history("B-1")) == len(journal.batch("B-1").entries) + 1, "the earlier recipe stays"


def test_the_batter_of_each_portion_is_kept_with_the_recipe(small: Path) -> None:
    enter(small, "B-1", RECIPE, Portion("top", 1))
    at = form("B-1", "batter of each portion")
    only(at.number_input, "Batter in top, g").set_value(300.0)
    only(at.button, "Save").click().run()
    recipe = latest(small, "B-1", Recipe)
    assert isinstance(recipe, Recipe) and recipe.batter == (Batter("top", 300.0),)


SOURCES = ("a cured earlier batch", "an unscented control", "the batter before fragrance", "a swatch or a picture")


@pytest.mark.parametrize("source", SOURCES)
def test_the_target_colour_comes_from_any_of_four_sources(small: Path, source: str) -> None:
    name = "a"
    enter(small, "B-2", Portion("plain", 2, control=True), reading((84.0, 2.0, 12.0), "plain"))
    at = form("B-2", "a target colour")
    only(at.selectbox, "Which portion").set_value(name).run()
    source_of = {
        "a cured earlier batch": "cured earlier batch",
        "an unscented control": "control portion",
        "the batter before fragrance": "batter before fragrance",
        "a swatch or a picture": "swatch",
    }[source]
    only(at.radio, "Take it from").set_value(source_of).run()
    if source == SOURCES[0]:
        only(at.selectbox, "Which batch").set_value("B-1").run()
    if source == SOURCES[3]:
        only(at.button_group, target_colour.HOW).set_value("By numbers").run()
        only(at.number_input, "L*").set_value(80.0)
        at.run()
    only(at.button, "Take this colour").click().run()
    if any(button.label == "Take it all the same" for button in at.button):
        assert "Is this right?" in text_of(at)
        only(at.button, "Take it all the same").click().run()
    assert not at.error and not at.exception
    with Journal.open(small) as journal:
        portion = next(one for one in journal.batch("B-2").portions if one.name == name)
    assert portion.target_source == source_of and portion.target_from
    if source == SOURCES[3]:
        assert portion.target_lab is not None and portion.target_lab[0] == 80.0


@pytest.mark.parametrize(("swatch", "source"), [("lilac", "swatch"), ("Plain, soap", "cured earlier batch")])
def test_a_target_colour_is_a_swatch_that_is_touched(small: Path, swatch: str, source: str) -> None:
    at = app("batches", like="B-1")
    at.button_group(key="start-B-1-p-0-how").set_value("A swatch").run()
    at.button_group(key="start-B-1-p-0-swatch").set_value(swatch).run()
    only(at.button, "Start the batch").click().run()
    assert not at.error and not at.exception
    with Journal.open(small) as journal:
        (portion,) = journal.batch("B-4").portions
    assert portion.target_source == source and portion.target_lab is not None
    if source == "swatch":
        assert portion.target_lab == target_colour.SWATCHES[swatch] and portion.target_from == swatch
    else:
        assert "B-1 soap" in portion.target_from and portion.target_card == "W-01"
