"""What cannot be is refused; what is unlikely is asked about."""

from dataclasses import replace
from datetime import datetime, timedelta, timezone

import pytest

from curejournal.batch.kinds import KINDS
from curejournal.batch.plausibility import Doubt
from curejournal.batch.records import (
    AlkaliTest,
    BarsOut,
    Decision,
    Event,
    Portion,
    ScalarReading,
    SurfaceNote,
    Weighing,
    Withdrawn,
)
from curejournal.batch.validation import ImpossibleRecord, check_record
from curejournal.soap.recipe import Embed, Oil, Recipe
from tests.judging.batches import (
    BASICS,
    GOOD_METER,
    GOOD_TITRATION,
    INTENDED,
    READY,
    RECIPE,
    batch,
    day,
    reading,
    weighed,
)

BATCH = batch(*BASICS)


def _codes(records, record, at):
    return [doubt.code for doubt in check_record(batch(*records), record, day(at), day(400))]


@pytest.mark.parametrize("item", READY, ids=lambda item: type(item[1]).__name__)
def test_a_sound_record_raises_no_doubt(item):
    others = [other for other in READY if other is not item and other[0] < item[0]]
    if isinstance(item[1], Event) or item[0] == 0:
        others = []
    assert check_record(batch(*BASICS[:2], *others), item[1], day(item[0]), day(100)) == ()


@pytest.mark.parametrize(
    "record",
    [
        Weighing("bar 1", 0.0),
        Weighing("bar 1", -5.0),
        Weighing("bar 1", float("nan")),
        Weighing("bar 1", float("inf")),
        Weighing("bar 1", 120_000.0),
        Weighing("bar 1", 100.0, resolution_g=0.0),
        Weighing("bar 1", 100.0, bars=0),
        Weighing("bar 1", 100.0, tare_g=-1.0),
        Weighing("  ", 100.0),
        AlkaliTest("meter", ph=15.0, strength_pct=1.0),
        AlkaliTest("strip", ph=-1.0, strength_pct=1.0),
        AlkaliTest("strip"),
        AlkaliTest("titration", soap_g=5.0),
        AlkaliTest("titration", soap_g=5.0, acid_ml=(-0.1,), acid_mol_l=0.1),
        AlkaliTest("meter", ph=10.0, strength_pct=0.0),
        reading((50.0, float("nan"), 0.0)),
        reading((180.0, 0.0, 0.0)),
        reading(INTENDED, portion=""),
        reading(INTENDED, grade="splendid"),
        Portion(""),
        Portion("top", tolerance=-1.0),
        Portion("top", target_lab=(140.0, 0.0, 0.0)),
        Event("cut", bars=-3),
        Event("gel", temperature_c=900.0),
        SurfaceNote("ash", area_pct=130.0),
        SurfaceNote("orange spots", count=-1),
        ScalarReading("room humidity", 130.0),
        ScalarReading("room humidity", float("nan")),
        ScalarReading("moon", 1.0),
        Decision("release", "", "ready", "1", "{}"),
        Decision("hold", "A. Tester", " ", "1", "{}"),
        replace(RECIPE, embeds=(Embed("B-1", -5.0),)),
        replace(RECIPE, embeds=(Embed("", 50.0),)),
        replace(RECIPE, embeds=(Embed("B-1", 50.0, water_high_fraction=0.6),)),
        Withdrawn(" "),
        replace(RECIPE, oils=(Oil("olive", -500),)),
    ],
    ids=repr,
)
def test_what_cannot_be_is_refused_with_what_to_do(record):
    with pytest.raises(ImpossibleRecord) as refusal:
        check_record(BATCH, record, day(20), day(30))
    assert refusal.value.what and refusal.value.do
    assert refusal.value.safe == "Nothing in the journal was changed."


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_every_kind_keeps_to_its_range(kind):
    assert check_record(BATCH, ScalarReading(kind.name, kind.high), day(2)) == ()
    for value in (kind.low - 1, kind.high + 1):
        with pytest.raises(ImpossibleRecord):
            check_record(BATCH, ScalarReading(kind.name, value), day(2))


