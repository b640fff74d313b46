"""Two tabs and the command line on one journal: nothing is lost, and who comes second is told.

200 edits here; `python -m tests.benchmarks.interleaved_edits` makes 1,000.
"""

from __future__ import annotations

import threading
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest

from curejournal.batch.records import Event, ScalarReading
from curejournal.journal.errors import CodeInUse, StaleEntry
from curejournal.journal.store import Journal, PhotoFacts
from tests.journal.together import Turns, Until, edit_together, lost

AT = datetime(2026, 3, 1, 10, 30, tzinfo=timezone(timedelta(hours=2)))


def test_of_interleaved_edits_by_several_processes_none_is_lost(tmp_path: Path, database_url: str | None) -> None:
    told = edit_together(tmp_path, database_url, processes=2, until=Until(edits=50))
    assert [one.kept for one in told.values() if isinstance(one, Turns)] == [50, 50], told
    assert lost(tmp_path, database_url, told) == 0


def _at_once(act, threads: int) -> list:
    """What each of several threads got, or the error it met."""
    barrier, got = threading.Barrier(threads), []

    def run(k: int) -> None:
        barrier.wait()
        try:
            got.append(act(k))
        except Exception as error:
            got.append(error)

    running = [threading.Thread(target=run, args=(k,)) for k in range(threads)]
    for thread in running:
        thread.start()
    for thread in running:
        thread.join()
    return got


def test_of_many_corrections_of_one_entry_at_once_one_counts_and_the_others_are_told(journal: Journal) -> None:
    first = journal.start_batch("B-1", "Oat", at=AT, by="Ana", records=[ScalarReading("room humidity", 0.0)]).entries[0]
    got = _at_once(
        lambda k: journal.add(
            "B-1", ScalarReading("room humidity", 1.0 + k), at=AT, by=f"tab {k}", supersedes=first.id
        ),
        threads=8,
    )
    assert sum(isinstance(answer, StaleEntry) for answer in got) == 7
    (kept,) = [answer for answer in got if not isinstance(answer, Exception)]
    assert journal.batch("B-1").entries == (kept,)


def test_of_many_batches_of_one_code_at_once_one_is_started(journal: Journal) -> None:
    got = _at_once(lambda k: journal.start_batch("B-1", f"by tab {k}", at=AT, by="Ana", records=[Event("poured")]), 8)
    assert sum(isinstance(answer, CodeInUse) for answer in got) == 7
    assert len(journal.history("B-1")) == 1


def test_the_same_photo_from_many_at_once_is_one_photo(journal: Journal) -> None:
    data = bytes(100_000)
    got = _at_once(lambda k: journal.keep_photo(data, PhotoFacts(".jpg", 4, 3, AT, "exif", "a.jpg")), 8)
    assert len(set(got)) == 1
    assert journal.check() == ()


@pytest.mark.parametrize("threads", [20])
def test_more_threads_than_connections_wait_for_their_turn(journal: Journal, threads: int) -> None:
    journal.start_batch("B-1", "Oat", at=AT, by="Ana")
    got = _at_once(lambda k: journal.add("B-1", Event("note", note=str(k)), at=AT, by="Ana"), threads)
    assert sorted(answer.record.note for answer in got) == sorted(map(str, range(threads)))


def test_what_another_program_enters_is_seen_at_the_next_look_at_all_batches(
    journal: Journal, database_url: str | None
) -> None:
    first = journal.start_batch("B-1", "Oat", at=AT, by="Ana", records=[Event("poured"), Event("cut")]).entries[0]
    assert journal.all_batches() == (journal.batch("B-1"),)
    with Journal.open(journal.location, url=database_url) as other:
        other.add("B-1", Event("poured", note="later"), at=AT + timedelta(hours=1), by="Ben", supersedes=first.id)
        other.start_batch("B-0", "Earlier", at=AT - timedelta(days=1), by="Ben")
        other.withdraw(journal.batch("B-1").entries[0].id, why="not cut", by="Ben", at=AT)
        assert journal.all_batches() == other.all_batches() == (other.batch("B-0"), other.batch("B-1"))
        assert len(journal.batch("B-1").entries) == 1
