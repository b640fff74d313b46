"""Odd names, numbers and recipes, and what was changed in another window meanwhile, on the pages that enter things."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from curejournal import workflow
from curejournal.batch.records import ColourReading, Event, Portion, SurfaceNote, Weighing
from curejournal.journal.store import Journal
from curejournal.photo.card import built_in_card_text, card_text, read_card
from curejournal.soap.recipe import Additive, Alkali, Liquid, Oil, Recipe
from curejournal.workflow import documents, readers
from tests.scenes import draw_card
from tests.ui.journals import NOW, RECIPE, plain_jpeg, reading
from tests.ui.pages import app, entries, form, only, section, text_of, writing


def started(folder: Path, *records: object) -> None:
    with Journal.open(folder) as journal:
        journal.start_batch("B-9", "Odd", at=NOW - timedelta(days=1), by="Ann", records=records)


def as_poured_before(code: str) -> AppTest:
    """The form that starts a batch like another, with its portions and recipe to change."""
    at = app("batches", like=code)
    return only(at.toggle, "Change its portions or recipe").set_value(True).run()


@pytest.mark.parametrize("mark", ["name", "new", "bars", "when", "step-g"])
def test_a_bar_may_have_any_mark(mark: str, small: Path) -> None:
    started(small, Event("poured"), Weighing(mark, 100.0, 0.1))
    at = form(writing("B-9"), "B-9", "a weight")
    assert not at.exception
    at.number_input(key=f"weigh-B-9-0-of-{mark}").set_value(99.5)
    only(at.button, "Save").click().run()
    with Journal.open(small) as journal:
        assert [weighing.grams for _, weighing in journal.batch("B-9").records(Weighing)] == [100.0, 99.5]


def test_a_question_stands_once_while_its_form_is_changed(small: Path) -> None:
    at = form(writing("B-1"), "B-1", "a weight")
    at.number_input(key="weigh-B-1-0-of-bar 1").set_value(10.65)
    only(at.button, "Save").click().run()
    form(at, "B-1", "the room, other readings")
    assert not at.exception
    at.button(key="keep-doubted").click().run()
    with Journal.open(small) as journal:
        assert journal.batch("B-1").records(Weighing)[-1][1].grams == 10.65


def test_the_last_weight_is_told_in_the_unit_that_is_asked_for(small: Path) -> None:
    started(small, RECIPE, Portion("mint, green"), Portion("base", 1))
    with Journal.open(small) as journal:
        readers.keep_habits(journal, readers.Habits("oz and °F"))
    labels = [field.label for field in form(writing("B-1"), "B-1", "a weight").number_input]
    assert "1. bar 1: ounces (last 3.757\u00a0oz)" in labels  # 106.5 g / 28.3495 g, an avoirdupois ounce
    labels = [field.label for field in form(writing("B-9"), "B-9", "batter of each portion").number_input]
    assert "Batter in mint, green, oz" in labels


def test_an_undo_that_is_refused_says_so(small: Path) -> None:
    at = form(writing("B-2"), "B-2", "a surface check")
    only(at.button, "Save").click().run()
    with Journal.open(small) as journal:
        (look,) = journal.batch("B-2").of(SurfaceNote)
        journal.add("B-2", replace(look.record, note="by the window"), at=look.at, by="Bo", supersedes=look.id)
    before = entries(small, "B-2")
    at.button(key="undo").click().run()
    assert at.error and "Nothing in the journal was changed" in at.error[0].value
    assert entries(small, "B-2") == before


def test_correcting_an_entry_leaves_its_seconds_and_shows_its_number_whole(small: Path) -> None:
    at_once = (NOW - timedelta(hours=3)).replace(second=33)
    with Journal.open(small) as journal:
        loaf = journal.add("B-2", Weighing("loaf", 12345.6, 1.0), at=at_once, by="Ann")
    at = section("B-2", "History")
    at.button(key=f"touch-history-{loaf.id}").click().run()
    grams = at.number_input(key=f"correct-{loaf.id}-grams")
    # As the browser writes a number in this format: so many signs that count (printf, C17 7.21.6.1).
    assert float(f"{grams.proto.format}" % grams.value) == 12345.6
    at.text_input(key=f"correct-{loaf.id}-subject").set_value("the loaf")
    at.button(key=f"correct-{loaf.id}-save").click().run()
    with Journal.open(small) as journal:
        (corrected,) = journal.batch("B-2").of(Weighing)
    assert corrected.record == replace(loaf.record, subject="the loaf") and corrected.at == at_once


def test_a_recipe_that_grew_meanwhile_is_poured_again_whole(small: Path) -> None:
    at = as_poured_before("B-1")
    with Journal.open(small) as journal:
        (old,) = journal.batch("B-1").of(Recipe)
        more = replace(RECIPE, oils=(Oil("castor", 50.0), *RECIPE.oils))
        journal.add("B-1", more, at=old.at, by="Bo", supersedes=old.id)
    at.run()
    assert [field.value for field in at.selectbox if field.label == "Oil"] == ["castor", "olive", "coconut"]


def test_a_recipe_that_was_corrected_meanwhile_is_not_kept_as_it_stood_before(small: Path) -> None:
    at = form(writing("B-1"), "B-1", "the recipe")
    with Journal.open(small) as journal:
        (old,) = journal.batch("B-1").of(Recipe)
        better = replace(RECIPE, oils=(Oil("olive", 650.0, "OL-1"), RECIPE.oils[1]))
        journal.add("B-1", better, at=old.at, by="Bo", supersedes=old.id)
    only(at.button, "Keep the recipe").click().run()
    with Journal.open(small) as journal:
        assert journal.batch("B-1").recipe == better


def test_the_lots_typed_for_one_recipe_file_are_not_those_of_another(small: Path) -> None:
    at = app("plan")
    at.selectbox[0].set_value("a recipe file").run()
    for water in (280.0, 290.0):
        file = documents.recipe_text(replace(RECIPE, liquids=(Liquid("water", water),)), "csv")
        at.file_uploader[0].set_value(("recipe.csv", file, "text/csv")).run()
        lot = only(at.text_input, "olive, lot")
        assert (lot.value, lot.placeholder) == ("", "was OL-1")
        lot.input("OL-8").run()
        assert "olive, lot OL-8" in text_of(at)


@pytest.mark.parametrize("what", ["a weight", "the room, other readings"])
def test_a_form_sent_empty_says_that_nothing_was_entered(what: str, small: Path) -> None:
    at = form(writing("B-2"), "B-2", what)
    only(at.button, "Save").click().run()
    assert [told.value for told in at.info] == ["Nothing was entered."]


def test_two_bottles_of_one_material_keep_what_is_known_of_each(small: Path) -> None:
    recipe = Recipe(
        (Oil("olive", 300.0, "O-1", 185.0), Oil("olive", 400.0, "O-2", 195.0), Oil("coconut", 300.0, "C-1")),
        (Alkali("NaOH", 70.0, 97.0, 99.0, "N-1"), Alkali("NaOH", 132.0, 49.0, 51.0, "N-2")),
        (Liquid("milk", 100.0, 0.87, 0.04, "M-1"), Liquid("milk", 100.0, 0.9, 0.01, "M-2")),
    )
    started(small, recipe, Portion("soap"))
    at = form(writing("B-9"), "B-9", "the recipe")
    only(at.button, "Keep the recipe").click().run()
    if any(button.key == "keep-doubted" for button in at.button):
        at.button(key="keep-doubted").click().run()
    with Journal.open(small) as journal:
        assert journal.batch("B-9").recipe == recipe
        assert sum(isinstance(item.record, Recipe) for item in journal.history("B-9")) == 2, "and was kept again"


def test_another_alkali_has_its_own_purity(small: Path) -> None:
    at = form(writing("B-2"), "B-2", "the recipe")
    only(at.selectbox, "Alkali").set_value("NaOH")
    at.number_input(key="recipe-B-2-0-0-alkali-0-g").set_value(100.0).run()
    assert only(at.slider, "Purity of this NaOH, % (the bag’s label tells)").value == (97.0, 99.0)
    only(at.selectbox, "Alkali").set_value("KOH").run()
    assert only(at.slider, "Purity of this KOH, % (the bag’s label tells)").value == (88.0, 92.0)


def test_what_changed_on_the_scale_proposes_its_own_number_of_bars(small: Path) -> None:
    started(small, Event("cut", bars=14), Weighing("tray", 1000.0, 1.0, bars=10))
    at = form(writing("B-9"), "B-9", "tray or bars changed")
    assert only(at.number_input, "Bars on it now").value == 9
    only(at.radio, "What changed").set_value("it was cut into bars").run()
    assert only(at.number_input, "Bars on it now").value == 14


def test_unusual_numbers_of_a_batch_are_shown_as_they_are(small: Path) -> None:
    portions = [Portion(f"p {number}", number, tolerance=12.0 if number else 0.25) for number in range(13)]
    tiny = Recipe((Oil("olive", 0.3),), (Alkali("NaOH", 0.04),), (Liquid("water", 0.09),))
    started(small, tiny, *portions, Event("cut", bars=3000))
    at = as_poured_before("B-9")
    assert not at.exception and only(at.number_input, "Portions (layers, swirl colours)").value == 13
    at = form(writing("B-9"), "B-9", "a target colour")
    assert not at.exception and only(at.selectbox, "A difference you accept").value == 0.25
    at = app("plan", like="B-9")
    assert not at.button_group(key="scale").set_value("to a mass").run().exception
    at = app("documents", batch="B-9")
    assert not at.button_group(key="paper-kind").set_value("Labels").run().exception


def test_two_lots_of_one_scent_in_one_portion_are_told_one_by_one(small: Path) -> None:
    scents = tuple(Additive("clove", "fragrance", 10.0, lot=lot) for lot in ("L-1", "L-2"))
    started(small, replace(RECIPE, additives=scents), Portion("soap"), Event("poured"), reading((80, 1, 10)))
    at = app("materials", material="clove")
    assert not at.exception and "lot L-1" in text_of(at) and "lot L-2" in text_of(at)


def test_an_own_card_may_be_called_as_one_that_comes_with_the_program(small: Path) -> None:
    with Journal.open(small) as journal:
        own = replace(workflow.find_card("window"), title="", kind="enrolled", provenance="measured beside a chart")
        journal.keep_card("window", card_text(own), "window")
    at = app("cards")
    assert not at.exception
    assert text_of(at).count("measured beside a chart") == 1, "the built-in one is shown as itself"
    assert only(at.toggle, "How does it hold out?")


def test_a_place_typed_in_signs_that_are_no_digits_is_asked_again() -> None:
    from curejournal.ui.components.marking import _corners

    assert _corners("1²,3 4,5 6,7") == ()
    assert _corners("1.5,3 4,5 6,7") == ((1.5, 3.0), (4.0, 5.0), (6.0, 7.0))


def test_two_readings_of_one_minute_can_both_be_compared(small: Path) -> None:
    with Journal.open(small) as journal:
        for seconds, lab in ((0, (80.0, 1.0, 10.0)), (20, (60.0, 1.0, 10.0)), (3600, (40.0, 1.0, 10.0))):
            at = NOW - timedelta(hours=5) + timedelta(seconds=seconds)
            journal.add("B-2", reading(lab, "a"), at=at, by="Ann")
    page = app("compare", batch="B-2")
    slider = only(page.select_slider, "From when to when")
    assert len(set(slider.options)) == 3
    slider.set_range(slider.options[0], slider.options[1]).run()
    assert "L* 80" in text_of(page) and "L* 60" in text_of(page)


def test_a_material_whose_recipe_was_taken_back_is_no_longer_offered(small: Path) -> None:
    at = app("materials")
    assert "invented scent" in text_of(at) + str([field.options for field in at.selectbox])
    with Journal.open(small) as journal:
        (recipe,) = journal.batch("B-1").of(Recipe)
        workflow.take_back(journal, recipe, why="of another batch", by="Bo", now=NOW)
    at.run()
    assert not at.error and "No recipe names a material yet" in text_of(at)


def test_of_two_files_of_one_name_each_keeps_its_own_caption(small: Path) -> None:
    """As telephones send them: each is called “image.jpg”."""
    at = app("photos", batch="B-2")
    at.selectbox(key="photo-card").set_value("no card: picture only").run()
    at.file_uploader[0].set_value([("image.jpg", plain_jpeg(shade), "image/jpeg") for shade in (1, 2)])
    both = at.file_uploader[0]._files
    at.run()
    first, second = (field for field in at.text_input if field.label == "Caption, if you like")
    first.input("the one that goes")
    second.input("the one that stays").run()
    at.file_uploader[0]._files = both[1:]
    at.run()
    assert only(at.text_input, "Caption, if you like").value == "the one that stays"


def test_of_two_photos_the_one_that_is_asked_about_stays_with_its_question(small: Path) -> None:
    started(small, Portion("soap"), Event("poured"))
    window = read_card(built_in_card_text("window"))
    names = ("IMG_20261125_080000.jpg", "IMG_20271125_080000.jpg")  # the second has not come yet
    at = app("photos", batch="B-9")
    at.file_uploader[0].set_value(
        [(name, draw_card(window, exposure_ev=-0.3, seed=seed).jpeg, "image/jpeg") for seed, name in enumerate(names)]
    ).run()
    assert any("lies in the future" in asked.value for asked in at.warning)
    only(at.button, "Keep photo and colour").click().run()
    assert any("20261125" in told.value for told in at.success)
    assert any("lies in the future" in asked.value for asked in at.warning), "the other is still here"
    assert only(at.button, "Keep photo and colour").disabled
    with Journal.open(small) as journal:
        assert len(journal.batch("B-9").of(ColourReading)) == 1


def test_what_was_kept_is_told_in_the_units_it_was_entered_in(small: Path) -> None:
    with Journal.open(small) as journal:
        readers.keep_habits(journal, readers.Habits("oz and °F", "Dec 3, 2026"))
    at = form(writing("B-2"), "B-2", "the room, other readings")
    next(field for field in at.number_input if field.label == "Temperature of the batter or loaf, °F").set_value(100.0)
    next(button for button in at.button if button.label in ("Keep the readings", "Save")).click().run()
    assert "batter temperature 100.0\u00a0°F" in at.success[0].value.replace("\\", "")
    history = text_of(section("B-2", "History"))
    assert "batter temperature 100.0\u00a0°F" in history and "Nov 25, 2026, 09:" in history


def test_a_portion_named_in_markdown_stays_text_where_two_are_compared(small: Path) -> None:
    with Journal.open(small) as journal:
        for portion in ("**loud**", "b"):
            journal.add("B-2", reading((80.0, 1.0, 10.0), portion), at=NOW, by="Ann")
    at = app("compare", batch="B-2")
    assert only(at.button_group, "Portion").options == ["\\*\\*loud\\*\\*", "b"]
    at.toggle(key="two").set_value(True).run()
    at.selectbox(key="right-").set_value("B-1").run()
    assert "loud" not in "".join(slider.label for slider in at.select_slider).replace("\\*\\*loud\\*\\*", "")


def test_what_was_kept_of_one_batch_is_not_told_beside_another(small: Path) -> None:
    at = app("photos", batch="B-2")
    at.selectbox(key="photo-card").set_value("no card: picture only").run()
    at.file_uploader[0].set_value([("IMG_20261125_080000.jpg", plain_jpeg(99), "image/jpeg")]).run()
    only(at.button, "Keep the picture without a colour").click().run()
    assert any("no colour" in told.value for told in at.success)
    at.selectbox(key="photo-batch-B-2").set_value("B-1").run()
    assert not at.success
