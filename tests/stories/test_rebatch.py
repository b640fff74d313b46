"""A loaf that was lye-heavy is melted down.

Ana (invented) finds 0.4% of free alkali in a loaf and signs a hold. She grates it, melts it with a little water and
olive oil, and moulds it again. The old loaf stays on hold for ever; the new one is a rebatch, a kind of its own.
"""

from dataclasses import replace

import pytest

from curejournal import workflow
from curejournal.judging.traceability import descendants
from curejournal.soap.recipe import Embed, Liquid, Recipe
from tests.stories.workshop import recipe

HEAVY = recipe({"olive": 700, "coconut": 300}, 158.0, 300.0)
MELTED = Recipe((), (), (Liquid("water", 60.0),), embeds=(Embed("H-1", 1000.0, melted=True),))


@pytest.fixture
def melted(workshop):
    workshop.pours("H-1", "Heavy", HEAVY, bars=12)
    workshop.titrates("H-1", "bar 1", day=30, ml=10.0)
    workshop.signs("H-1", "hold", day=30, statement="0.4% free alkali; to be melted down")
    workshop.pours("R-1", "Second life", MELTED, day=31, bars=10)
    workshop.dries("R-1", poured=31, until=90)
    workshop.looks("R-1", day=75)
    return workshop


def test_its_parents_are_known_by_weight(melted):
    batch = melted.journal.batch("R-1")
    assert batch.recipe.rebatch and [(one.batch, one.grams) for one in batch.recipe.embeds] == [("H-1", 1000.0)]
    assert descendants(melted.journal.all_batches(), "H-1") == (("H-1", "R-1"),)


def test_until_it_was_titrated_it_stays_where_its_parent_is_and_says_what_would_help(melted):
    judged = melted.asks("R-1", day=85)
    assert judged.verdict == "hold" and "3 of its own bars" in judged.headline
    assert any(thing.words.startswith("Titrate three of its bars") for thing in judged.due)
    with pytest.raises(workflow.NotReady):
        melted.signs("R-1", day=85)


def test_titrations_of_three_of_its_bars_outrank_its_held_parent(melted):
    """It could never be released."""
    melted.titrates("R-1", "bar 1", "bar 2", day=80)
    melted.titrates("R-1", "bar 2", day=81)
    assert "2 so far" in melted.asks("R-1", day=85).headline, "the same bar twice is one bar"
    melted.titrates("R-1", "bar 7", day=82)
    judged = melted.asks("R-1", day=85)
    assert (judged.verdict, judged.releasable) == ("ready", True), judged.headline
    melted.signs("R-1", day=85)
    assert melted.asks("H-1", day=86).verdict == "hold", "its parent stays where it is"


def test_one_bar_that_still_holds_lye_holds_it_again(melted):
    melted.titrates("R-1", "bar 1", "bar 2", "bar 3", day=80)
    melted.titrates("R-1", "bar 4", day=82, ml=8.0)
    assert melted.asks("R-1", day=85).verdict == "hold"


def test_no_titration_speaks_of_rancid_fat(melted):
    melted.looks("H-1", "orange spots", day=60)
    melted.titrates("R-1", "bar 1", "bar 2", "bar 3", day=80)
    assert "surface" in melted.asks("R-1", day=85).headline


def test_pieces_that_stayed_whole_are_another_matter(melted):
    """Grated soap that stays in pieces keeps its lye where it is: bars of the new batch do not speak for it."""
    whole = replace(HEAVY, alkalis=recipe({}, 140.0, 0).alkalis, embeds=(Embed("H-1", 100.0),))
    melted.pours("E-1", "With pieces", whole, day=31, bars=10)
    melted.titrates("E-1", "bar 1", "bar 2", "bar 3", day=80)
    assert "pieces of batch H-1" in melted.asks("E-1", day=85).headline
