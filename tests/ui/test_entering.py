"""What is written down on a batch's page, and a batch that is started, is kept as it was entered."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from curejournal import workflow
from curejournal.batch.records import (
    AlkaliTest,
    Batch,
    Event,
    Portion,
    ScalarReading,
    SurfaceNote,
    Weighing,
)
from curejournal.batch.workshop import StripKeyEnrolled
from curejournal.journal.store import Journal
from curejournal.soap.recipe import Acid, Additive, Batter, Embed, Oil, Recipe
from tests.ui.journals import NOW, RECIPE
from tests.ui.pages import app, entries, form, only, text_of, writing


def test_a_weight_is_kept(small: Path) -> None:
    at = form(writing("B-2"), "B-2", "a weight")
    at.number_input(key="weigh-B-2-0-new").set_value(130.5)
    only(at.button, "Keep the weights").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        assert journal.batch("B-2").records(Weighing)[0][1].grams == 130.5


def test_an_unlikely_weight_is_asked_about_and_kept_once_confirmed(small: Path) -> None:
    at = form(writing("B-1"), "B-1", "a weight")
    at.number_input(key="weigh-B-1-0-of-bar 1").set_value(10.65)
    only(at.button, "Keep the weights").click().run()
    assert "slipped decimal" in text_of(at)
    before = entries(small, "B-1")
    at.button(key="keep-doubted").click().run()
    assert entries(small, "B-1") == before + 1
    with Journal.open(small) as journal:
        assert journal.batch("B-1").records(Weighing)[-1][1].confirmed


def test_an_unlikely_weight_can_be_dropped(small: Path) -> None:
    before = entries(small, "B-1")
    at = form(writing("B-1"), "B-1", "a weight")
    at.number_input(key="weigh-B-1-0-of-bar 1").set_value(10.65)
    only(at.button, "Keep the weights").click().run()
    at.button(key="drop-doubted").click().run()
    assert entries(small, "B-1") == before


def test_an_impossible_weight_is_refused_with_what_is_safe(small: Path) -> None:
    before = entries(small, "B-1")
    at = form(writing("B-1"), "B-1", "a weight")
    at.number_input(key="weigh-B-1-0-of-bar 1").set_value(-3.0)
    only(at.button, "Keep the weights").click().run()
    assert any("cannot be" in e.value and "Nothing in the journal was changed" in e.value for e in at.error)
    assert entries(small, "B-1") == before


@pytest.mark.parametrize(
    ("method", "fill", "kept"),
    [
        ("meter", {"ph": 10.2}, AlkaliTest("meter", 10.2, 0.1, 1.0)),
        ("strip", {"ph": 9.5}, AlkaliTest("strip", 9.5, 0.5, 1.0)),
        (
            "titration",
            {"soap": 5.0, "first titration": 0.62, "blank": 0.02},
            AlkaliTest("titration", soap_g=5.0, acid_ml=(0.62,), acid_mol_l=0.1, blank_ml=0.02),
        ),
    ],
)
def test_each_alkali_test_is_kept_as_entered(
    method: str, fill: dict[str, float], kept: AlkaliTest, small: Path
) -> None:
    at = form(writing("B-2"), "B-2", "an alkali test")
    at.button_group(key="test-B-2-0-method").set_value(method).run()
    for name, value in fill.items():
        at.number_input(key=f"test-B-2-0-{name}").set_value(value)
    only(at.button, "Keep the test").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        assert journal.batch("B-2").records(AlkaliTest)[-1][1] == kept


def test_a_look_and_the_room_are_kept(small: Path) -> None:
    at = form(writing("B-2"), "B-2", "a surface check")
    at.radio(key="look-B-2-0-look").set_value("ash")
    only(at.button, "Keep the look").click().run()
    at = form(writing("B-2"), "B-2", "the room")
    at.number_input(key="room-B-2-0-room humidity").set_value(55.0)
    only(at.button, "Keep the readings").click().run()
    with Journal.open(small) as journal:
        batch = journal.batch("B-2")
    assert batch.records(SurfaceNote)[0][1].look == "ash"
    assert batch.records(ScalarReading)[0][1] == ScalarReading("room humidity", 55.0)


def test_a_correction_supersedes_and_both_stay_in_the_history(small: Path) -> None:
    at = app("batch", batch="B-1")
    at.button_group(key="section-B-1").set_value("History").run()
    at.toggle(key="correct-B-1").set_value(True).run()
    with Journal.open(small) as journal:
        wrong = next(e for e in journal.batch("B-1").entries if e.record == Weighing("bar 1", 107.6, 0.1))
    at.selectbox(key="which-B-1").set_value(wrong.id).run()
    at.number_input(key=f"correct-{wrong.id}-grams").set_value(107.8)
    only(at.button, "Keep the correction").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        weights = [weighing.grams for _, weighing in journal.batch("B-1").records(Weighing)]
        assert wrong.id in {entry.id for entry in journal.history("B-1")}
    assert 107.8 in weights and 107.6 not in weights
    assert "corrected by" in text_of(at)


def test_an_alkali_test_is_corrected_by_the_words_it_was_entered_by(small: Path) -> None:
    at = app("batch", batch="B-1")
    at.button_group(key="section-B-1").set_value("History").run()
    at.toggle(key="correct-B-1").set_value(True).run()
    with Journal.open(small) as journal:
        wrong = next(e for e in journal.batch("B-1").of(AlkaliTest) if e.record.method == "strip")
    at.selectbox(key="which-B-1").set_value(wrong.id).run()
    asked = {"pH as read", "It may be off by, pH", "Grams of soap in 100 ml", "Temperature, °C"}
    assert asked <= {field.label for field in at.number_input}


def test_what_is_typed_of_a_strips_key_is_answered_at_once(empty: Path) -> None:
    told = "Each pH once, with a space between them"
    at = app("strips")
    for typed, wrong in (("7 7,5 8", False), ("7 7,5 x", True), ("7 7.5 7", True)):
        at.text_input(key="key-ph").set_value(typed).run()
        assert (told in text_of(at)) == wrong, typed
    with Journal.open(empty) as journal:
        journal.add("", StripKeyEnrolled("half steps", "L-77", "", ()), at=NOW, by="Ott (invented)")
    at.run()
    at.button_group(key="strip-key-0-todo").set_value("Enrol a key").run()
    at.text_input(key="key-name").set_value("half steps").run()
    assert "It takes the place of the key half steps of lot L-77." in text_of(at)


def test_an_entry_is_taken_back_only_with_a_reason(small: Path) -> None:
    at = app("batch", batch="B-1")
    at.button_group(key="section-B-1").set_value("History").run()
    at.toggle(key="correct-B-1").set_value(True).run()
    with Journal.open(small) as journal:
        entry = journal.batch("B-1").of(SurfaceNote)[0]
    at.selectbox(key="which-B-1").set_value(entry.id).run()
    only(at.button, "Take it back").click().run()
    assert at.error
    at.text_input(key=f"why-{entry.id}").input("it was another batch")
    only(at.button, "Take it back").click().run()
    with Journal.open(small) as journal:
        assert not journal.batch("B-1").of(SurfaceNote)


def start_form(at: AppTest) -> AppTest:
    at.button(key="start-batch").click().run()
    return at


def test_a_batch_is_started_with_its_lye_checked_before_the_pour(small: Path) -> None:
    at = start_form(app("batches"))
    at.text_input(key="start-None-code").input("B-9")
    at.text_input(key="start-None-name").input("Fresh")
    at.selectbox(key="start-None-oil-0-what").set_value("olive")
    at.number_input(key="start-None-oil-0-g").set_value(1000.0)
    at.number_input(key="start-None-liquid-0-g").set_value(300.0)
    at.selectbox(key="start-None-alkali-0-what").set_value("NaOH")
    at.number_input(key="start-None-alkali-0-g").set_value(150.0)
    at.run()
    words = text_of(at)
    assert "Superfat" in words and "Do not pour" in words and "goggles" in words
    only(at.button, "Start the batch").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        batch = journal.batch("B-9")
    assert batch.recipe is not None and batch.recipe.oils[0].grams == 1000.0 and batch.portions[0].name == "soap"


@pytest.mark.parametrize(
    ("koh_pct", "said", "unsaid"),
    [
        # Codex STAN 33: olive 184 to 196 mg KOH/g. 1000 g at 190, less 5 %, are 180.5 g KOH or 128.68 g NaOH.
        (0, ["NaOH of 98 % purity", "131.3\u00a0g"], "KOH of"),
        (10, ["NaOH of 98 % purity", "118.2\u00a0g", "KOH of 90 % purity", "20.1\u00a0g"], "131.3"),
        (100, ["KOH of 90 % purity", "200.6\u00a0g"], "NaOH of"),
    ],
)
def test_the_lye_that_oils_need_may_be_of_both_alkalis(koh_pct: int, said: list[str], unsaid: str, small: Path) -> None:
    at = start_form(app("batches"))
    at.selectbox(key="start-None-oil-0-what").set_value("olive")
    at.number_input(key="start-None-oil-0-g").set_value(1000.0).run()
    only(at.slider, "KOH, part of the alkali by moles, %").set_value(koh_pct).run()
    words = text_of(at)
    assert all(text in words for text in said) and unsaid not in words


def test_a_batch_begun_like_an_earlier_one_has_its_recipe_and_portions(small: Path) -> None:
    at = start_form(app("batches"))
    at.selectbox(key="like-None").set_value("B-1").run()
    at.text_input(key="start-B-1-code").input("B-10")
    only(at.button, "Start the batch").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        fresh, model = journal.batch("B-10"), journal.batch("B-1")
    assert fresh.recipe is not None and model.recipe is not None
    assert fresh.recipe == model.recipe.with_lots([""] * 5), "new bottles have new lots"
    assert fresh.portions[0].target_lab == model.portions[0].target_lab


def test_pouring_another_like_this_takes_two_presses(small: Path) -> None:
    at = app("batches", like="B-1")
    assert at.text_input(key="start-B-1-code").value == "B-4", "the next free code"
    only(at.button, "Start the batch").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        assert journal.batch("B-4").recipe == journal.batch("B-1").recipe.with_lots([""] * 5)


POURED_AGAIN = replace(
    RECIPE,
    oils=(replace(RECIPE.oils[0], certificate_sv=188.0), RECIPE.oils[1]),
    additives=(
        Additive("invented scent", "fragrance", 30, "top", "F-1"),
        Additive("cocoa", "pigment", 12, "base", "P-1"),
    ),
    embeds=(Embed("B-2", 80.0, "base", 0.0, 0.11),),
    batter=(Batter("top", 400.0), Batter("base", 900.0)),
)
LAYERED = [POURED_AGAIN, Portion("base", 0, (60, 5, 20), "swatch"), Portion("top", 1, control=True)]


@pytest.fixture
def layered(small: Path) -> Path:
    with Journal.open(small) as journal:
        journal.start_batch("L-1", "Layers", at=NOW - timedelta(days=9), by="Ann", records=LAYERED)
    return small


def poured_again(at: AppTest, folder: Path) -> tuple[Batch, Recipe]:
    code = at.text_input(key="start-L-1-code").value
    only(at.button, "Start the batch").click().run()
    assert not at.exception and not at.error
    with Journal.open(folder) as journal:
        batch = journal.batch(code)
    assert batch.recipe is not None
    return batch, batch.recipe


def recipe_key(at: AppTest) -> str:
    """What the keys of a recipe's fields begin with."""
    return next(str(field.key) for field in at.selectbox if field.label == "Oil").removesuffix("-oil-0-what")


