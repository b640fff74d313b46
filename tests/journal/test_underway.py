"""Which batches are under way: those whose last word, but for bars that left, is no signed release."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest

from curejournal import workflow
from curejournal.batch.records import BarsOut, Decision, Event, Withdrawn
from curejournal.journal.store import Journal, NewEntry
from curejournal.judging.limits import Limits

AT = datetime(2026, 3, 2, 9, tzinfo=UTC)
RELEASE = Decision("release", "Ann", "sound", "1", "{}")


def _released(journal: Journal) -> None:
    journal.add("A", RELEASE, at=AT, by="Ann")


def _held(journal: Journal) -> None:
    journal.add("A", Decision("hold", "Ann", 'not "act":"release"', "1", "{}"), at=AT, by="Ann")


def _bars_left(journal: Journal) -> None:
    _released(journal)
    journal.add("A", BarsOut(3, "a market", "sold"), at=AT, by="Ann")


def _noted_after(journal: Journal) -> None:
    _released(journal)
    journal.add("A", Event("note", note="a spot"), at=AT, by="Ann")


def _undone(journal: Journal) -> None:
    """As it was possible in an early journal."""
    release = journal.add("A", RELEASE, at=AT, by="Ann")
    with journal._writing() as connection:
        undone = NewEntry(Withdrawn("too early"), AT, release.id)
        journal._append(connection, journal._batch(connection, "A").id, undone, "Ann", as_it_was=True)


def _released_again(journal: Journal) -> None:
    _noted_after(journal)
    _released(journal)


CASES: list[tuple[Callable[[Journal], object], bool]] = [
    (lambda journal: None, True),
    (_released, False),
    (_held, True),
    (_bars_left, False),
    (_noted_after, True),
    (_undone, True),
    (_released_again, False),
]


@pytest.mark.parametrize(("happens", "open_still"), CASES)
@pytest.mark.parametrize("looked_before", [False, True])
def test_a_batch_is_under_way_until_it_is_released_and_nothing_follows(
    happens: Callable[[Journal], object], open_still: bool, looked_before: bool, journal: Journal
) -> None:
    journal.start_batch("A", "Oat", at=AT, by="Ann", records=[Event("poured")])
    if looked_before:
        assert [one.code for one in journal.underway()] == ["A"]
    happens(journal)
    assert [one.code for one in journal.underway()] == (["A"] if open_still else [])


@pytest.mark.parametrize(("version", "otherwise"), [("1", True), ("1-0123abcd", True), (Limits().version, False)])
def test_a_release_by_other_rules_than_todays_is_told_until_something_follows(
    version: str, otherwise: bool, journal: Journal
) -> None:
    journal.start_batch("A", "Oat", at=AT, by="Ann", records=[Event("poured")])
    assert not journal.released_otherwise()
    stated = f'as it was, "rules_version":"{Limits().version}"'
    journal.add("A", Decision("release", "Ann", stated, version, "{}"), at=AT, by="Ann")
    assert [one.code for one in journal.released_otherwise()] == (["A"] if otherwise else [])
    journal.add("A", BarsOut(3, "a market", "sold"), at=AT, by="Ann")
    assert [one.code for one in journal.released_otherwise()] == (["A"] if otherwise else [])
    journal.add("A", Event("note", note="a spot"), at=AT, by="Ann")
    assert not journal.released_otherwise() and [one.code for one in journal.underway()] == ["A"]


def test_the_batch_touched_last_comes_first_and_its_last_entry_is_named(journal: Journal) -> None:
    for code in ("A", "B"):
        journal.start_batch(code, code, at=AT + timedelta(days=code == "A"), by="Ann", records=[Event("poured")])
    last = journal.add("A", Event("note", note="thick"), at=AT, by="Ann")
    first, second = journal.underway()
    assert (first.code, first.last_entry, second.code) == ("A", last.id, "B")
    journal.start_batch("C", "C", at=AT, by="Ann")
    assert [one.code for one in journal.underway()] == ["C", "A", "B"], "a batch without an entry is new"


def test_names_are_the_last_ones_and_the_latest_batch_comes_first(journal: Journal) -> None:
    journal.start_batch("A", "Oat", at=AT, by="Ann")
    journal.start_batch("B", "Rye", at=AT + timedelta(days=1), by="Ann")
    workflow.rename(journal, "A", "Oats", by="Ann", now=AT)
    assert list(journal.names().items()) == [("B", "Rye"), ("A", "Oats")]
