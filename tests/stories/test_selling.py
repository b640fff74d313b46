"""Bars leave, come back, and are complained of.

Ana (invented) sells to the Corner Shop (invented) and to Mr Sample (invented), takes two bars back, and has to find out
who has soap with one lot of coconut oil in it. Mr Sample later asks her to erase his name.
"""

from dataclasses import replace

import pytest

from curejournal import workflow
from curejournal.batch.making import BatchKind
from curejournal.batch.records import BarsBack, BarsOut, Complaint, Event
from curejournal.batch.validation import ImpossibleRecord
from curejournal.soap.recipe import Embed
from curejournal.workflow import customers
from tests.stories.workshop import recipe

SOAP = recipe({"olive": 700, "coconut": 300}, 140.0, 280.0)
SHOP, SAMPLE = "Corner Shop (invented)", "Mr Sample (invented)"


@pytest.fixture
def selling(workshop):
    """Two released batches of one lot of coconut oil; the second has pieces of the first in it."""
    embedded = replace(SOAP, embeds=(Embed("A-1", 60.0),))
    for code, of, day in (("A-1", SOAP, 0), ("A-2", embedded, 1)):
        workshop.pours(code, f"Soap {code}", of, day=day, bars=20)
        workshop.dries(code, poured=day, until=60)
        workshop.looks(code, day=50)
        workshop.titrates(code, "bar 1", day=50)
        workshop.signs(code, day=61)
    return workshop


def orders(selling, lines, name=SHOP, *, day=62, order="order 7", **more):
    at = selling.day(day)
    return customers.fill_order(selling.journal, lines, name=name, order=order, at=at, by=selling.by, now=at, **more)


def test_a_wholesale_order_takes_bars_of_several_batches(selling):
    made = orders(selling, [("A-1", 8), ("A-2", 6)], details="555 0100")
    assert [entry.record.bars for entry in made] == [8, 6]
    assert len({entry.record.contact for entry in made}) == 1
    assert [code for code, _ in customers.orders(selling.journal, "Order 7")] == ["A-1", "A-2"]
    assert selling.journal.batch("A-1").bars_here == 12
    orders(selling, [("A-2", 2)], name="corner  shop (INVENTED)", order="order 9", day=70)
    contact = customers.contact_named(selling.journal, SHOP)
    assert len(customers.what_they_got(selling.journal, contact.id)) == 3, "the same customer in another spelling"


def test_an_order_of_more_bars_than_there_are_is_refused_whole(selling):
    with pytest.raises(customers.OrderImpossible, match="25 of A-2, where 20 are"):
        orders(selling, [("A-1", 3), ("A-2", 25)])
    assert selling.journal.batch("A-1").bars_out == 0 and selling.journal.contacts() == ()


def test_bars_that_are_not_released_are_asked_about_before_they_go(selling):
    selling.pours("Y-1", "Young", SOAP, day=60, bars=10)
    with pytest.raises(workflow.ReadingDoubtful, match="not released"):
        orders(selling, [("A-1", 1), ("Y-1", 2)], day=64)
    assert selling.journal.batch("A-1").bars_out == 0


def test_a_recall_is_a_list_to_call_with_what_came_back_taken_off(selling):
    orders(selling, [("A-1", 8), ("A-2", 6)], details="555 0100")
    (sold,) = orders(selling, [("A-2", 3)], name=SAMPLE, order="", day=63)
    back = BarsBack(2, "too soft for him", contact=sold.record.contact)
    selling.writes("A-2", back, day=70)
    shop, sample = customers.recall_list(selling.journal, "A-1")
    assert shop.words == f"{SHOP} (555 0100): 8 bars of A-1, 6 bars of A-2, since 3 May 2026"
    assert (sample.who, dict(sample.bars)) == (SAMPLE, {"A-2": 1})
    assert selling.journal.batch("A-2").bars_here == 20 - 9 + 2
    # The lot went into both batches, so whoever has bars of either has it.
    assert [one.who for one in customers.who_has_lot(selling.journal, "CO-1")] == [SHOP, SAMPLE]


def test_no_more_comes_back_than_went_out(selling):
    orders(selling, [("A-1", 2)])
    with pytest.raises(ImpossibleRecord, match="2 bars"):
        selling.writes("A-1", BarsBack(3, "unsold", SHOP), day=70)


def test_a_complaint_has_its_outcome_and_stays_open_until_then(selling):
    (sold,) = orders(selling, [("A-1", 4)], name=SAMPLE)
    contact = sold.record.contact
    first = selling.writes("A-1", Complaint("white powder on the bar", "", 1, contact), day=80)
    assert [code for code, _ in customers.open_complaints(selling.journal)] == ["A-1"]
    settled = replace(first.record, outcome="soda ash, explained; one bar given in its place")
    selling.writes("A-1", settled, day=82, supersedes=first.id)
    assert customers.open_complaints(selling.journal) == ()
    assert len(customers.what_they_got(selling.journal, contact)) == 2


def test_a_name_is_erased_and_the_entry_stays_with_a_blank(selling):
    (sold,) = orders(selling, [("A-1", 4)], name=SAMPLE, details="1 Any Street")
    contact = sold.record.contact
    customers.erase_name(selling.journal, contact, why="asked on 3 May", by=selling.by, now=selling.day(80))
    (left,) = customers.recall_list(selling.journal, "A-1")
    assert (left.who, left.details, dict(left.bars)) == (customers.ERASED, "", {"A-1": 4})
    everything = "".join(str(entry) for entry in selling.journal.history("A-1"))
    assert "Sample" not in everything and "Any Street" not in everything
    assert selling.journal.check() == ()


def test_stock_from_before_the_journal_is_sold_and_not_judged(selling):
    """Forty bars of last year's soap are on the shelf: they are counted and can be called back, no more."""
    at = selling.day(62)
    records = [BatchKind("earlier stock", "made before this journal")]
    workflow.start_batch(selling.journal, "OLD", "Last year's", at=at, by=selling.by, now=at, records=records)
    selling.writes("OLD", Event("cut", bars=40), day=62)
    orders(selling, [("OLD", 5)], day=63)
    assert selling.journal.batch("OLD").bars_here == 35
    assert "not judged here" in selling.asks("OLD", day=64).headline
    with pytest.raises(workflow.NotReady):
        selling.signs("OLD", day=64)
    assert "OLD" not in {batch.code for batch, _ in workflow.due_now(selling.journal, selling.day(64))}


def test_a_test_pour_is_not_for_sale(selling):
    at = selling.day(62)
    records = [SOAP, BatchKind("test pour", "scent A without scent B")]
    workflow.start_batch(selling.journal, "T-1", "Trial", at=at, by=selling.by, now=at, records=records)
    selling.writes("T-1", Event("poured"), day=62)
    with pytest.raises(ImpossibleRecord, match="not for sale"):
        selling.writes("T-1", BarsOut(1, "a friend", "given"), day=70)
    assert "not for sale" in selling.asks("T-1", day=120).headline
