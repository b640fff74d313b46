"""An inspector comes.

Ms Clerk (invented) asks Ana (invented) for the papers of one batch: who weighed and who checked, with which scale, from
whom the oil came, what went wrong and what was decided, and a label that says all it has to.
"""

import io
from datetime import date

import pytest
from pypdf import PdfReader

from curejournal import workflow
from curejournal.batch.making import Deviation, MakingDetails
from curejournal.batch.stock import MaterialLot
from curejournal.batch.validation import ImpossibleRecord
from curejournal.soap.recipe import Additive
from curejournal.workflow import documents, stock
from tests.stories.workshop import recipe

SOAP = recipe(
    {"olive": 700, "coconut": 300}, 140.0, 280.0, additives=(Additive("invented scent", "fragrance", 30.0, lot="F-1"),)
)


def text_of(pdf):
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)


@pytest.fixture
def inspected(workshop):
    workflow.keep_settings(workshop.journal, name="Ana's workshop (invented)")
    workshop.pours("I-1", "Plain with a scent", SOAP, bars=19)
    oil = MaterialLot(
        "olive", "OL-1", "oil", "Invented Oils", date(2026, 1, 5), None, date(2027, 6, 1), "Ben (invented)"
    )
    scent = MaterialLot("invented scent", "F-1", "fragrance", "Invented Scents", allergens="Limonene, Linalool")
    for lot in (oil, scent):
        stock.enter_lot(workshop.journal, lot, by=workshop.by, now=workshop.day(1))
    made = MakingDetails(
        "Ana", "Ben", "kitchen scale 2", date(2026, 2, 1), "", None, "3", 20, "dry, below 25 °C", date(2028, 3, 2)
    )
    workshop.writes("I-1", made, day=1)
    workshop.writes("I-1", Deviation("lye at 45 °C, not 38 °C", "accepted", "Ana", "no effect on the trace"), day=1)
    return workshop


def test_the_record_answers_what_she_asks(inspected):
    said = text_of(documents.batch_record(inspected.journal, ["I-1"], inspected.day(50)))
    for wanted in (
        *("weighed by", "Ana", "checked by", "Ben", "kitchen scale 2, calibrated 1 Feb 2026", "Invented Oils"),
        *("20 bars planned, 19 bars cut (95 %)", "lye at 45", "accepted", "2 Mar 2028", "1 Jun 2027"),
    ):
        assert wanted in said, wanted
    assert "[" not in said, "no drafting note stands on a paper"


def test_a_label_says_across_it_that_the_batch_is_not_released(inspected):
    before = text_of(documents.labels(inspected.journal, "I-1", inspected.day(10), count=1, with_ingredients=True))
    assert "NOT RELEASED" in before
    one_line = before.replace("\n", " ")
    assert "Olea Europaea Fruit Oil, Cocos Nucifera Oil, Aqua, Sodium Hydroxide, Parfum, Limonene, Linalool" in one_line
    assert "Ana's workshop (invented)" in one_line and "best before 2 Mar 2028" in one_line
    inspected.dries("I-1", poured=0, until=60)
    inspected.looks("I-1", day=45)
    inspected.titrates("I-1", "bar 1", day=45)
    inspected.signs("I-1", day=61)
    after = text_of(documents.labels(inspected.journal, "I-1", inspected.day(62), count=1, with_ingredients=True))
    assert "NOT RELEASED" not in after


def test_a_list_that_would_not_be_whole_is_not_printed(inspected):
    odd = recipe({"olive": 1000}, 129.0, 260.0, additives=(Additive("blue sparkle", "pigment", 5.0, lot="P-1"),))
    inspected.pours("I-2", "Blue", odd, day=3)
    with pytest.raises(documents.NothingChosen, match="blue sparkle"):
        documents.labels(inspected.journal, "I-2", inspected.day(4), with_ingredients=True)
    known = MaterialLot("blue sparkle", "P-1", "pigment", inci="Mica, CI 77891")
    stock.enter_lot(inspected.journal, known, by=inspected.by, now=inspected.day(4))
    assert documents.labels(inspected.journal, "I-2", inspected.day(5), with_ingredients=True)


def test_nobody_checks_their_own_weighing(inspected):
    with pytest.raises(ImpossibleRecord, match="cannot be the one who checked"):
        inspected.writes("I-1", MakingDetails("Ana", "ana"), day=2)