def test_another_pour_asks_for_its_lots_and_shows_which_they_were(layered: Path) -> None:
    at = app("batches", like="L-1")
    olive, *_, cocoa = [field for field in at.text_input if field.label.endswith(", lot")]
    assert (olive.value, olive.placeholder, cocoa.placeholder) == ("", "was OL-1", "was P-1")
    olive.input("OL-2").run()
    assert "olive, lot OL-2" in text_of(at) and "coconut, no lot noted" in text_of(at)
    batch, recipe = poured_again(at, layered)
    assert recipe.lots == ("OL-2", "", "", "", "", "")
    assert recipe.oils[0].certificate_sv is None, "a certificate is of its own lot"
    assert batch.portions == tuple(LAYERED[1:])
    assert recipe.batter == POURED_AGAIN.batter
    (piece,) = recipe.embeds
    assert (piece.batch, piece.grams, piece.portion) == ("B-2", 80.0, "base")
    assert "80 g of batch B-2 embedded in base" in text_of(app("batches", like="L-1")).replace("\u00a0", " ")


def test_another_pour_from_the_same_bottles_keeps_their_lots_once_that_is_said(layered: Path) -> None:
    at = app("batches", like="L-1")
    only(at.toggle, "The same bottles as for L-1: keep the lots").set_value(True).run()
    assert not [field for field in at.text_input if field.label.endswith(", lot")]
    _, recipe = poured_again(at, layered)
    assert recipe.lots == POURED_AGAIN.lots and recipe.oils[0].certificate_sv == 188.0


