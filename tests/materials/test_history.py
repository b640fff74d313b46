"""What each material did, told from batches whose truth is known."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from curejournal.batch.records import Event, Portion
from curejournal.colour.difference import ciede2000
from curejournal.judging.forecast import SPREAD, SPREAD_WORTH, one_more
from curejournal.judging.judgement import judge
from curejournal.judging.traceability import where_did_it_go
from curejournal.materials.expectation import expect
from curejournal.materials.history import histories, ingredients, material_key, observations, stories
from curejournal.soap.recipe import Additive, Batter, Liquid
from tests.judging.batches import BASICS, INTENDED, JOURNEYS, POURED, RECIPE, batch, day, seen

DAYS = (0.2, 1, 3, 7, 14, 21, 28, 35, 42)


def poured(code, journey, *additives, days=DAYS, liquids=RECIPE.liquids, extra=(), seed=1):
    recipe = replace(RECIPE, additives=additives, liquids=liquids)
    records = (*((d, recipe if r is RECIPE else r) for d, r in BASICS), *seen(journey, days, seed=seed), *extra)
    return replace(batch(*records), code=code, name=code)


def told(*batches):
    return [story for one in batches for story in stories(one, judge(one, day(60)).journeys)]


VANILLA = Additive("vanilla scent", "fragrance", 30.0, "cream", "V-1")
DOSE = 100 * 30 / 1443.6
"""% of the batter: all of it went into the one portion, and it weighs what the recipe sums up to."""


def test_a_portions_story_tells_turn_way_back_and_end():
    trace = Event("trace", note="thick within a minute")
    one = poured("A", "comes back", VANILLA, extra=((-0.02, trace),))
    (story,) = told(one)
    peak = max(float(ciede2000(np.array(INTENDED), JOURNEYS["comes back"](d))) for d in DAYS)
    assert story.outcome == "came back"
    assert story.turn.low < peak < story.turn.high
    assert story.turn_days == pytest.approx(0.2, abs=0.1)
    grid = np.linspace(0, 60, 6001)
    away = np.array([float(ciede2000(np.array(INTENDED), JOURNEYS["comes back"](d))) for d in grid])
    back = grid[np.flatnonzero(away > 3.0)[-1]]
    assert story.back_days[1] < back < story.back_days[2]
    assert story.end_lab == pytest.approx(INTENDED, abs=1.5)
    assert story.trace == "thick within a minute"
    assert story.trace_minutes == pytest.approx(0.02 * 24 * 60, rel=0.01)
    assert story.photos == ("photo cream 0.2", "photo cream 42")
    assert story.ingredients[0].dose_pct == pytest.approx(DOSE)


def test_browning_that_is_meant_is_neither_a_turn_nor_a_way_back():
    """A loaf with vanillin whose target colour is brown says nothing of how far the scent turns a white one."""
    brown = Portion("cream", target_lab=(60.0, 8.0, 22.0), target_source="swatch")
    days = (*DAYS, 50, 60, 75, 90, 110)
    one = poured("A", "browns", VANILLA, days=days, extra=((0.1, brown),))
    for on, words, outcome in ((120, "darkened to its colour", "darkened as intended"), (29, "darkening", "not known")):
        journeys = judge(one, day(on)).journeys
        (story,) = stories(replace(one, entries=tuple(e for e in one.entries if e.at <= day(on))), journeys)
        assert words in journeys["cream"].words and outcome in story.outcome
        assert (story.turn, story.back_days, story.end_difference) == (None, None, None)
        for what in ("turn", "end"):
            assert observations([story], what) == ((), ("A, cream: it darkens as intended, which is not discolouring",))
        (history,) = histories([story])
        expected = expect(history, DOSE, day(130))
        assert (expected.turn, expected.back) == (None, None)
        assert "came back" not in expected.words
    (white,) = told(poured("B", "comes back", VANILLA))
    assert not white.journey.darkens


@pytest.mark.parametrize(
    ("journey", "outcome"), [("settles off", "settled off"), ("browns", "still browning"), ("stays", "stayed within")]
)
def test_each_outcome_is_told(journey, outcome):
    (story,) = told(poured("A", journey, VANILLA))
    assert story.outcome == outcome
    assert story.back_days is None


def test_plain_water_is_no_material_and_milk_is():
    milk = Liquid("goat's milk", 100.0, 0.87, 0.041, "M-2")
    (story,) = told(poured("A", "stays", liquids=(Liquid("water", 200.0), milk)))
    assert [(item.material, item.kind, item.lot) for item in story.ingredients] == [("goat's milk", "liquid", "M-2")]
    assert story.ingredients[0].dose_pct == pytest.approx(100 * 100 / (1146.4 + 300))


def test_a_control_holds_no_fragrance_but_all_else():
    everywhere = (Additive("scent", "fragrance", 20.0), Additive("clay", "other", 10.0))
    one = poured("A", "stays", *everywhere, extra=((0, Portion("plain", 1, INTENDED, "swatch", control=True)),))
    by_portion = {story.portion: [item.material for item in story.ingredients] for story in told(one)}
    assert by_portion == {"cream": ["scent", "clay"], "plain": ["clay"]}


def test_a_history_gathers_spellings_doses_and_lots():
    other = Additive("Vanilla  Scent", "fragrance", 15.0, "cream", "V-2")
    (history,) = histories(told(poured("A", "comes back", VANILLA), poured("B", "stays", other)))
    assert history.material == "vanilla scent"
    assert history.batches == ("A", "B")
    assert history.doses_pct == pytest.approx((1.5, 3.0))
    assert [(lot.uses[0].ingredient.lot, lot.batches) for lot in history.lots] == [("V-1", ("A",)), ("V-2", ("B",))]
    assert (history.count("came back"), history.count("stayed within")) == (1, 1)
    assert material_key(" Vanilla  Scent") == material_key("vanilla scent")


def test_a_lot_that_was_seen_speaks_for_itself_and_for_a_new_one_all_are_taken_together_and_told():
    """Lot V-1 turns and comes back, lot V-2 does nothing: their mean is what neither of them does."""
    used = [("A", "comes back", "V-1"), ("B", "comes back", "V-1"), ("C", "stays", "V-2"), ("D", "stays", "V-2")]
    made = [poured(code, way, replace(VANILLA, lot=lot), seed=seed) for seed, (code, way, lot) in enumerate(used)]
    (history,) = histories(told(*made))
    peak = max(float(ciede2000(np.array(INTENDED), JOURNEYS["comes back"](d))) for d in DAYS)
    first, second = (expect(history, DOSE, POURED, lot) for lot in (" v-1 ", "V-2"))
    assert (first.lot, first.batches, second.batches) == ("v-1", 2, 2)
    assert first.turn.low < peak < first.turn.high
    assert second.turn.high < peak
    assert first.back is not None and second.back is None, "what lot V-1 did says nothing of V-2's way back"
    assert first.words == "of 2 portions: 2 came back"
    for lot in ("", "V-3"):
        new = expect(history, DOSE, POURED, lot)
        assert (new.lot, new.new_lot, new.batches) == ("", lot, 4)
        assert [(seen.lot, seen.portions) for seen in new.lots] == [("V-1", 2), ("V-2", 2)]
        assert new.turn.low < second.turn.estimate and new.turn.high > peak
    (one, _), (two, _) = ((seen, seen.turn) for seen in new.lots)
    assert one.turn[0] == pytest.approx(peak, abs=2.5) and two.turn[1] < 3
    # At twice the dose, twice the turn.
    assert expect(history, 2 * DOSE, POURED).lots[0].turn == pytest.approx([2 * value for value in one.turn])


def test_a_lot_whose_only_batch_has_no_readings_yet_has_told_nothing():
    young = poured("B", "comes back", replace(VANILLA, lot="V-2"), days=())
    (history,) = histories(told(poured("A", "comes back", VANILLA), young))
    expected = expect(history, DOSE, POURED, "V-2")
    assert (expected.lot, expected.new_lot, expected.batches) == ("", "V-2", 1)
    assert [seen.lot for seen in expected.lots] == ["V-1"]


def test_a_planned_pour_is_predicted_from_earlier_ones():
    batches = [poured(code, "comes back", VANILLA, seed=number) for number, code in enumerate("ABC")]
    (history,) = histories(told(*batches))
    later = POURED + timedelta(days=100)
    expected = expect(history, None, later)
    peak = max(float(ciede2000(np.array(INTENDED), JOURNEYS["comes back"](d))) for d in DAYS)
    assert expected.batches == 3
    assert expected.turn.low < peak < expected.turn.high
    assert expected.back.expected
    assert later < expected.back.at < later + timedelta(days=30)
    at_week = next(interval for days, interval in zip(expected.days, expected.difference, strict=True) if days >= 7)
    assert at_week.low < float(ciede2000(np.array(INTENDED), JOURNEYS["comes back"](7.0))) < at_week.high
    assert not expected.beyond_doses
    assert expected.words == "of 3 portions: 3 came back"


def test_twice_the_dose_is_expected_to_turn_twice_as_far_and_said_to_be_untried():
    (history,) = histories(told(poured("A", "comes back", VANILLA)))
    usual, double = expect(history, DOSE, POURED), expect(history, 2 * DOSE, POURED)
    assert expect(history, 90.0, POURED).turn.high == 100  # no two colours are further apart
    assert double.turn.estimate == pytest.approx(2 * usual.turn.estimate, rel=1e-6)
    assert double.beyond_doses


def test_a_history_without_colours_predicts_nothing():
    (history,) = histories(told(poured("A", "stays", VANILLA, days=())))
    expected = expect(history, None, POURED)
    assert expected.turn is None
    assert expected.back is None
    assert expected.difference == ()


@pytest.mark.parametrize("count", [1, 2, 3, 5, 10])
def test_the_interval_of_one_more_batch_holds(count):
    """Batches of a material whose spread is the one that is guessed before any was seen."""
    rng = np.random.default_rng(count)
    held = []
    for _ in range(1500):
        spread = SPREAD * np.sqrt(SPREAD_WORTH / rng.chisquare(SPREAD_WORTH))  # scaled inverse chi-squared
        logs = rng.normal(2.0, spread, count + 1)
        interval = one_more(logs[:-1])
        held.append(interval.low <= np.exp(logs[-1]) <= interval.high)
    print(f"{count} batches: {np.mean(held):.1%}")
    assert 0.935 <= np.mean(held) <= 0.965


def test_observations_say_what_was_left_out_and_why():
    batches = (
        poured("early", "comes back", VANILLA),
        poured("late", "comes back", VANILLA, days=(5, 9, 14, 21, 28, 35)),
        poured("unseen", "stays", days=()),
        poured("plain", "stays"),
    )
    kept, left_out = observations(told(*batches))
    assert [seen.batch for seen in kept] == ["early", "plain"]
    assert kept[0].doses[0].material == "vanilla scent"
    assert kept[1].doses == ()
    assert [line.split(",")[0] for line in left_out] == ["late", "unseen"]
    ends, _ = observations(told(*batches), "end")
    assert [seen.batch for seen in ends] == ["early", "late", "plain"]
    assert ends[0].value < 3.0 < kept[0].value


def test_a_lot_is_followed_into_every_batch():
    batches = [poured("A", "stays", VANILLA), poured("B", "stays")]
    assert [(use.batch, use.material) for use in where_did_it_go(batches, "v-1")] == [("A", "vanilla scent")]
    assert [(use.batch, use.material, use.grams) for use in where_did_it_go(batches, "C1")] == [
        ("A", "coconut", 300),
        ("B", "coconut", 300),
    ]


def doses(recipe, portions):
    return {(where, item.material): item.dose_pct for where, item in ingredients(recipe, portions)}


def test_a_dose_in_a_portion_is_part_of_the_batter_that_it_got():
    """Arithmetic: RECIPE with 10 g of salt makes 1453.6 g of batter; of 290.72 g, a fifth, 4 g are 1.376 %."""
    recipe = replace(RECIPE, additives=(Additive("clove", "fragrance", 4.0, "top"), Additive("salt", "other", 10.0)))
    weighed = replace(recipe, batter=(Batter("top", 0.2 * recipe.batter_g),))
    assert doses(weighed, ["base", "top"]) == pytest.approx(
        {("top", "clove"): 100 * 4 / 290.72, ("", "salt"): 100 * 10 / 1453.6}
    )
    assert all(item.weighed for _, item in ingredients(weighed, ["base", "top"]))
    unweighed = doses(recipe, ["base", "top"])  # taken as two halves
    assert unweighed["top", "clove"] == pytest.approx(100 * 4 / 726.8)
    assert [item.weighed for where, item in ingredients(recipe, ["base", "top"])] == [False, True]
    all_in_it = replace(recipe, batter=(Batter("base", recipe.batter_g),))
    assert doses(all_in_it, ["base", "top"])["top", "clove"] is None


def test_a_control_that_was_poured_aside_takes_no_share_unless_it_was_weighed():
    clove = Additive("clove", "fragrance", 10.0, "cream")
    plain = (0, Portion("plain", 1, INTENDED, "swatch", control=True))
    (cream, _) = told(poured("A", "stays", clove, extra=(plain,)))
    assert cream.ingredients[0].dose_pct == pytest.approx(100 * 10 / 1443.6)
