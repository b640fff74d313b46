"""What a verdict may rest on: each case here passed, or held, wrongly before all evidence was joined."""

from dataclasses import replace

import numpy as np
import pytest

from curejournal.batch.plausibility import find_doubts
from curejournal.batch.records import (
    AlkaliTest,
    BarsOut,
    ColourAccepted,
    ColourReading,
    Decision,
    Event,
    PacketCheck,
    Portion,
    SurfaceNote,
    Weighing,
    WeighingCheck,
)
from curejournal.batch.validation import ImpossibleRecord, check_record
from curejournal.judging.checks import CHECKS
from curejournal.judging.colour_states import State
from curejournal.judging.findings import Verdict
from curejournal.judging.judgement import judge
from curejournal.soap.alkali import titrate
from curejournal.soap.recipe import Additive, Recipe
from tests.judging.batches import (
    BASICS,
    GOOD_METER,
    GOOD_TITRATION,
    HIGH_METER,
    INTENDED,
    READY,
    RECIPE,
    batch,
    day,
    reading,
    seen,
    weighed,
    without,
)

TWICE = WeighingCheck("lye and oils", "weighed twice")
TRIED = PacketCheck("P", strip_ph=9.0, reference_ph=10.2, half_width=0.25)


def strip(bar, ph=9.0, packet="P", half_width=0.25):
    return AlkaliTest("strip", ph=ph, half_width=half_width, strength_pct=1.0, temperature_c=22, bar=bar, packet=packet)


STRIPS = ((24, strip("bar 1")), (24, strip("bar 2")), (31, strip("bar 3")))
BY_STRIPS = (*without(READY, AlkaliTest), (0, TWICE), (2, TRIED), *STRIPS)


def _judge(records, on=45, **kwargs):
    return judge(batch(*records), day(on), **kwargs)


def _check(found, name):
    return next(finding for finding in found.findings if finding.check == name)


# --- strips


def test_a_maker_with_strips_alone_can_reach_ready_and_the_verdict_says_not_titrated():
    found = _judge(BY_STRIPS)
    assert (found.verdict, found.headline) == ("ready", "ready, by recipe and strips; not titrated")
    assert found.why == "all checks passed; by recipe and strips; not titrated"
    assert any("do not prove safety" in caution for caution in found.cautions)


WITHOUT = {
    "the second weighing": (without(BY_STRIPS, WeighingCheck), "weighed twice"),
    "the packet tried": (without(BY_STRIPS, PacketCheck), "beside a calibrated meter"),
    "a third bar": (tuple(item for item in BY_STRIPS if item not in STRIPS[2:]), "1 more bar"),
    "late strips": ((*without(BY_STRIPS, AlkaliTest), *((18, test) for _, test in STRIPS)), "from day 21 on"),
    "low strips": ((*without(BY_STRIPS, AlkaliTest), *((d, replace(t, ph=10.0)) for d, t in STRIPS)), "pH below 11"),
    "a margin": (
        (*without(BY_STRIPS, Recipe), (0, replace(RECIPE, alkalis=(replace(RECIPE.alkalis[0], grams=152.0),)))),
        "",
    ),
    "a quiet pour": ((*BY_STRIPS, (0.01, Event("seizing"))), "seizing was noted"),
    "no earlier hold": ((*BY_STRIPS, (3, replace(strip("bar 4"), ph=12.5))), "earlier test was high"),
    "cut faces": ((*without(BY_STRIPS, SurfaceNote), (40, SurfaceNote("clear", outside_only=True))), "cut faces"),
}


@pytest.mark.parametrize("missing", WITHOUT)
def test_strips_pass_only_with_all_that_their_rule_asks_and_what_is_missing_is_named(missing):
    records, words = WITHOUT[missing]
    found = _judge(records)
    assert found.verdict != "ready"
    assert words in _check(found, "alkali").words or _check(found, "alkali").verdict is Verdict.HOLD