def test_a_changed_recipe_keeps_its_pieces_its_batter_and_what_went_into_which_portion(layered: Path) -> None:
    at = app("batches", like="L-1")
    only(at.toggle, "Change its portions or recipe").set_value(True).run()
    assert at.text_input(key=f"{recipe_key(at)}-oil-0-lot").value == "", "asked anew here too"
    at.number_input(key=f"{recipe_key(at)}-oil-0-g").set_value(690.0)
    at.text_input(key="start-L-1-p-1-name").input("rim").run()
    assert "no portion" not in text_of(at)
    batch, recipe = poured_again(at, layered)
    assert [portion.name for portion in batch.portions] == ["base", "rim"] and batch.portions[1].control
    assert recipe.oils[0].grams == 690.0
    assert [(one.name, one.portion) for one in recipe.additives] == [("invented scent", "rim"), ("cocoa", "base")]
    assert [(one.batch, one.grams, one.portion) for one in recipe.embeds] == [("B-2", 80.0, "base")]
    assert recipe.batter == (Batter("rim", 400.0), Batter("base", 900.0))


def test_what_went_into_a_portion_that_is_left_out_is_asked_about(layered: Path) -> None:
    at = app("batches", like="L-1")
    only(at.toggle, "Change its portions or recipe").set_value(True).run()
    at.number_input(key="start-L-1-portions").set_value(1).run()
    assert "The batch has no portion “top” now" in text_of(at).replace("\\", "")
    at.selectbox(key=f"{recipe_key(at)}-additive-0-in").set_value("base").run()
    at.number_input(key=f"{recipe_key(at)}-batter-0").set_value(0.0).run()
    assert "no portion" not in text_of(at)
    batch, recipe = poured_again(at, layered)
    assert len(batch.portions) == 1 and {one.portion for one in recipe.additives} == {"base"}
    assert recipe.batter == (Batter("base", 900.0),)


