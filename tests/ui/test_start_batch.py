"""A batch is started with its lye checked, like an earlier one or again; its recipe is kept as it was entered."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from curejournal.batch.records import Batch, Portion
from curejournal.journal.store import Journal
from curejournal.soap.recipe import Acid, Additive, Batter, Embed, Oil, Recipe
from tests.ui.journals import NOW, RECIPE
from tests.ui.pages import app, form, only, text_of, writing


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
    soap = {0: "NaOH: hard bars", 100: "KOH: soft soap"}.get(koh_pct, "Both")
    at.button_group(key="start-None-soap").set_value(soap).run()
    if soap == "Both":
        only(at.slider, "KOH instead of NaOH, % of the lye’s strength").set_value(koh_pct).run()
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
    assert at.text_input(key=f"{recipe_key(at)}-oil-0-lot").value == "", "asked again here too"
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
    only(at.button, "Add an acid").click().run()
    at.selectbox(key=f"{key}-acid-0-what").set_value("vinegar").run()
    at.number_input(key=f"{key}-acid-0-g").set_value(100.0).run()
    at.toggle(key=f"{key}-alkali-0-NaOH-dissolved").set_value(True).run()
    only(at.button, "Add pieces of a batch").click().run()
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
