"""A child process that tries the files of `tests/hostile_files.py` on a journal, through every door.

`python -m tests.hostile FOLDER [--fresh-seeds]` does what the test does, prints a line of JSON for each file and,
at the end, what it took. The child may use no more than `MEMORY` beyond what it began with and `SECONDS` of
processor time in all; the system ends it otherwise, and the test fails.
"""

from __future__ import annotations

import argparse
import json
import random
import resource
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from curejournal import workflow
from curejournal.base.errors import CureJournalError
from curejournal.journal.copying import fingerprint
from curejournal.journal.store import Journal
from curejournal.workflow.photos import Answers, Arrival, Source, add_photo
from tests.hostile_files import PICTURES, texts

MEMORY = 2_000_000_000
SECONDS = 600
NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
AT = datetime(2026, 10, 1, 12, 0, tzinfo=UTC)


def try_picture(journal: Journal, name: str, data: bytes, other: str) -> str:
    """A picture through every door for pictures; what was said about it."""
    said = []
    doors: tuple[Callable[[], object], ...] = (
        lambda: workflow.when_taken(data, name, UTC),
        *([lambda: workflow.measure_photo(data, workflow.find_card(other))] if other else []),
        lambda: add_photo(
            journal, "B-1", Source(name, lambda: data), workflow.find_card("window"), Answers(at=AT), by="Eve", now=NOW
        ),
    )
    for door in doors:
        try:
            result = door()
            if isinstance(result, Arrival) and result.analysis is not None:
                workflow.marked_picture(data, result.analysis.measurement, 320)
        except CureJournalError as refused:
            said.append(f"{refused.what} {refused.do}")
            continue
        if isinstance(result, Arrival):
            said.append(f"{result.outcome}: {result.why}")
    return said[-1]


def try_text(folder: Path, data: bytes) -> str:
    """A file of text through the doors for text, all of which must refuse it."""
    from curejournal.journal.exchange import bring_in
    from curejournal.photo.cgats import read_values

    path = folder / "hostile.json"
    path.write_bytes(data)
    doors: tuple[Callable[[], object], ...] = (
        lambda: workflow.find_card(data.decode("utf-8", "replace") + "\n"),
        lambda: read_values(data),
        lambda: bring_in(path, folder / "brought in", lambda: NOW),
    )
    said = []
    for door in doors:
        try:
            door()
        except CureJournalError as refused:
            said.append(f"{refused.what} {refused.do}")
        else:
            said.append("")
    return min(said, key=len)


def main() -> None:
    """Try every file on a journal in a folder."""
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--fresh-seeds", action="store_true")
    asked = parser.parse_args()
    seed = random.SystemRandom().randrange(2**31) if asked.fresh_seeds else 11
    limit = int(Path("/proc/self/statm").read_text().split()[5]) * resource.getpagesize() + MEMORY
    resource.setrlimit(resource.RLIMIT_DATA, (limit, limit))
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
    with Journal.open(asked.folder / "journal") as journal:
        journal.start_batch("B-1", "Plain", at=AT, by="Ana (invented)")

        def state() -> str:
            with journal._reading() as connection:
                return repr((fingerprint(connection), sorted(map(str, (asked.folder / "journal").rglob("*.*g")))))

        before = state()
        for group, make in {**PICTURES, "texts": lambda seed: texts()}.items():
            for name, data in make(seed):
                began = time.process_time()
                if group == "texts":
                    said = try_text(asked.folder, data)
                else:
                    # A chart's pattern is looked for everywhere, which in a hundred megapixels takes its time.
                    said = try_picture(journal, name, data, "" if group == "huge" else "chart24")
                line = {"name": name, "said": said, "unchanged": state() == before, "seed": seed}
                print(json.dumps({**line, "seconds": round(time.process_time() - began, 2)}), flush=True)
                before = state()
        problems = [str(problem) for problem in journal.check()]
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(json.dumps({"problems": problems, "peak_mb": peak}))


if __name__ == "__main__":
    main()