def test_a_recipe_is_corrected_as_a_whole_and_the_earlier_one_stays(layered: Path) -> None:
    at = form(writing("L-1"), "L-1", "the recipe")
    key = only(at.button, "Keep the recipe").key.removesuffix("-go")
    assert at.text_input(key=f"{key}-oil-0-lot").value == "OL-1", "the same pour, the same bottles"
    at.number_input(key=f"{key}-oil-0-g").set_value(710.0).run()
    only(at.button, "Keep the recipe").click().run()
    if any(button.key == "keep-doubted" for button in at.button):
        at.button(key="keep-doubted").click().run()
    assert not at.exception and not at.error
    with Journal.open(layered) as journal:
        batch, history = journal.batch("L-1"), journal.history("L-1")
    assert batch.recipe == replace(
        POURED_AGAIN, oils=(replace(POURED_AGAIN.oils[0], grams=710.0), POURED_AGAIN.oils[1])
    )
    (first, second) = [item for item in history if isinstance(item.record, Recipe)]
    assert (second.supersedes, second.at) == (first.id, first.at)


def test_a_code_in_use_is_refused(small: Path) -> None:
    at = start_form(app("batches"))
    at.text_input(key="start-None-code").input("B-1")
    at.text_input(key="start-None-name").input("Again")
    only(at.button, "Start the batch").click().run()
    assert any("B-1 already" in e.value.replace("\\", "") for e in at.error)


@pytest.fixture
def waxed(small: Path) -> Path:
    """A recipe that came from elsewhere, with fats that no list has."""
    recipe = replace(RECIPE, oils=(*RECIPE.oils, Oil("emu", 100.0, "E-1"), Oil("stearic acid of ours", 500.0)))
    with Journal.open(small) as journal:
        journal.start_batch("W-1", "Waxed", at=NOW - timedelta(days=3), by="Ann", records=[recipe])
    return small


