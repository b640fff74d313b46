"""A recipe before the pour, on the command line: scaled to a mould, its superfat both ways, what to expect of it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from curejournal.batch.records import AlkaliTest, Decision, Event, Portion
from curejournal.journal.store import Journal, NewEntry
from curejournal.soap.recipe import Additive
from curejournal.soap.scaling import BATTER_G_ML
from tests.cli.test_commands import as_json, run
from tests.judging.batches import INTENDED, RECIPE, day, reading

MIXED = """
oils = [{ key = "olive", grams = 700 }, { key = "coconut", grams = 300 }]
alkalis = [{ kind = "NaOH", grams = 120, purity_low_pct = 98, purity_high_pct = 99 },
           { kind = "KOH", grams = 20, purity_low_pct = 88, purity_high_pct = 92 }]
liquids = [{ name = "goat's milk", grams = 300, water_fraction = 0.87, fat_fraction = 0.041 }]
additives = [{ name = "clove", kind = "fragrance", grams = 10, portion = "top" }]
batter = [{ portion = "base", grams = 1000 }, { portion = "top", grams = 300 }]
"""


@pytest.fixture
def mixed(tmp_path: Path) -> Path:
    (tmp_path / "mixed.toml").write_text(MIXED)
    return tmp_path / "mixed.toml"


def test_a_recipe_is_scaled_to_a_mould_and_written(mixed: Path, tmp_path: Path) -> None:
    """Arithmetic: 20 x 8 x 6 cm are 960 ml."""
    plain = as_json("recipe", "check", mixed)
    scaled = as_json("recipe", "check", mixed, "--mould", "20,8,6", "--save", tmp_path / "scaled.json")
    assert scaled["batch_g"] == pytest.approx(960 * BATTER_G_ML)
    assert scaled["superfat_nominal_pct"] == pytest.approx(plain["superfat_nominal_pct"])
    # The same scale is finer on a larger batch and coarser on a smaller one.
    assert scaled["superfat_interval_pct"] == pytest.approx(plain["superfat_interval_pct"], abs=0.3)
    written = json.loads((tmp_path / "scaled.json").read_text())
    assert [alkali["kind"] for alkali in written["alkalis"]] == ["NaOH", "KOH"]
    share = 960 * BATTER_G_ML / plain["batch_g"]
    assert written["batter"][1]["grams"] == pytest.approx(300 * share)
    assert as_json("recipe", "check", tmp_path / "scaled.json")["batch_g"] == pytest.approx(scaled["batch_g"])
    assert as_json("recipe", "check", mixed, "--factor", "2", "--grams", "900", code=1)["error"]["do"]


def test_superfat_is_said_by_independent_spreads_and_at_worst_and_flagged_below_zero(
    mixed: Path, tmp_path: Path
) -> None:
    checked = as_json("recipe", "check", mixed)
    (low, high), (worst, best) = checked["superfat_interval_pct"], checked["superfat_worst_pct"]
    assert worst < low < high < best
    said = run("recipe", "check", mixed)
    assert f"{low:.1f} to {high:.1f} %" in said and f"{worst:.1f} to {best:.1f} %" in said
    # The milk's fat takes up lye too, and its water is less than its weight.
    assert checked["fat_g"] == pytest.approx(1000 + 300 * 0.041)
    assert checked["water_g"] == pytest.approx(300 * 0.87)
    heavy = tmp_path / "heavy.toml"
    heavy.write_text(MIXED.replace("grams = 120,", "grams = 150,"))
    low, high = as_json("recipe", "check", heavy)["superfat_interval_pct"]
    assert low < high < 0
    said = run("recipe", "check", heavy)
    assert "More lye than these oils take up: superfat \u2212" in said
    assert f"95% interval \u2212{-low:.1f} to \u2212{-high:.1f} %" in said


def test_koh_of_unsaid_purity_is_refused(tmp_path: Path) -> None:
    recipe = tmp_path / "unsaid.toml"
    recipe.write_text(MIXED.replace(", purity_low_pct = 88, purity_high_pct = 92", ""))
    refused = as_json("recipe", "check", recipe, code=1)["error"]
    assert "how pure its KOH is" in refused["what"] and "purity_low_pct" in refused["do"]


def test_a_planned_dose_is_reckoned_on_the_portions_share(mixed: Path, tmp_path: Path) -> None:
    journal = tmp_path / "journal"
    run("batch", "start", "B1", "--name", "Plain", "--recipe", mixed, "--portion", "base", "--portion", "top",
        journal=journal)  # fmt: skip
    (clove,) = [row for row in as_json("material", "list", journal=journal)["materials"] if row["material"] == "clove"]
    # Arithmetic: 10 g in a batch of 1000 g of oils, whichever part of it they went into.
    assert clove["doses_pct"] == pytest.approx([1.0, 1.0])
    portions = [
        plan["portion"] for plan in as_json("recipe", "predict", mixed, "--portion", "rim", journal=journal)["portions"]
    ]
    assert portions == ["rim", "base", "top"]


def test_a_recipe_is_entered_and_corrected_after_the_pour(mixed: Path, tmp_path: Path) -> None:
    here = {"journal": tmp_path / "journal"}
    run("batch", "start", "B1", "--name", "Plain", "--portion", "base", "--portion", "top", **here)
    run("batch", "note", "B1", "poured", **here)
    assert "no recipe" in run("batch", "recipe", "B1", tmp_path / "out.json", code=1, **here)
    first = as_json("batch", "recipe", "B1", "--enter", mixed, **here)["entries"][0]
    assert first["record"]["alkalis"][0]["grams"] == 120 and first["supersedes"] is None
    corrected = tmp_path / "corrected.toml"
    corrected.write_text(MIXED.replace("grams = 120,", "grams = 118,"))
    second = as_json("batch", "recipe", "B1", "--enter", corrected, **here)["entries"][0]
    assert (second["supersedes"], second["at"]) == (first["id"], first["at"])
    assert len(as_json("batch", "history", "B1", **here)["entries"]) == 5, "the earlier one stays"
    run("batch", "recipe", "B1", tmp_path / "out.json", **here)
    assert json.loads((tmp_path / "out.json").read_text())["alkalis"][0]["grams"] == 118
    heavy = tmp_path / "heavy.toml"
    heavy.write_text(MIXED.replace("grams = 120,", "grams = 150,"))
    assert "--confirmed" in as_json("batch", "recipe", "B1", "--enter", heavy, code=1, **here)["error"]["do"]
    assert as_json("batch", "recipe", "B1", "--enter", heavy, "--confirmed", **here)["doubts"]
    assert as_json("batch", "recipe", "B1", code=1, **here)["error"]["do"]
    assert as_json("batch", "recipe", "B1", tmp_path / "x.json", "--enter", mixed, code=1, **here)["error"]["do"]


def test_a_control_and_the_batter_of_a_portion_are_said_at_the_start_or_later(mixed: Path, tmp_path: Path) -> None:
    here = {"journal": tmp_path / "journal"}
    run("batch", "start", "B1", "--name", "Plain", "--recipe", mixed, "--portion", "base=80,2,12", "--portion", "top",
        "--control", "top", "--control", "aside", **here)  # fmt: skip

    def portions() -> dict[str, dict]:
        entries = as_json("batch", "show", "B1", **here)["entries"]
        found = [entry["record"] for entry in entries if "target_lab" in entry["record"]]
        return {record["name"]: record for record in found}

    assert {name: record["control"] for name, record in portions().items()} == {
        "base": False, "top": True, "aside": True,
    }  # fmt: skip
    assert portions()["base"]["target_lab"] == [80, 2, 12]
    assert "(control)" not in run("batch", "portion", "B1", "top", "--no-control", "--tolerance", 2, **here)
    assert (portions()["top"]["control"], portions()["top"]["tolerance"]) == (False, 2)
    run("batch", "portion", "B1", "rim", "--control", **here)
    assert portions()["rim"]["order"] == 3
    assert as_json("batch", "portion", "B1", "rim", "--control", code=1, **here)["error"]["do"]

    said = run("batch", "portion", "B1", "top", "--batter", 400, **here)
    assert "400 g of batter for top" in said and "1000 g of batter for base" in said
    (clove,) = [row for row in as_json("material", "list", **here)["materials"] if row["material"] == "clove"]
    assert clove["doses_pct"] == pytest.approx([1.0, 1.0])
    before = as_json("batch", "history", "B1", **here)
    too_much = as_json("batch", "portion", "B1", "side", "--batter", 4000, code=1, **here)["error"]
    assert "batter" in too_much["what"] and as_json("batch", "history", "B1", **here) == before, (
        "the portion is not added either"
    )


def test_batter_without_a_recipe_is_refused(tmp_path: Path) -> None:
    here = {"journal": tmp_path / "journal"}
    run("batch", "start", "B1", "--name", "Plain", **here)
    refused = as_json("batch", "portion", "B1", "top", "--batter", 300, code=1, **here)["error"]
    assert "no recipe" in refused["what"] and "recipe first" in refused["do"]


TURNS = {"C-1": (14.0, 13.0), "C-2": (2.0, 1.8)}
"""How far each portion of a lot was off at most, in its b* alone: for ΔE00 less than that."""


@pytest.fixture
def two_lots(tmp_path: Path) -> Path:
    """Clove turns the batter where it is of lot C-1, and hardly where it is of lot C-2."""
    with Journal.open(tmp_path / "lots") as journal:
        for lot, turns in TURNS.items():
            for number, turn in enumerate(turns):
                code = f"{lot}-{number}"
                recipe = replace(RECIPE, additives=(Additive("clove", "fragrance", 30.0, "", lot),))
                records = [recipe, Portion("soap", 0, INTENDED, "swatch"), Event("poured")]
                journal.start_batch(code, "Clove", at=day(number), by="Kaja (invented)", records=records)
                ages = (0.2, 1, 3, 8, 15, 25, 35)
                seen = [reading(np.add(INTENDED, (0, 0, turn * np.exp(-0.3 * age))), "soap") for age in ages]
                items = [NewEntry(one, day(number + age)) for one, age in zip(seen, ages, strict=True)]
                journal.add_many(code, items, by="Kaja (invented)")
    return tmp_path / "lots"


@pytest.mark.parametrize(
    ("lot", "by", "said"),
    [
        ("C-1", 2, ["clove, lot C-1 (so far, of 2 portions", "Other lots, left out: lot C-2: turned by"]),
        ("C-2", 2, ["clove, lot C-2 (so far", "Other lots, left out: lot C-1: turned by"]),
        ("", 4, ["What several lots did is taken together, and they may differ: lot C-1: turned by"]),
        ("C-9", 4, ["Lot C-9 has told nothing yet.", "taken together", "lot C-2: turned by"]),
    ],
)
def test_what_different_lots_did_is_not_averaged_unsaid(
    lot: str, by: int, said: list[str], two_lots: Path, tmp_path: Path
) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(
        'oils = [{ key = "olive", grams = 1000 }]\nalkalis = [{ kind = "NaOH", grams = 130 }]\n'
        f'additives = [{{ name = "clove", kind = "fragrance", grams = 30, lot = "{lot}" }}]\n'
    )
    told = run("recipe", "predict", plan, journal=two_lots)
    assert all(words in told for words in said)
    (portion,) = as_json("recipe", "predict", plan, journal=two_lots)["portions"]
    expected = portion["materials"][0]["expected"]
    assert expected["batches"] == by and {one["lot"] for one in expected["lots"]} == {"C-1", "C-2"}
    strong, weak = (one["turn"] for one in expected["lots"])
    assert weak[1] < 3 < strong[0]
    turn = expected["turn"]
    if lot in TURNS:
        assert turn["low"] < (strong if lot == "C-1" else weak)[1] < turn["high"]
    else:
        assert (expected["lot"], expected["new_lot"]) == (None, lot or None)
        assert weak[1] < turn["estimate"] < strong[0], "their mean, which neither of them does: so it is said"
    assert "lot C-1: turned by" in run("material", "show", "clove", journal=two_lots)


def test_what_lye_gives_a_superfat_is_answered_in_grams_to_weigh(mixed: Path) -> None:
    found = as_json("recipe", "check", mixed, "--superfat", 5)
    assert found["superfat_nominal_pct"] == pytest.approx(5.0)
    said = run("recipe", "check", mixed, "--superfat", 5)
    assert f"Weigh {round(found['recipe']['alkalis'][0]['grams'], 1):g} g NaOH" in said
    assert "leaves some oil unsaponified: superfat 5%, likely" in said and "Total lye concentration" in said


def test_an_order_a_recall_and_a_place_on_the_command_line(mixed: Path, tmp_path: Path) -> None:
    here = {"journal": tmp_path / "journal"}
    run("batch", "start", "B1", "--name", "Plain", "--recipe", mixed, "--at", "2026-01-01T10:00", **here)
    run("batch", "note", "B1", "poured", "--at", "2026-01-01T11:00", **here)
    run("batch", "note", "B1", "cut", "--bars", 9, "--at", "2026-01-03T11:00", **here)
    assert "rack A" in run("batch", "place", "B1", "rack A", "--tray", "tray 3", **here)
    lines = ("batch", "order", "B1=4", "--name", "Shop (invented)", "--details", "555 0100", "--order", "7")
    asked = as_json(*lines, code=1, **here)
    assert "not released" in asked["error"]["what"] and "--confirmed" in asked["error"]["do"]
    run(*lines, "--confirmed", **here)
    assert "many bars" in as_json("batch", "order", "B1=6", "--name", "Shop", code=1, **here)["error"]["what"]
    run("batch", "back", "B1", 1, "--why", "too soft", "--name", "shop (invented)", **here)
    assert run("batch", "recall", "B1", **here).startswith("Shop (invented) (555 0100): 3 bars of B1")
    run("batch", "rules", "Castile", "min_age_days=200", "--recipe", "--why", "all olive", **here)
    laxer = as_json("batch", "rules", "B1", "min_age_days=21", "--why", "in a hurry", code=1, **here)
    assert "laxer" in laxer["error"]["what"]


def test_a_lot_and_a_room_log_on_the_command_line(tmp_path: Path) -> None:
    here = {"journal": tmp_path / "journal"}
    lot = ("material", "enter-lot", "olive", "OL-1", "--supplier", "Invented Oils", "--received", "2026-01-05")
    said = run(*lot, **here)
    assert "olive, lot OL-1, from Invented Oils" in said
    odd = ("material", "enter-lot", "olive", "OL-2", "--received", "2026-01-05", "--opened", "2026-01-01")
    assert "before it was received" in as_json(*odd, code=1, **here)["error"]["what"]
    (tmp_path / "room.csv").write_text("time;temp;RH\n2026-03-05 12:00;68;60\n", "utf-8")
    asked = as_json("journal", "room", tmp_path / "room.csv", **here)
    assert asked["questions"][0]["about"] == "unit"
    assert as_json("journal", "room", tmp_path / "room.csv", "--keep", code=1, **here)["error"]["do"]
    assert as_json("journal", "room", tmp_path / "room.csv", "--unit", "F", "--keep", **here)["new"] == 1


def test_what_an_alkali_verdict_rests_on_is_asked_for_on_the_command_line(mixed: Path, tmp_path: Path) -> None:
    here = {"journal": tmp_path / "journal"}
    run("batch", "start", "B1", "--name", "Plain", "--recipe", mixed, "--at", "2026-01-01T10:00", **here)
    run("batch", "note", "B1", "poured", "--at", "2026-01-01T11:00", **here)
    meter = ("batch", "test", "B1", "meter", "--ph", 10.2, "--at", "2026-02-01T11:00")
    assert "temperature was not noted" in run(*meter, **here)
    assert "temperature" not in run(*meter, "--temperature", 22, **here)
    titration = ("batch", "test", "B1", "titration", "--soap", 5, "--acid", 0.2, "--acid-strength", 0.1)
    assert "half-width" in as_json(*titration, "--half-width", 0, code=1, **here)["error"]["what"]
    batter = ("batch", "weighed", "B1", "lye and oils", "batter weighed", "--batter", 900)
    assert "The batter weighs" in as_json(*batter, code=1, **here)["error"]["what"]
    run(*batter, "--confirmed", **here)
    pocket = run("batch", "surface", "B1", "lye pocket", "--count", 2, **here)
    assert "lye pocket" in pocket and "2 bars" in pocket
    with Journal.open(tmp_path / "journal") as journal:
        journal.add("B1", Decision("release", "A. Tester", "ready", "1", "{}"), at=day(20), by="A. Tester")
        journal.add("B1", AlkaliTest("meter", 11.8, 0.1, 1.0), at=day(21), by="A. Tester")
    said = run("judge", "B1", "--on", "2026-10-01", **here)
    assert "called back?" in said
    assert "Answer it, signed: `batch withdraw B1`, or `batch keep-on-sale B1`." in said