@pytest.mark.parametrize(
    "record",
    [reading(INTENDED), Weighing("bar 1", 100.0), GOOD_METER, GOOD_TITRATION, Event("cut"), SurfaceNote("clear")],
    ids=lambda record: type(record).__name__,
)
def test_nothing_is_measured_before_the_pour(record):
    with pytest.raises(ImpossibleRecord, match="before the batch was poured"):
        check_record(BATCH, record, day(-1))


def test_nothing_happens_in_the_future():
    with pytest.raises(ImpossibleRecord, match="has not come yet"):
        check_record(BATCH, Weighing("bar 1", 100.0), day(20), now=day(19))


def test_a_time_needs_its_offset():
    with pytest.raises(ImpossibleRecord, match="offset"):
        check_record(BATCH, Weighing("bar 1", 100.0), datetime(2026, 9, 20))


def test_a_pour_after_the_first_weighing_cannot_be():
    with pytest.raises(ImpossibleRecord):
        check_record(batch(*weighed((1, 7))), Event("poured"), day(5))


@pytest.mark.parametrize(
    ("grams", "code"),
    [
        (1120.0, "slipped decimal"),
        (11.2, "slipped decimal"),
        (118.0, "gain"),
        (88.0, "more than water"),
        (112.0, None),
    ],
)
def test_an_unlikely_weight_is_questioned(grams, code):
    assert _codes((*BASICS, *weighed((1, 7))), Weighing("bar 1", grams, 0.1), 14) == ([code] if code else [])


def test_two_bars_swapped_are_noticed():
    records = (*BASICS, *weighed((1, 7)), *weighed((1, 7), m0=100, subject="bar 2"))
    assert _codes(records, Weighing("bar 2", 110.5, 0.1), 10) == ["swapped"]
    assert _codes(records, Weighing("bar 1", 92.5, 0.1), 10) == ["swapped"]


def test_a_doubted_weight_is_kept_once_confirmed():
    doubted = Weighing("bar 1", 118.0, 0.1)
    records = (*BASICS, *weighed((1, 7)))
    (doubt,) = check_record(batch(*records), doubted, day(14))
    assert isinstance(doubt, Doubt) and doubt.text and doubt.do
    assert check_record(batch(*records), replace(doubted, confirmed=True), day(14)) == ()


def test_fewer_bars_on_the_tray_are_not_taken_for_a_slipped_decimal():
    tray = tuple((d, replace(w, bars=10)) for d, w in weighed((1, 7), m0=1200))
    assert _codes((*BASICS, *tray), Weighing("bar 1", 112.0, 0.1, bars=1), 10) == []


@pytest.mark.parametrize(
    ("now", "codes"),
    # One of ten and three of ten sold; seven left, as entered; and a tray that only dries.
    [((905.0, 10), ["bars missing"]), ((703.0, 10), ["bars missing"]), ((703.0, 7), []), ((980.0, 10), [])],
)
def test_bars_that_left_the_tray_unsaid_are_asked_about(now, codes):
    # At first 1020 g for ten bars: water cannot be lost so fast, but bars can.
    tray = Weighing("tray", 1020.0, 1.0, bars=10)
    assert _codes((*BASICS, (7, tray)), Weighing("tray", now[0], 1.0, bars=now[1]), 14) == codes


def test_more_bars_on_the_scale_than_were_cut_are_asked_about():
    assert _codes(BASICS, Weighing("rack", 2600.0, 1.0, bars=25), 3) == ["more than were cut"]


HELD = Decision("hold", "A. Tester", "orange spots", "1", "{}")
RELEASED = (*BASICS, (40, Decision("release", "A. Tester", "ready", "1", "{}")))


@pytest.mark.parametrize(
    ("records", "out", "days", "code"),
    [
        (RELEASED, BarsOut(6, "the Saturday market", "sold"), 41, None),
        (RELEASED, BarsOut(6, "the Saturday market", "sold"), 39, "not released"),
        (BASICS, BarsOut(1, "a friend", "given"), 41, "not released"),
        (BASICS, BarsOut(2, "a laboratory", "sample"), 20, None),
        (BASICS, BarsOut(2, "", "retained"), 20, None),
        (BASICS, BarsOut(1, "", "scrapped"), 3, None),
        ((*RELEASED, (41, HELD)), BarsOut(1, "x", "sold"), 42, "not released"),
        (BASICS[:3], BarsOut(1, "", "retained"), 20, "not cut"),
    ],
)
def test_bars_sold_or_given_before_a_release_are_asked_about(records, out, days, code):
    assert _codes(records, out, days) == ([code] if code else [])


