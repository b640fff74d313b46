"""A journal only grows: whatever is done to it, what was in it stays as it was."""

from __future__ import annotations

import tempfile
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, consumes, initialize, invariant, rule
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from curejournal.batch.records import RECORDS, Decision, Event, ScalarReading, Withdrawn
from curejournal.batch.workshop import WORKSHOP_RECORDS
from curejournal.journal.errors import SignatureStays, StaleEntry
from curejournal.journal.store import Journal, NewContact, NewEntry, PhotoFacts
from curejournal.journal.tables import metadata
from tests.journal.strategies import records

AT = datetime(2026, 3, 1, 10, 30, tzinfo=timezone(timedelta(hours=2)))
KINDS = [kind for kind in RECORDS if RECORDS[kind] not in (Withdrawn, Decision) and kind not in WORKSHOP_RECORDS]


class Ledger(RuleBasedStateMachine):
    """Random work on one journal, beside a plain list of what was entered."""

    live = Bundle("live")
    gone = Bundle("gone")

    @initialize()
    def start(self) -> None:
        self.folder = tempfile.TemporaryDirectory()
        self.journal = Journal.open(Path(self.folder.name))
        self.journal.start_batch("B-1", "Oat", at=AT, by="Ana")
        self.entered = []
        self.current = {}

    def teardown(self) -> None:
        self.journal.close()
        self.folder.cleanup()

    def note(self, entry) -> int:
        self.entered.append(entry)
        self.current.pop(entry.supersedes, None)
        if not isinstance(entry.record, Withdrawn):
            self.current[entry.id] = entry
        return entry

    @rule(record=records("decision"))
    def sign(self, record):
        """Kept for good: it is neither corrected nor taken back, in anybody's name."""
        entry = self.note(self.journal.add("B-1", record, at=AT, by="Ana"))
        for act in (
            lambda: self.journal.withdraw(entry.id, why="a mistake", by="Ben", at=AT),
            lambda: self.journal.undo(entry.id, why="a mistake", by="Ana", at=AT),
            lambda: self.journal.add("B-1", record, at=AT, by="Ana", supersedes=entry.id),
        ):
            with pytest.raises(SignatureStays):
                act()

    @rule(target=live, record=st.sampled_from(KINDS).flatmap(records), minutes=st.integers(-10_000, 10_000))
    def add(self, record, minutes):
        return self.note(self.journal.add("B-1", record, at=AT + timedelta(minutes=minutes), by="Ana"))

    @rule(target=live, entry=consumes(live), data=st.data())
    def correct(self, entry, data):
        record = data.draw(records(next(kind for kind in KINDS if RECORDS[kind] is type(entry.record))))
        return self.note(self.journal.add("B-1", record, at=AT, by="Ben", supersedes=entry.id))

    @rule(target=gone, entry=consumes(live))
    def withdraw(self, entry):
        self.note(self.journal.withdraw(entry.id, why="a mistake", by="Ben", at=AT))
        return entry

    @rule(entry=gone)
    def correct_what_is_gone(self, entry):
        with pytest.raises(StaleEntry):
            self.journal.add("B-1", entry.record, at=AT, by="Cho", supersedes=entry.id)

    @rule()
    def reopen(self):
        self.journal.close()
        self.journal = Journal.open(Path(self.folder.name))

    @invariant()
    def everything_is_there_as_it_was_entered(self):
        assert list(self.journal.history("B-1")) == self.entered
        expected = sorted(self.current.values(), key=lambda entry: (entry.at, entry.id))
        assert list(self.journal.batch("B-1").entries) == expected
        assert self.journal.all_batches() == (self.journal.batch("B-1"),)


TestLedger = Ledger.TestCase
TestLedger.settings = settings(
    max_examples=12, stateful_step_count=15, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)


@pytest.fixture
def one_of_each(journal: Journal) -> Journal:
    """A journal with a row in every table."""
    photo = journal.keep_photo(b"a picture", PhotoFacts(".jpg", 4, 3, AT, "exif", "a.jpg"))
    journal.start_batch("B-1", "Oat", at=AT, by="Ana")
    journal.add("B-1", Event("poured"), at=AT, by="Ana", photo=photo.sha256)
    journal.keep_card("window", "size = 1")
    journal.set_setting("days", 28)
    journal.keep_contact(NewContact("Cleo (invented)"), by="Ana")
    return journal


@pytest.mark.parametrize("table", [table.name for table in metadata.sorted_tables])
@pytest.mark.parametrize("act", ["DELETE FROM {table}", "UPDATE {table} SET {column} = {column}"])
def test_the_database_itself_refuses_to_change_or_remove_a_row(one_of_each: Journal, table: str, act: str) -> None:
    column = next(iter(metadata.tables[table].columns)).name
    with pytest.raises(DBAPIError, match="the journal only grows"), one_of_each._writing() as connection:
        connection.execute(text(act.format(table=table, column=column)))
    assert one_of_each.check() == ()


def test_many_entries_are_kept_in_one_step(journal: Journal) -> None:
    journal.start_batch("B-1", "Oat", at=AT, by="Ana")
    items = [NewEntry(ScalarReading("room humidity", float(k)), AT + timedelta(minutes=k)) for k in range(100)]
    entries = journal.add_many("B-1", items, by="Ana")
    assert journal.batch("B-1").entries == entries