def test_what_strips_still_need_is_said_in_one_short_sentence():
    found = _judge(WITHOUT["the packet tried"][0])
    missing = "packet P tried once in soap beside a calibrated meter"
    words = f"strip of 2 October: pH 8.6 to 9.2 at 1%; still missing before strips can pass: {missing}"
    assert _check(found, "alkali").words == words
    assert found.next_step == f"Titrate, or see to what is missing (now): {words}."


def test_strips_of_a_batch_with_a_parent_that_was_held_for_alkali_do_not_pass():
    assert _judge(BY_STRIPS, parent_held="B-7").verdict == "not yet"


def test_a_packet_tried_in_another_batch_counts():
    assert _judge(without(BY_STRIPS, PacketCheck), packets=[TRIED]).verdict == "ready"


def test_the_batters_weight_may_stand_in_for_the_second_weighing():
    recipe_g = RECIPE.batter_g
    once = without(BY_STRIPS, WeighingCheck)
    fits = WeighingCheck("lye and oils", "batter weighed", batter_g=recipe_g - 8)
    off = replace(fits, batter_g=recipe_g + 30)
    assert "weighed twice" not in _check(_judge([*once, (0, fits)]), "alkali").words
    assert "weighed twice" in _check(_judge([*once, (0, off)]), "alkali").words


def test_a_batter_that_weighs_something_else_is_asked_about_and_guards_against_nothing():
    """It lowered the chance of a blunder by two thirds, whatever it weighed."""
    light = WeighingCheck("lye and oils", "batter weighed", batter_g=RECIPE.batter_g - 60)
    (doubt,) = find_doubts(batch(*BASICS), light, day(0))
    assert doubt.text.replace("\xa0", " ") == "The batter weighs 1383.6 g, the materials of the recipe 1443.6 g."
    by_recipe = [_judge([*BASICS, *more]).alkali.left.by_recipe for more in ((), [(0, light)])]
    assert by_recipe[0] == by_recipe[1]
    fits = replace(light, batter_g=RECIPE.batter_g - 5)
    assert find_doubts(batch(*BASICS), fits, day(0)) == ()
    assert _judge([*BASICS, (0, fits)]).alkali.left.by_recipe < by_recipe[0]


def test_photos_of_two_scales_are_no_second_weighing():
    photos = [(0, WeighingCheck(what, "photo of the scale")) for what in ("lye", "oils")]
    twice = [(0, WeighingCheck(what, "weighed twice")) for what in ("lye", "oils")]
    of_photos, of_twice = (_judge([*BASICS, *checks]).alkali.left.by_recipe for checks in (photos, twice))
    assert of_twice < of_photos < _judge(BASICS).alkali.left.by_recipe


# --- meters and titrations


@pytest.mark.parametrize("ph", [10.2, 10.4, 10.45])
def test_no_fixed_ph_lets_pass_or_wait(ph):
    """10.4 passed and 10.45 waited for ever, though sound soap is published up to 10.6 and beyond."""
    records = [*without(READY, AlkaliTest), (0, TWICE), (40, replace(GOOD_METER, ph=ph, temperature_c=25.0))]
    assert _judge(records).headline == "ready, by recipe and meter; not titrated"


def test_a_meter_passes_only_on_a_recipe_that_carries_it():
    meter = (40, replace(GOOD_METER, temperature_c=25.0))
    assert _check(
        _judge(
            [
                *without(
                    READY,
                    AlkaliTest,
                ),
                meter,
            ]
        ),
        "alkali",
    ).verdict in (Verdict.PASS, Verdict.UNKNOWN)
    bare = [*without(without(READY, AlkaliTest), Recipe), meter]
    assert _check(_judge(bare), "alkali").verdict is Verdict.UNKNOWN


def test_a_reading_wholly_above_a_limit_holds_however_coarse():
    coarse = AlkaliTest("strip", ph=13.0, half_width=1.5, strength_pct=1.0)
    assert _check(_judge([*READY, (43, coarse)]), "alkali").verdict is Verdict.HOLD


