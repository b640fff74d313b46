"""The colour that a portion should have, picked from what was measured; what speaks against it is asked."""

from dataclasses import replace

import numpy as np
import pytest

from curejournal.batch.records import ColourReading, Event, Portion
from curejournal.judging.limits import Limits
from curejournal.judging.sessions import OTHER_INSTRUMENT_SD, SETTING_SD
from curejournal.judging.target import (
    NoColourToPick,
    from_batter,
    from_control,
    from_earlier_batch,
    from_swatch,
    target_sd,
)
from tests.judging.batches import BASICS, INTENDED, POURED, batch, day, reading, seen

THIS = batch(*BASICS)
EARLIER = replace(batch(*BASICS, *seen("stays", (1, 7, 21, 42))), code="B-07")
RULES = Limits()


def codes(picked):
    return [doubt.code for doubt in picked.doubts]


def test_a_cured_earlier_batch_gives_its_colour_by_all_good_readings_and_how_far_off_that_may_be():
    vague = reading((20.0, 0.0, 0.0), grade="indicative")
    later = replace(EARLIER, entries=(*EARLIER.entries, *batch((50, vague)).entries))
    picked = from_earlier_batch(THIS, later, "cream", RULES)
    assert picked.doubts == ()
    # The truth of these readings is INTENDED; together they tell it better than the least doubt of a single one.
    assert np.abs(np.subtract(picked.lab, INTENDED)).max() < 2.5 * picked.sd
    assert 0.2 < picked.sd < SETTING_SD
    assert picked.card == "window"
    assert picked.words == f"B-07 cream, read {day(42):%-d %b %Y} with card window"


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
    with pytest.raises(NoColourToPick, match="is not a control portion"):
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


CARDS = batch(*BASICS, (1, reading(INTENDED)), (9, reading(INTENDED)))


@pytest.mark.parametrize(
    ("source", "card", "own_sd", "allowed"),
    [
        (None, "", 0.0, 0.0),
        ("control portion", "window", 0.9, 0.0),
        ("cured earlier batch", "window", 0.4, 0.4),
        ("batter before fragrance", "window", 0.9, 0.9),
        # Another card, another instrument, another material: what readings of one card share comes in, for each card.
        ("cured earlier batch", "W-02", 0.4, (0.4**2 + 2 * OTHER_INSTRUMENT_SD**2) ** 0.5),
        ("swatch", "", 0.0, OTHER_INSTRUMENT_SD),
        ("swatch", "window", 0.0, 2**0.5 * OTHER_INSTRUMENT_SD),
        # Kept before the card of a target colour was.
        ("cured earlier batch", "", 0.0, 0.0),
    ],
)
def test_what_readings_share_against_their_aim_depends_on_what_that_was_read_with(source, card, own_sd, allowed):
    aimed = Portion("cream", 0, INTENDED, source, target_card=card, target_sd=own_sd)
    assert target_sd(aimed, CARDS.of(ColourReading)) == pytest.approx(allowed)


def test_a_typed_colour_is_asked_about_where_readings_are_relative_to_a_card():
    relative = batch(*BASICS, (42, reading(INTENDED, grade="relative")))
    assert codes(from_swatch(relative, INTENDED, "as typed")) == ["relative card"]
    assert codes(from_swatch(relative, INTENDED, "photographed", "window")) == []
    assert codes(from_swatch(THIS, INTENDED, "as typed")) == []
