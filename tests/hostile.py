"""A child process that tries the files of `tests/hostile_files.py` on a journal, through every door.

`python -m tests.hostile FOLDER [--files 400] [--fresh-seeds]` does what the test does, prints a line of JSON for each
file and, at the end, what it took; with `--files` it goes on with further seeds until it has tried so many that differ.
The child may use no more than `MEMORY` beyond what it began with and `SECONDS` of processor time for each 200 files;
the system ends it otherwise, and the test fails.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import random
import resource
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from itertools import count
from pathlib import Path

from curejournal import workflow
from curejournal.base.errors import CureJournalError
from curejournal.batch.records import Event, PhotoNote
from curejournal.journal.copying import fingerprint
from curejournal.journal.store import Journal, PhotoFacts
from curejournal.workflow.photos import Answers, Arrival, Source, add_photo
from tests.hostile_files import PICTURES, SEEDED, damaged, texts

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
        lambda: bring_in(path, folder / "brought in"),
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


WHOLE = "It verifies as a whole: the damage is where nothing is kept."


def try_archive(folder: Path, data: bytes) -> str:
    """A damaged bundle, backup or export through the doors for them: it is refused, or what comes in verifies."""
    from curejournal.journal.backup import restore
    from curejournal.journal.bundle import read_bundle
    from curejournal.journal.exchange import bring_in

    path, new = folder / "hostile.json", folder / "brought in"
    path.write_bytes(data)
    doors: tuple[Callable[[], object], ...] = (
        lambda: read_bundle(data),
        lambda: restore(path, new, lambda: NOW),
        lambda: bring_in(path, new),
    )
    said = []
    for door in doors:
        try:
            door()
        except CureJournalError as refused:
            said.append(f"{refused.what} {refused.do}")
            continue
        if new.exists():
            with Journal.open(new, create=False) as journal:
                assert not any(problem.serious for problem in journal.check())
            shutil.rmtree(new)
        said.append(WHOLE)
    return WHOLE if WHOLE in said else min(said, key=len)


def archives_of(folder: Path) -> dict[str, bytes]:
    """A bundle, a backup and an export of a small journal of its own, sound."""
    from curejournal.journal.bundle import write_bundle

    place = folder / "archived"
    with Journal.open(place / "journal") as journal:
        journal.start_batch("B-1", "Plain", at=AT, by="Ana (invented)", records=[Event("poured", note="thick")])
        facts = PhotoFacts(".png", 4, 3, AT, "exif", "a.png")
        kept = journal.keep_photo(b"a picture", facts)
        journal.add("B-1", PhotoNote("cut face"), at=AT, by="Ana (invented)", photo=kept.sha256)
        journal.backup(place / "b.zip")
        journal.export(place / "out")
        made = {"bundle": write_bundle(journal, "B-1", "test"), "backup": (place / "b.zip").read_bytes()}
        made["export"] = (place / "out" / "journal.json").read_bytes()
    shutil.rmtree(place)
    return made


def files_from(first: int, least: int, folder: Path) -> Iterator[tuple[str, int, str, bytes]]:
    """Group, seed, name and data of every file of the first seed, and of later ones until enough of them differ."""
    seen, whole = set[bytes](), archives_of(folder)
    makers = {
        **PICTURES,
        "texts": lambda seed: texts(),
        "archives": lambda seed: damaged(whole, seed),
    }
    for seed in count(first):
        if seed > first and len(seen) >= least:
            return
        for group, make in makers.items():
            for name, data in make(seed) if seed == first or group in SEEDED else ():
                digest = hashlib.sha256(data).digest()
                if digest not in seen and (seed == first or len(seen) < least):
                    seen.add(digest)
                    yield group, seed, name, data


def main() -> None:
    """Try every file on a journal in a folder."""
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--files", type=int, default=0, help="go on with further seeds until so many were tried")
    parser.add_argument("--fresh-seeds", action="store_true")
    asked = parser.parse_args()
    first = random.SystemRandom().randrange(2**31) if asked.fresh_seeds else 11
    limit = int(Path("/proc/self/statm").read_text().split()[5]) * resource.getpagesize() + MEMORY
    resource.setrlimit(resource.RLIMIT_DATA, (limit, limit))
    seconds = SECONDS * max(1, asked.files // 200)
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
    with Journal.open(asked.folder / "journal") as journal:
        journal.start_batch("B-1", "Plain", at=AT, by="Ana (invented)")

        def state() -> str:
            with journal._reading() as connection:
                return repr((fingerprint(connection), sorted(map(str, (asked.folder / "journal").rglob("*.*g")))))

        before, tried, unsaid, changed = state(), 0, list[str](), list[str]()
        for group, seed, name, data in files_from(first, asked.files, asked.folder):
            began = time.process_time()
            if group == "texts":
                said = try_text(asked.folder, data)
            elif group == "archives":
                said = try_archive(asked.folder, data)
            else:
                # A chart's pattern is looked for everywhere, which in a hundred megapixels takes its time.
                said = try_picture(journal, name, data, "" if group == "huge" else "chart24")
            line = {"name": f"{name} ({seed})", "said": said, "unchanged": state() == before}
            print(json.dumps({**line, "seconds": round(time.process_time() - began, 2)}), flush=True)
            before, tried = state(), tried + 1
            unsaid += [name] * (not said.endswith((".", "?")))
            changed += [name] * (not line["unchanged"])
        problems = [str(problem) for problem in journal.check()]
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(json.dumps({"files": tried, "unsaid": unsaid, "changed": changed, "problems": problems, "peak_mb": peak}))
    sys.exit(bool(unsaid or changed or problems))


if __name__ == "__main__":
    main()
