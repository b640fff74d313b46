"""What was entered wrongly is put right, but no question about bars that have gone out vanishes by it unanswered."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from curejournal import workflow
from curejournal.batch.records import AlkaliTest, BarsOut, Entry, SurfaceNote
from curejournal.batch.validation import ImpossibleRecord
from curejournal.journal.store import Journal
from curejournal.soap.recipe import Recipe
from tests.judging.batches import GOOD_TITRATION, HIGH_TITRATION, READY, RECIPE, day
from tests.workflow.test_release import BY, NOW, sign, start

Change = Callable[[Journal, Entry], object]


def undone(journal: Journal, entry: Entry) -> object:
    return workflow.undo(journal, entry.id, why="a slip", by=BY, now=NOW)


def taken_back(journal: Journal, entry: Entry) -> object:
    return workflow.take_back(journal, entry, why="a slip", by=BY, now=NOW)


def corrected(journal: Journal, entry: Entry) -> object:
    other = SurfaceNote("clear") if isinstance(entry.record, SurfaceNote) else GOOD_TITRATION
    return workflow.enter(journal, "A", other, at=entry.at, by=BY, now=NOW, supersedes=entry.id, confirmed=True)


@pytest.fixture
def released(journal: Journal) -> Journal:
    start(journal, "A", READY)
    sign(journal, "A", on=45)
    return journal


@pytest.mark.parametrize("change", [undone, taken_back, corrected])
@pytest.mark.parametrize("bad", [HIGH_TITRATION, SurfaceNote("orange spots")])
def test_a_bad_reading_after_a_release_is_answered_before_it_is_changed(
    change: Change, bad: AlkaliTest | SurfaceNote, released: Journal
) -> None:
    entry, _ = workflow.enter(released, "A", bad, at=day(50), by=BY, now=NOW)
    before = released.history("A")
    with pytest.raises(workflow.QuestionStands) as refused:
        change(released, entry)
    assert "Sign first whether they are withdrawn or stay on sale" in refused.value.do
    assert released.history("A") == before, "nothing was changed"
    assert len(workflow.recall(released, "A", NOW)) == 1, "the question stands"
    sign(released, "A", "keep on sale", 51)
    change(released, entry)
    assert workflow.recall(released, "A", NOW) == ()


def test_one_of_two_bad_readings_is_not_changed_either(released: Journal) -> None:
    first, _ = workflow.enter(released, "A", HIGH_TITRATION, at=day(50), by=BY, now=NOW)
    workflow.enter(released, "A", SurfaceNote("orange spots"), at=day(51), by=BY, now=NOW)
    with pytest.raises(workflow.QuestionStands):
        undone(released, first)


def test_what_no_question_rests_on_is_corrected_while_one_stands(released: Journal) -> None:
    workflow.enter(released, "A", HIGH_TITRATION, at=day(50), by=BY, now=NOW)
    asked = workflow.judge_batch(released, "A", NOW).recall
    good = released.batch("A").of(AlkaliTest)[0]
    taken_back(released, good)
    assert workflow.judge_batch(released, "A", NOW).recall == asked


def test_undoing_a_recipe_that_had_too_much_lye_is_refused_while_bars_are_asked_about(released: Journal) -> None:
    taken_back(released, released.batch("A").of(AlkaliTest)[0])
    old = released.batch("A").of(Recipe)[-1]
    much = replace(RECIPE, alkalis=(replace(RECIPE.alkalis[0], grams=190.0),))
    entry, _ = workflow.enter(released, "A", much, at=old.at, by=BY, now=NOW, supersedes=old.id, confirmed=True)
    assert workflow.recall(released, "A", NOW)
    with pytest.raises(workflow.QuestionStands):
        undone(released, entry)


def test_bars_that_went_out_unreleased_are_not_taken_back_from_under_a_question(journal: Journal) -> None:
    start(journal, "A", READY)
    sold, _ = workflow.enter(
        journal, "A", BarsOut(2, "a neighbour", "sold"), at=day(42), by=BY, now=NOW, confirmed=True
    )
    workflow.enter(journal, "A", HIGH_TITRATION, at=day(43), by=BY, now=NOW)
    with pytest.raises(workflow.QuestionStands):
        taken_back(journal, sold)
    # How many there were may be put right: the question stands on.
    fewer = BarsOut(1, "a neighbour", "sold")
    workflow.enter(journal, "A", fewer, at=day(42), by=BY, now=NOW, supersedes=sold.id, confirmed=True)
    assert "1 to a neighbour" in workflow.recall(journal, "A", NOW)[0].words[0]


@pytest.mark.parametrize("act", [workflow.undo, workflow.take_back])
def test_nothing_is_taken_back_without_a_reason(act: Callable[..., object], released: Journal) -> None:
    entry = released.batch("A").of(AlkaliTest)[0]
    with pytest.raises(ImpossibleRecord, match="reason"):
        act(released, entry.id if act is workflow.undo else entry, why=" ", by=BY, now=NOW)