@pytest.mark.parametrize("method", ["strip", "meter", "titration"])
def test_no_reading_is_free_of_doubt(method):
    record = replace(GOOD_TITRATION if method == "titration" else GOOD_METER, method=method, half_width=0.0)
    with pytest.raises(ImpossibleRecord, match="half-width"):
        check_record(batch(*BASICS), record, day(30))


def test_the_temperature_of_a_ph_is_used_or_asked_for():
    cold = AlkaliTest("meter", ph=11.15, half_width=0.1, strength_pct=1.0, temperature_c=15.0)
    assert "pH 10.75 to 10.95" in _judge([*BASICS, (30, cold)]).alkali.tests[0].words
    assert "temperature was not noted" in _judge([*BASICS, (30, GOOD_METER)]).alkali.tests[0].words


@pytest.mark.parametrize("acid_ml", [(0.52,), (0.50, 0.54), (0.51, 0.52, 0.53)])
def test_replicates_of_what_passes_alone_pass_too(acid_ml):
    test = AlkaliTest("titration", soap_g=5.0, acid_ml=acid_ml, acid_mol_l=0.1)
    found = _judge([*without(READY, AlkaliTest), (40, test)])
    assert _check(found, "alkali").verdict is Verdict.PASS, found.headline


def test_more_replicates_never_tell_less():
    widths = [
        np.ptp(titrate(5.0, acid_ml, 0.1).interval_pct) for acid_ml in ((0.52,), (0.50, 0.54), (0.50, 0.52, 0.54))
    ]
    assert widths == sorted(widths, reverse=True)


def test_alkali_free_soap_is_not_held_by_its_replicates():
    """Two replicates of alkali-free soap were held in 44% of cases."""
    rng = np.random.default_rng(3)
    for _ in range(40):
        reads = tuple(float(round(max(0.0, 0.05 + rng.uniform(-0.05, 0.05)), 2)) for _ in range(2))
        test = AlkaliTest("titration", soap_g=5.0, acid_ml=reads, acid_mol_l=0.1, blank_ml=0.05)
        assert _check(_judge([*BASICS, (30, test)]), "alkali").verdict is Verdict.PASS


def test_a_coarse_titration_after_a_release_asks_nobody_back():
    coarse = AlkaliTest("titration", soap_g=1.0, acid_ml=(0.1,), acid_mol_l=0.1)
    found = _judge([*READY, (45, Decision("release", "A. Tester", "ready", "1", "{}")), (50, coarse)], on=60)
    assert found.recall == ()


def test_a_test_on_day_five_and_nobody_who_looked_make_nothing_ready():
    """One meter test on day 5, two weights: this was ready on day 29."""
    early = [*without(without(READY, AlkaliTest), SurfaceNote), (0, TWICE), (5, GOOD_METER)]
    found = _judge(early)
    assert found.verdict == "not yet"
    assert "too early to tell" in _check(found, "alkali").words
    assert "a surface check of cut faces" in found.headline


# --- pockets


POCKET = [*READY, (41, SurfaceNote("lye pocket", count=2))]


def _titrated(bar):
    return (43, replace(GOOD_TITRATION, bar=bar))


def test_a_lye_pocket_is_not_lifted_by_clear_the_next_day():
    found = _judge([*POCKET, (42, SurfaceNote("clear"))])
    assert (found.verdict, found.hold_for) == ("hold", "safety")
    assert "good titrations of 3 more bars and 2 affected bars to set aside" in found.headline


def test_a_lye_pocket_is_lifted_by_titrated_bars_and_the_affected_ones_set_aside_and_stays_in_the_verdict():
    titrated = [_titrated("bar 5"), _titrated("bar 9"), _titrated("bar 14")]
    assert _judge([*POCKET, *titrated]).verdict == "hold"
    assert _judge([*POCKET, *titrated[:2], (43, BarsOut(2, "", "scrapped"))]).verdict == "hold"
    found = _judge([*POCKET, *titrated, (43, SurfaceNote("clear", set_aside=2))])
    assert found.verdict == "ready" and "a lye pocket was seen on" in found.headline


