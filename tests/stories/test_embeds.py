"""Off-cuts of one soap swim in another.

Ana (invented) embeds 120 g of a three-week-old soap in a new loaf. The pieces bring their own water and their own
history: if their lot is called back, so is the new soap.
"""

from dataclasses import replace

import pytest

from curejournal import workflow
from curejournal.soap.dose import dosage
from curejournal.soap.lye import check_lye
from curejournal.soap.recipe import Additive
from tests.stories.workshop import recipe

SOAP = recipe({"olive": 700, "coconut": 300}, 140.0, 280.0)


@pytest.fixture
def embedded(workshop):
    workshop.pours("F-1", "Pink", SOAP, bars=10)
    workshop.dries("F-1", poured=0, until=21)
    piece = workflow.embed_of(workshop.journal, "F-1", 120.0, "", workshop.day(21))
    workshop.pours("F-2", "White with pink", replace(SOAP, embeds=(piece,)), day=21, bars=10)
    return workshop


def test_the_pieces_take_up_no_lye_and_bring_what_water_they_may_still_hold(embedded):
    plain, with_pieces = check_lye(SOAP), check_lye(embedded.journal.batch("F-2").recipe)
    assert with_pieces.superfat_interval_pct == plain.superfat_interval_pct
    assert with_pieces.batch_g == plain.batch_g + 120.0
    low, high = with_pieces.embeds_water_g
    assert low == 0.0 and 5.0 < high < 0.2 * 120.0


def test_a_scent_is_weaker_in_the_finished_soap_for_the_pieces_in_it(embedded):
    scented = replace(embedded.journal.batch("F-2").recipe, additives=(Additive("invented scent", "fragrance", 30.0),))
    assert dosage(scented, 30.0).of_oils_pct == pytest.approx(3.0)
    alone = dosage(replace(scented, embeds=()), 30.0)
    assert dosage(scented, 30.0).of_soap_pct[0] < alone.of_soap_pct[0]


def test_what_holds_the_pieces_holds_the_new_soap(embedded):
    embedded.titrates("F-1", "bar 1", day=30, ml=10.0)
    assert "pieces of batch F-1" in embedded.asks("F-2", day=31).headline
