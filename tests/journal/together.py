"""Several processes that work on one journal at once, as browser tabs and the command line do."""

from __future__ import annotations

import math
import time
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from itertools import count
from pathlib import Path

from curejournal.batch.records import ScalarReading
from curejournal.journal.errors import StaleEntry
from curejournal.journal.store import Journal
from tests.journal.under_fire import PROCESSES

AT = datetime(2026, 3, 1, 10, 30, tzinfo=timezone(timedelta(hours=2)))


@dataclass(frozen=True)
class Turns:
    """What one process was told: how often its edits were kept, and how often its page was stale."""

    kept: int
    stale: int


@dataclass(frozen=True)
class Until:
    """When a process has done enough: after so many edits, or after so long; and how long it rests after each."""

    edits: int | None = None
    seconds: float = math.inf
    pause_s: float = 0.0


def _count_up(folder: Path, url: str | None, name: str, until: Until, barrier, answers) -> None:
    """Read the number, correct it to one more; if someone was faster, read again."""
    stale = 0
    try:
        with Journal.open(folder, url=url, create=False, patience_s=60) as journal:
            barrier.wait()
            begun = time.monotonic()
            for k in count():
                if (until.edits is not None and k >= until.edits) or time.monotonic() - begun >= until.seconds:
                    break
                time.sleep(until.pause_s)
                journal.add("B-1", ScalarReading("room humidity", float(k)), at=AT, by=name)
                while True:
                    (entry,) = journal.batch("B-2").entries
                    one_more = ScalarReading("room humidity", entry.record.value + 1)
                    try:
                        journal.add("B-2", one_more, at=AT, by=name, supersedes=entry.id)
                        break
                    except StaleEntry:
                        stale += 1
        answers.put((name, Turns(k, stale)))
    except Exception as error:
        answers.put((name, repr(error)))


def edit_together(folder: Path, url: str | None, processes: int, until: Until) -> dict[str, Turns | str]:
    """Let each process add and correct; what each was told by the end, or its error."""
    with Journal.open(folder, url=url) as journal:
        journal.start_batch("B-1", "Added to", at=AT, by="Ana")
        journal.start_batch("B-2", "Counted up", at=AT, by="Ana", records=[ScalarReading("room humidity", 0.0)])
    barrier, answers = PROCESSES.Barrier(processes), PROCESSES.Queue()
    running = [
        PROCESSES.Process(target=_count_up, args=(folder, url, f"tab {k}", until, barrier, answers))
        for k in range(processes)
    ]
    for process in running:
        process.start()
    told = dict(answers.get(timeout=300 + min(until.seconds, 86_400)) for _ in running)
    for process in running:
        process.join()
    return told


def lost(folder: Path, url: str | None, told: dict[str, Turns | str]) -> int:
    """How many of the additions and corrections that were confirmed are not there."""
    turns = {name: one for name, one in told.items() if isinstance(one, Turns)}
    with Journal.open(folder, url=url, create=False) as journal:
        added = {(entry.by, entry.record.value) for entry in journal.batch("B-1").entries}
        expected = {(name, float(k)) for name, one in turns.items() for k in range(one.kept)}
        (number,) = journal.batch("B-2").entries
        assert journal.check() == ()
        return len(expected ^ added) + abs(sum(one.kept for one in turns.values()) - int(number.record.value))
