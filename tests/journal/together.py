"""Several processes that work on one journal at once, as browser tabs and the command line do."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from pathlib import Path

from curejournal.batch.records import ScalarReading
from curejournal.journal.errors import StaleEntry
from curejournal.journal.store import Journal
from tests.journal.under_fire import PROCESSES

AT = datetime(2026, 3, 1, 10, 30, tzinfo=timezone(timedelta(hours=2)))


def _count_up(folder: Path, url: str | None, name: str, edits: int, barrier, answers) -> None:
    """Read the number, correct it to one more; if someone was faster, read again."""
    stale = 0
    try:
        with Journal.open(folder, url=url, create=False, patience_s=60) as journal:
            barrier.wait()
            for k in range(edits):
                journal.add("B-1", ScalarReading("room humidity", float(k)), at=AT, by=name)
                while True:
                    (entry,) = journal.batch("B-2").entries
                    one_more = ScalarReading("room humidity", entry.record.value + 1)
                    try:
                        journal.add("B-2", one_more, at=AT, by=name, supersedes=entry.id)
                        break
                    except StaleEntry:
                        stale += 1
        answers.put(stale)
    except Exception as error:
        answers.put(repr(error))


def edit_together(folder: Path, url: str | None, processes: int, edits: int) -> list[int | str]:
    """Let each process add and correct `edits` times; how often each was told that its page was stale."""
    with Journal.open(folder, url=url) as journal:
        journal.start_batch("B-1", "Added to", at=AT, by="Ana")
        journal.start_batch("B-2", "Counted up", at=AT, by="Ana", records=[ScalarReading("room humidity", 0.0)])
    barrier, answers = PROCESSES.Barrier(processes), PROCESSES.Queue()
    running = [
        PROCESSES.Process(target=_count_up, args=(folder, url, f"tab {k}", edits, barrier, answers))
        for k in range(processes)
    ]
    for process in running:
        process.start()
    stale = [answers.get(timeout=300) for _ in running]
    for process in running:
        process.join()
    return stale


def lost(folder: Path, url: str | None, processes: int, edits: int) -> int:
    """How many of the additions and corrections are not there."""
    with Journal.open(folder, url=url, create=False) as journal:
        added = {(entry.by, entry.record.value) for entry in journal.batch("B-1").entries}
        expected = {(f"tab {k}", float(edit)) for k in range(processes) for edit in range(edits)}
        (number,) = journal.batch("B-2").entries
        assert journal.check() == ()
        return len(expected - added) + processes * edits - int(number.record.value)
