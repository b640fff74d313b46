"""The colour that a portion should have, picked from what was measured; what speaks against it is asked."""

from dataclasses import replace

import numpy as np
import pytest

from curejournal.cure.house import HouseRules
from curejournal.cure.intended import NoColourToPick, from_batter, from_control, from_earlier_batch
from curejournal.cure.records import Event, Portion
from tests.cure.batches import BASICS, INTENDED, POURED, batch, day, reading, seen

THIS = batch(*BASICS)
EARLIER = replace(batch(*BASICS, *seen("stays", (1, 7, 21, 42))), code="B-07")
RULES = HouseRules()


def codes(picked):
    return [doubt.code for doubt in picked.doubts]


def test_a_cured_earlier_batch_gives_its_latest_good_reading():
    vague = reading((20.0, 0.0, 0.0), grade="indicative")
    later = replace(EARLIER, entries=(*EARLIER.entries, *batch((50, vague)).entries))
    picked = from_earlier_batch(THIS, later, "cream", RULES)
    assert picked.doubts == ()
    assert picked.lab == pytest.approx(EARLIER.entries[-1].record.lab)
    assert picked.words == f"B-07 cream, read {day(42):%Y-%m-%d} with card window"


@pytest.mark.parametrize(
    ("earlier", "doubt"),
    [
        (batch(*BASICS, *seen("stays", (1, 7, 14))), "not cured"),
        (batch(*BASICS[:2], *seen("stays", (1, 7, 42))), "not cured"),
        (batch(*BASICS, *seen("browns", (1, 7, 14, 21, 30))), "changing"),
    ],
    ids=["young", "of unknown age", "browning"],
)
def test_an_earlier_batch_that_is_young_or_still_changing_is_asked_about(earlier, doubt):
    assert doubt in codes(from_earlier_batch(THIS, earlier, "cream", RULES))


def test_colours_relative_to_two_cards_are_not_compared_unasked():
    relative = batch(*BASICS, (42, reading(INTENDED, grade="relative")))
    other = batch(*BASICS, (1, replace(reading(INTENDED, grade="relative"), card="W-02")))
    assert codes(from_earlier_batch(other, relative, "cream", RULES)) == ["another card"]
    assert codes(from_earlier_batch(THIS, relative, "cream", RULES)) == []
    measured = batch(*BASICS, (42, reading(INTENDED)))
    assert codes(from_earlier_batch(other, measured, "cream", RULES)) == []


def test_a_control_gives_its_latest_moment():
    base = reading(np.add(INTENDED, (1.0, 0.0, 0.0)), portion="plain")
    with_control = batch(*BASICS, (0, Portion("plain", control=True)), (1, reading(INTENDED, "plain")), (9, base))
    picked = from_control(with_control, "plain")
    assert picked.lab == pytest.approx((89.0, 1.0, 12.0))
    with pytest.raises(NoColourToPick, match="no control"):
        from_control(with_control, "cream")


def test_a_reading_of_the_batter_is_picked_by_its_number():
    before = batch((-0.02, reading(INTENDED)), (0, Event("poured")), (0.5, reading((60.0, 8.0, 30.0))))
    assert from_batter(before, 1).lab == INTENDED
    assert codes(from_batter(before, 1)) == []
    assert codes(from_batter(before, 3)) == ["after the pour"]
    with pytest.raises(NoColourToPick):
        from_batter(before, 2)
    assert codes(from_batter(batch((0, reading(INTENDED, grade="indicative"))), 1)) == ["indicative"]


@pytest.mark.parametrize("grade", ["indicative", "not usable"])
def test_nothing_is_picked_from_readings_that_are_no_good(grade):
    poor = batch(*BASICS, (42, reading(INTENDED, grade=grade)))
    with pytest.raises(NoColourToPick, match="no good reading"):
        from_earlier_batch(THIS, poor, "cream", RULES)
    assert poor.poured_at == POURED
