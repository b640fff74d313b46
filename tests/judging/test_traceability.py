"""Which batch went into which, and whom a recall reaches."""

from dataclasses import replace

import pytest

from curejournal.batch.records import BarsOut, Decision, Event, same_code
from curejournal.judging.judgement import judge
from curejournal.judging.traceability import ancestors, descendants, most_water_left, parents, reached_by, recall
from curejournal.soap.recipe import MOST_WATER, Additive, Embed
from tests.judging.batches import BASICS, RECIPE, batch, day, weighed

RELEASE = Decision("release", "A. Tester", "ready", "1", "{}")


def soap(code, *embedded, records=()):
    """A batch with pieces of others in it."""
    recipe = replace(RECIPE, embeds=tuple(Embed(parent, 50.0) for parent in embedded))
    return replace(batch((0, recipe), (0, Event("poured")), *records), code=code, name=f"Soap {code}")


FAMILY = (
    soap("A"),
    soap("B", "a "),
    soap("C", "B"),
    soap("D", "A", "C"),
    soap("E"),
)


def test_pieces_are_followed_through_every_batch_by_a_shortest_way():
    assert descendants(FAMILY, "A") == (("A", "B"), ("A", "D"), ("A", "B", "C"))
    assert descendants(FAMILY, "c") == (("c", "D"),)
    assert descendants(FAMILY, "E") == ()
    assert [one.code for one in ancestors(FAMILY, "D")] == ["A", "C", "B"]
    assert ancestors(FAMILY, "E") == ()


def test_a_lot_reaches_what_has_pieces_of_a_batch_that_it_went_into():
    others = FAMILY[1:]
    lot = replace(RECIPE, additives=(Additive("scent", "fragrance", 20.0, lot="S-1"),))
    sold = ((0, lot), (1, Event("cut", bars=9)), (40, BarsOut(4, "a shop", "sold")))
    uses = reached_by((soap("A", records=sold), *others), " s-1")
    assert [(use.batch, use.material, use.grams) for use in uses] == [
        ("A", "scent", 20.0),
        ("B", "pieces of batch A", 50.0),
        ("D", "pieces of batch A", 50.0),
        ("C", "pieces of batch B", 50.0),
    ]
    assert [[one.to for one in use.gone] for use in uses] == [["a shop"], [], [], []]
    assert reached_by(FAMILY, "S-2") == ()


def test_codes_that_name_each_other_in_a_circle_come_to_an_end():
    circle = (soap("A", "B"), soap("B", "A"))
    assert descendants(circle, "A") == (("A", "B"),)
    assert [one.code for one in ancestors(circle, "A")] == ["B"]


def test_a_lot_that_is_the_code_of_a_batch_counts_as_its_pieces():
    recipe = replace(RECIPE, additives=(Additive("curls", "other", 50.0, lot="A"),))
    child = replace(batch((0, recipe)), code="X")
    assert parents(recipe) == ("A",)
    assert descendants((soap("A"), child), "A") == (("A", "X"),)
    assert same_code(" a", "A")


def test_a_recall_names_the_batch_its_embeds_children_and_who_has_bars():
    gone = (
        (45, RELEASE),
        (46, BarsOut(6, "the market", "sold")),
        (47, BarsOut(2, "", "retained")),
        (48, BarsOut(1, "", "scrapped")),
    )
    sold = soap("B", "A", records=((1, Event("cut", bars=10)), (50, BarsOut(3, "a shop (invented)", "sold"))))
    found = recall((soap("A", records=gone), sold, soap("C", "B")), "a", ("a bad reading",))
    assert [one.through for one in found.reach] == [("A",), ("A", "B"), ("A", "B", "C")]
    assert [(out.bars, out.to, out.at) for out in found.reach[0].gone] == [(6, "the market", day(46))]
    assert found.reach[0].released_at == day(45)
    assert found.reach[1].bars_cut == 10
    assert found.words[0] == "a bad reading"
    assert "B Soap B has 50\u00a0g of batch A embedded in it (not released, 10 bars)" in found.words[1]
    assert "3 to a shop (invented) on 21 Oct 2026 (sold)" in found.words[1]
    assert "C Soap C has 50\u00a0g of batch B embedded" in found.words[2]
    assert "no bars are noted as gone out" in found.words[2]


def test_the_water_left_in_pieces_is_what_went_in_less_what_was_lost():
    young, old = judge(batch(*BASICS), day(2)), judge(batch(*BASICS, *weighed((0, 7, 14, 28, 42))), day(42))
    # Arithmetic: 297.2 g of water in 1443.6 g are 20.6%; of a bar that lost 14.5%, 7.1% may be water.
    assert most_water_left(young.lye, young.drying) == pytest.approx(0.2059, abs=1e-3)
    assert most_water_left(old.lye, old.drying) == pytest.approx((0.2059 - 0.145) / (1 - 0.145), abs=0.006)
    assert most_water_left(None, old.drying) == MOST_WATER