# --- drying


SERIES = (2, 120), (9, 113), (16, 110.5), (23, 109.6), (30, 109.3), (40, 109.2), (47, 107.7), (54, 106.3), (61, 104.9)


def _weights(series):
    return tuple((d, Weighing("bar 1", g, 0.1)) for d, g in series)


def test_weights_that_fall_at_the_end_are_not_steady_whatever_the_curve_says():
    """The last weeks lose 1.3% each, and were called steady (0.2 to 0.2)."""
    found = _judge([*without(READY, Weighing), *_weights(SERIES)], on=62)
    assert _check(found, "drying").verdict is Verdict.PENDING
    assert found.drying.words.startswith("lost 1.3% a week by the last weighings")
    assert _check(_judge([*without(READY, Weighing), *_weights(SERIES[:6])], on=41), "drying").verdict is Verdict.PASS


def test_a_gain_is_called_a_gain():
    """1.2% a week gained was called “losing -0.2%”."""
    gaining = (*SERIES[:6], (47, 110.5), (54, 111.8), (61, 113.2))
    found = _judge([*without(READY, Weighing), *_weights(gaining)], on=62).drying
    assert found.words.startswith("gained 1.2% a week") and "losing" not in found.words


def test_no_curve_ends_above_what_the_bar_weighed_at_first():
    wet = ((2, 100.0), (5, 99.9), (9, 100.1), (12, 100.3))
    assert _judge([*BASICS, *_weights(wet)], on=13).drying.final_loss_pct.low >= -0.2


def test_readings_and_checks_give_one_date():
    found = _judge([*BASICS, *weighed((1, 3, 7, 14))], on=15)
    assert _check(found, "drying").until == found.drying.shown_at


# --- colour


SCENTED = replace(RECIPE, additives=(Additive("amber", "fragrance", 30.0, "cream", "A1"),))


def test_where_a_fragrance_may_brown_late_the_words_say_so_and_a_photo_is_asked_for():
    scented = [*without(READY, Recipe), (0, SCENTED)]
    found = _judge(scented)
    assert found.verdict == "ready" and found.journeys["cream"].state is State.RECOVERED
    assert "later browning cannot be excluded" in _check(found, "colour").words
    assert any(task.what == "photograph" for task in found.due)
    assert "browning" not in _check(_judge(READY), "colour").words


def test_stable_says_on_how_few_readings_it_rests():
    few = _judge([*BASICS, *seen("stays", (20, 25, 27))], on=28).journeys["cream"]
    assert few.state is State.STABLE and few.words.endswith("on 3 readings over 7 days")
    many = _judge([*BASICS, *seen("stays", (3, 10, 17, 25))], on=28).journeys["cream"]
    assert many.words == "stable"


def test_cards_of_unknown_colours_are_not_mixed_unsaid():
    rows = [
        (d, replace(r, grade="relative", card=f"W-{i % 2}"), p)
        for i, (d, r, p) in enumerate(seen("stays", (3, 10, 17, 25, 32)))
    ]
    found = _judge([*BASICS, *rows], on=33)
    assert "cards of unknown colours: W-0, W-1" in _check(found, "colour").words
    alone = [(d, replace(r, card="W-0"), p) for d, r, p in rows]
    assert "cards of unknown" not in _check(_judge([*BASICS, *alone], on=33), "colour").words


def test_approximate_readings_are_named_in_the_verdict_that_rests_on_them():
    rows = [(d, replace(r, grade="indicative"), p) for d, r, p in seen("stays", (3, 10, 17, 25))]
    assert "4 approximate readings among them" in _check(_judge([*BASICS, *rows], on=33), "colour").words


def test_one_wrong_late_bar_is_questioned():
    wrong = [*READY, (44, reading((70.0, 9.0, 25.0)), "another bar")]
    found = _check(_judge(wrong), "colour")
    assert (
        "the last photo does not fit those before" in found.words and "Was the last photo of this bar?" in found.advice
    )