@pytest.mark.parametrize(
    ("out", "days", "says"),
    [
        (BarsOut(0, "x", "sold"), 41, "cannot leave"),
        (BarsOut(-2, "x", "sold"), 41, "cannot leave"),
        (BarsOut(25, "x", "sold"), 41, "24 bars cut"),
        (BarsOut(5, "x", "sold"), 42, "20 gone"),
        (BarsOut(1, " ", "sold"), 41, "empty"),
        (BarsOut(1, "x", "sample"), 0.5, "before the bars were cut"),
    ],
)
def test_bars_that_are_not_there_cannot_leave(out, days, says):
    with pytest.raises(ImpossibleRecord, match=says):
        check_record(batch(*RELEASED, *([(41.5, BarsOut(20, "a shop", "sold"))] if days == 42 else [])), out, day(days))


def test_a_cut_corrected_to_fewer_bars_than_have_left_is_asked_about():
    without_cut = [item for item in RELEASED if not (isinstance(item[1], Event) and item[1].kind == "cut")]
    assert _codes((*without_cut, (41, BarsOut(20, "a shop", "sold"))), Event("cut", bars=12), 1) == [
        "fewer than have left"
    ]


def test_a_batch_is_not_embedded_in_itself():
    with pytest.raises(ImpossibleRecord, match="itself"):
        check_record(BATCH, replace(RECIPE, embeds=(Embed(" t-1", 50.0),)), day(0))


@pytest.mark.parametrize(
    ("record", "code"),
    [
        (AlkaliTest("strip", ph=7.0, strength_pct=1.0), "low pH"),
        (AlkaliTest("meter", ph=10.0), "no strength"),
        (AlkaliTest("titration", soap_g=5.0, acid_ml=(0.1,), acid_mol_l=0.1, blank_ml=0.3), "below blank"),
        (AlkaliTest("titration", soap_g=0.5, acid_ml=(25.0,), acid_mol_l=0.1), "very high"),
        (Event("poured"), "poured twice"),
        (Event("cut", bars=8), "cut twice"),
        (Portion("top", tolerance=15.0), "wide tolerance"),
        (reading(INTENDED, portion="tpo"), "unknown portion"),
        (replace(RECIPE, alkalis=(replace(RECIPE.alkalis[0], grams=170.0),)), "below zero"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_is_unlikely_is_asked_about(record, code):
    assert code in _codes(BASICS, record, 20)


def test_two_moments_of_different_zones_are_told_by_one_clock():
    """The pour was at 10:00 UTC: by the clock of the other zone at 19:00."""
    tokyo = timezone(timedelta(hours=9))
    before = r"1 Sep 2026, 17:30 is before the batch was poured \(1 Sep 2026, 19:00\)"
    with pytest.raises(ImpossibleRecord, match=before):
        check_record(batch(*BASICS), Weighing("bar 1", 100.0), datetime(2026, 9, 1, 17, 30, tzinfo=tokyo))


def test_a_recipe_with_a_fat_of_which_nothing_is_known_is_kept_and_asked_about():
    """It was refused with the whole batch."""
    (doubt, *_) = check_record(BATCH, replace(RECIPE, oils=(*RECIPE.oils, Oil("unheard of", 50))), day(20), day(30))
    assert doubt.code == "unknown oil" and "unheard of" in doubt.text


def test_a_rebatch_without_oils_is_a_recipe():
    melted = Recipe((), (), embeds=(Embed("B-9", 900.0, melted=True),))
    assert check_record(BATCH, melted, day(20), day(30)) == ()
    with pytest.raises(ImpossibleRecord):
        check_record(BATCH, replace(melted, embeds=()), day(20), day(30))
