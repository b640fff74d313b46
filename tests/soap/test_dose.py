"""A dose is one figure everywhere, and names what it is a part of."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from curejournal.batch.records import Batch, Entry, Portion
from curejournal.materials.history import ingredients, named
from curejournal.soap.dose import dosage
from curejournal.soap.recipe import Additive, Alkali, Batter, Liquid, Oil, Recipe

# 1,000 g of oils, 140 g of lye, 280 g of water and 30 g of scent: 1,450 g of soap, 1,170 g of them not water.
THREE_PORTIONS = Recipe(
    (Oil("olive", 700.0), Oil("coconut", 300.0)),
    (Alkali("NaOH", 140.0),),
    (Liquid("water", 280.0),),
    (Additive("invented scent", "fragrance", 30.0, "rim"), Additive("cocoa", "pigment", 5.0, "base")),
)


def test_30_g_in_1000_g_of_oils_are_3_percent_whatever_portion_they_went_into():
    """It was told as 9.0% in Materials and on the fact sheet, and as 3.0% in the record."""
    scent = next(item for _, item in ingredients(THREE_PORTIONS, ["rim", "base", "top"]) if item.kind == "fragrance")
    assert scent.dosage.of_oils_pct == pytest.approx(3.0)
    assert scent.dosage.of_portion_pct is None, "nobody weighed the batter of the rim"
    at = datetime(2026, 9, 1, tzinfo=UTC)
    records = [THREE_PORTIONS, *(Portion(name, order) for order, name in enumerate(("rim", "base", "top")))]
    batch = Batch("B-1", "", tuple(Entry(number, at, "", at, record) for number, record in enumerate(records)))
    assert {one.material: one.doses_pct for one in named([batch])}["invented scent"] == pytest.approx((3.0, 3.0))


def test_the_batter_of_a_portion_is_a_base_once_it_was_weighed():
    weighed = replace(THREE_PORTIONS, batter=(Batter("rim", 400.0),))
    dose = dosage(weighed, 30.0, "rim")
    assert dose.of_portion_pct == pytest.approx(7.5)
    assert dose.words == "3.0 % of the oils; 7.5 % of its portion's batter; 2.1 to 2.6 % of the finished soap"


def test_the_finished_soap_is_a_base_from_fresh_to_fully_dry():
    plain = replace(THREE_PORTIONS, additives=(Additive("invented scent", "fragrance", 30.0),))
    assert dosage(plain, 30.0).of_soap_pct == pytest.approx((100 * 30 / 1450, 100 * 30 / 1170))