def test_an_oil_outside_the_list_is_shown_as_it_is_and_kept(waxed: Path) -> None:
    """It opened with an empty row, and keeping it dropped 500 g of stearic acid without a word."""
    at = form(writing("W-1"), "W-1", "the recipe")
    key = only(at.button, "Keep the recipe").key.removesuffix("-go")
    shown = [at.selectbox(key=f"{key}-oil-{row}-what").value for row in range(len(RECIPE.oils) + 2)]
    assert shown == [*(oil.key for oil in RECIPE.oils), "emu", "stearic acid of ours"]
    assert "not known" in text_of(at), "what the lye check cannot say is said"
    at.number_input(key=f"{key}-oil-0-g").set_value(810.0)
    only(at.button, "Keep the recipe").click().run()
    at.button(key="keep-doubted").click().run()
    with Journal.open(waxed) as journal:
        kept = journal.batch("W-1").recipe
    assert kept is not None and [oil.key for oil in kept.oils] == shown
    assert kept.oils[0].grams == 810.0 and kept.oils[-1].grams == 500.0 and kept.oils[-2].lot == "E-1"


def test_an_oil_has_the_makers_own_value_in_the_app_too(waxed: Path) -> None:
    at = form(writing("W-1"), "W-1", "the recipe")
    key = only(at.button, "Keep the recipe").key.removesuffix("-go")
    first, second = len(RECIPE.oils), len(RECIPE.oils) + 1
    at.number_input(key=f"{key}-oil-{first}-sv-emu").set_value(195.0).run()
    at.number_input(key=f"{key}-oil-{first}-svh-emu").set_value(6.0).run()
    at.text_input(key=f"{key}-oil-{first}-svf-emu").set_value("my own titration").run()
    at.number_input(key=f"{key}-oil-{second}-sv-stearic acid of ours").set_value(205.0).run()
    only(at.button, "Keep the recipe").click().run()
    if any(button.key == "keep-doubted" for button in at.button):
        at.button(key="keep-doubted").click().run()
    with Journal.open(waxed) as journal:
        kept = journal.batch("W-1").recipe
    assert kept is not None
    assert kept.oils[first] == Oil("emu", 100.0, "E-1", 195.0, 6.0, "my own titration")
    assert kept.oils[second].certificate_sv == 205.0


def test_acids_a_solution_and_melted_soap_are_entered_in_the_app(waxed: Path) -> None:
    at = form(writing("W-1"), "W-1", "the recipe")
    key = only(at.button, "Keep the recipe").key.removesuffix("-go")
    only(at.button, "One more: acid").click().run()
    at.selectbox(key=f"{key}-acid-0-what").set_value("vinegar").run()
    at.number_input(key=f"{key}-acid-0-g").set_value(100.0).run()
    at.toggle(key=f"{key}-alkali-0-NaOH-dissolved").set_value(True).run()
    only(at.button, "One more: pieces of batch").click().run()
    at.selectbox(key=f"{key}-pieces-0-what").set_value("B-1").run()
    at.selectbox(key=f"{key}-pieces-0-as").set_value("melted through (rebatch)").run()
    at.number_input(key=f"{key}-pieces-0-g").set_value(250.0).run()
    assert not at.exception
    only(at.button, "Keep the recipe").click().run()
    at.button(key="keep-doubted").click().run()
    with Journal.open(waxed) as journal:
        kept = journal.batch("W-1").recipe
    assert kept is not None and kept.rebatch
    assert kept.acids == (Acid("vinegar", 100.0, 5.0, 0.5),)
    assert kept.alkalis[0].solution_pct == 50.0


def test_the_moment_it_darkens_is_answered(small: Path) -> None:
    with Journal.open(small) as journal:
        journal.add("B-2", Event("colour changed"), at=NOW, by="Ann")
    at = writing("B-2")
    assert not at.exception
    assert "It darkened: what earlier batches did" in text_of(at)


def test_what_a_workshop_answers_for_is_entered_by_its_forms(small: Path) -> None:
    at = writing("B-1")
    at.button_group(key="business-B-1").set_value("where it lies").run()
    at.text_input(key="where-it-lies-B-1-0-rack").set_value("rack A")
    at.text_input(key="where-it-lies-B-1-0-tray").set_value("tray 3")
    only(at.button, "Save").click().run()
    assert not at.exception and not at.error
    at.button_group(key="business-B-1").set_value("rules of this batch alone").run()
    at.number_input(key="own-rules-B-1-0-min_age_days").set_value(90.0)
    at.text_input(key="own-rules-B-1-0-why").set_value("poured with much water")
    only(at.button, "Save").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        batch = journal.batch("B-1")
        assert batch.place == "rack A, tray 3"
        assert workflow.limits_of(journal, batch).min_age_days == 90