OFF = [*without(READY, ColourReading), *seen("settles off", (0.2, 1, 3, 7, 14, 21, 28, 35, 42))]


def test_a_colour_accepted_as_it_is_passes_and_neither_target_nor_history_change():
    before = _judge(OFF)
    accepted = ColourAccepted("cream", "it sells as caramel", before.journeys["cream"].lab_now)
    found = _judge([*OFF, (44, accepted)])
    assert found.verdict == "ready" and "accepted as it is: it sells as caramel" in _check(found, "colour").words
    series = found.journeys["cream"]
    assert (series.state, series.target_lab) == (State.STABLE_OFF, INTENDED)
    assert series.difference_now == before.journeys["cream"].difference_now, "what the material did is not cleared"


def test_an_acceptance_is_of_one_colour_and_lapses_when_that_moves_on():
    accepted = ColourAccepted("cream", "it sells", (95.0, 0.0, 5.0))
    assert _judge([*OFF, (44, accepted)]).hold_for == "colour"


def test_a_colour_hold_is_another_word_than_a_lye_hold():
    colour, lye = _judge(OFF), _judge([*READY, (43, HIGH_METER)])
    assert (colour.word, colour.hold_for) == ("decide", "colour") and colour.headline.startswith("decide: colour")
    assert (lye.word, lye.hold_for) == ("on hold", "safety")


def test_a_colour_to_decide_hides_nothing_that_is_missing():
    found = _judge(without(tuple(OFF), AlkaliTest))
    assert found.verdict == found.word == "not yet"
    assert "which is yours to decide" in found.headline and "still needed: an alkali test" in found.headline


# --- words that agree


def test_all_checks_passed_stands_only_over_checks_that_all_passed():
    lots = replace(RECIPE, oils=(replace(RECIPE.oils[0], lot=""), *RECIPE.oils[1:]))
    found = _judge([*without(READY, Recipe), (0, lots)])
    assert found.verdict == "ready"
    assert found.why == "all needed checks passed; not known: record complete"
    assert _check(found, "record complete").words == "not complete; no lot for olive"


def test_a_portion_without_readings_is_named():
    assert "no reading of rim" in _check(_judge([*READY, (0, Portion("rim", order=1))]), "colour").words


def test_nothing_is_forecast_from_too_few_readings():
    found = _check(_judge([*BASICS, *seen("comes back", (0.3, 1))], on=2), "colour")
    assert found.until is None


RELEASE = Decision("release", "A. Tester", "ready", "1", "{}")


def test_after_a_release_bad_readings_raise_one_question_that_a_signature_answers():
    bad = [*READY, (45, RELEASE), (50, HIGH_METER), (52, SurfaceNote("orange spots"))]
    found = _judge(bad, on=60)
    assert len(found.recall) == 1
    assert "meter of" in found.recall[0] and "orange spots" in found.recall[0]
    kept = _judge([*bad, (55, replace(RELEASE, act="keep on sale"))], on=60)
    assert kept.recall == () and kept.released_at == day(45)


def test_every_check_says_what_it_is():
    shown = ["alkali", "lye margin", "surface", "age", "drying", "colour", "record complete"]
    assert [check.name for check in CHECKS if check.name in shown] == shown, "those of safety come first"
    assert all(check.glossary and check.source for check in CHECKS)


def test_a_colour_is_photographed_anew_before_a_release_that_comes_late():
    """What browned unseen was called ready, and no photo could have told."""
    late = _judge(READY, on=60)
    assert late.verdict == "not yet" and "last photographed 18 days ago" in _check(late, "colour").words
    assert [(task.what, task.portion) for task in late.due] == [("photograph", "cream")]
    again = _judge([*READY, *seen("comes back", (58,), seed=4)], on=60)
    assert again.verdict == "ready"
    # What was released is not called back for want of photos.
    released = _judge([*READY, (45, Decision("release", "Ann", "fine", "4-x", ""))], on=120)
    assert (released.verdict, released.word) == ("ready", "released")
