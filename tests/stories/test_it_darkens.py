"""The batter goes dark while it is poured.

Ana (invented) pours her fourth soap with the same invented scent. The batter turns brown under the spoon. Is that the
end of the colour, or will it be back? Her three earlier pours know.
"""

import numpy as np
import pytest

from curejournal.batch.records import Event, Portion
from curejournal.journal.store import NewEntry
from curejournal.soap.recipe import Additive
from curejournal.workflow import materials
from tests.judging.batches import INTENDED, reading
from tests.stories.workshop import recipe

SCENTED = recipe(
    {"olive": 700, "coconut": 300}, 140.0, 280.0, additives=(Additive("invented scent", "fragrance", 30.0, lot="F-1"),)
)
PLAIN = recipe({"olive": 700, "coconut": 300}, 140.0, 280.0, additives=(Additive("chalk", "pigment", 10.0),))


def photographed(workshop, code, day0, off, rate=0.15):
    """Photos over six weeks of a colour that starts `off` its target and comes back at `rate` a day."""
    rng = np.random.default_rng(len(code) + int(day0))
    at = [0.2, 1, 3, 7, 14, 21, 28, 35, 42]
    labs = [np.array(INTENDED) + np.array([-12.0, 4, 25]) * off * np.exp(-rate * t) + rng.normal(0, 0.6, 3) for t in at]
    entries = [NewEntry(reading(lab, "portion 1"), workshop.day(day0 + t)) for t, lab in zip(at, labs, strict=True)]
    workshop.journal.add_many(code, entries, by=workshop.by)


@pytest.fixture
def before(workshop):
    for number, (of, off) in enumerate(((SCENTED, 1.0), (SCENTED, 1.2), (SCENTED, 0.8), (PLAIN, 0.0)), start=1):
        workshop.pours(f"D-{number}", f"Soap {number}", of, day=7 * number)
        target = Portion("portion 1", 0, INTENDED, "swatch")
        workshop.writes(f"D-{number}", target, day=7 * number)
        photographed(workshop, f"D-{number}", 7 * number, off)
    return workshop


def test_all_earlier_batches_answer_at_one_press(before):
    before.pours("D-9", "The fourth", SCENTED, day=100)
    before.writes("D-9", Event("colour changed"), day=100.01)
    answer = materials.when_it_darkens(before.journal, "D-9", before.day(100.02))
    assert answer.materials == ("invented scent",) and answer.batches == 3
    assert {one.batch for one in answer.darkened} == {"D-1", "D-2", "D-3"}
    assert all(one.recovered for one in answer.darkened)
    assert answer.words[0] == "3 of 3 earlier batches with invented scent darkened."
    assert answer.words[1] == "3 portions of 3 that darkened recovered."
    low, high = ((at - before.day(100)).days for at in answer.back.interval)
    days = [one.days for one in answer.darkened]
    assert low <= min(days) and max(days) <= high


def test_where_nothing_is_known_it_says_which_photo_to_take_when(before):
    new = recipe({"olive": 1000}, 129.0, 260.0, additives=(Additive("another scent", "fragrance", 20.0),))
    before.pours("N-1", "New", new, day=100)
    answer = materials.when_it_darkens(before.journal, "N-1", before.day(100.01))
    assert answer.darkened == () and "Nothing is known yet" in answer.words[0]
    assert "now" in answer.words[1] and "24 hours" in answer.words[1]


def test_what_never_darkened_says_so(before):
    before.pours("P-2", "Plain again", PLAIN, day=100)
    answer = materials.when_it_darkens(before.journal, "P-2", before.day(100.01))
    assert answer.words[0] == "0 of 1 earlier batch with chalk darkened."


def test_a_change_that_was_noted_without_a_photo_counts_too(before):
    before.pours("U-1", "Unseen", SCENTED, day=60)
    before.writes("U-1", Event("colour changed"), day=60.01)
    before.pours("D-9", "The next", SCENTED, day=100)
    answer = materials.when_it_darkens(before.journal, "D-9", before.day(100.01))
    assert answer.batches == 4 and not next(one for one in answer.darkened if one.batch == "U-1").recovered
