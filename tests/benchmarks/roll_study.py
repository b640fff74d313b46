"""A roll of many photos taken in: throughput, memory and kills: `python -m tests.benchmarks.roll_study`.

`--only NAME` runs one part.
"""

from __future__ import annotations

import argparse
import os
import resource
import signal
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from curejournal.batch.records import ColourReading
from curejournal.batch.workshop import TagId
from curejournal.journal.store import Journal
from curejournal.photo.find.tag import payload
from curejournal.workflow.photos import Clock, files_in, import_photos
from tests.photo.windows import drawn, window


def roll(folder: Path, count: int) -> None:
    """Photos of one batch: a few drawn, each file of its own by a few bytes after the picture's end."""
    start = datetime(2026, 9, 2, 12, 0, tzinfo=UTC)
    for k in range(8):
        data = drawn((88.0, 2.0, 14.0), tag=payload("OURS22", "B-1"), at=start + timedelta(days=k), seed=k).jpeg
        for copy in range(k, count, 8):
            (folder / f"IMG_{copy:04}.jpg").write_bytes(data + b"%d" % copy)


def opened(folder: Path) -> Journal:
    journal = Journal.open(folder)
    journal.add("", TagId("OURS22"), at=journal.clock(), by="Ana")
    if not journal.batches():
        journal.start_batch("B-1", "Plain", at=datetime(2026, 9, 1, tzinfo=UTC), by="Kaja (invented)")
    return journal


def take_all(folder: Path, photos: Path, workers: int) -> None:
    with opened(folder) as journal:
        now = datetime(2026, 10, 1, tzinfo=UTC)
        import_photos(
            journal, files_in([photos]), card=window(), by="Kaja (invented)", now=now, clock=Clock(UTC), workers=workers
        )


def intake_process(folder: Path, photos: Path, workers: int) -> subprocess.Popen[str]:
    """An intake on its own, in a group of processes that can be killed together; prints its memory when done."""
    run = [sys.executable, "-m", "tests.benchmarks.roll_study", "--run", str(folder), str(photos), str(workers)]
    environment = {**os.environ, "OMP_NUM_THREADS": "1"}
    return subprocess.Popen(run, stdout=subprocess.PIPE, text=True, env=environment, start_new_session=True)


def print_throughput(count: int) -> None:
    print(f"\n### {count} photos\n\n| workers | photos | s | photos a s | processor s a photo | most memory |")
    print("| --- | --- | --- | --- | --- | --- |")
    rates, spent = {}, {}
    with tempfile.TemporaryDirectory() as place:
        for turn, (workers, many) in enumerate(((1, count // 10), (2, count // 4), (2, count), (1, count // 10))):
            photos = Path(place) / f"roll-{turn}"
            photos.mkdir()
            roll(photos, many)
            began = time.perf_counter()
            process = intake_process(Path(place) / f"journal-{turn}", photos, workers)
            memory, busy = (line.split() for line in process.communicate()[0].splitlines())
            took = time.perf_counter() - began
            rates.setdefault(workers, []).append(many / took)
            spent[workers] = sum(map(float, busy)) / many
            shares = " + ".join(f"{float(seconds) / many:.2f}" for seconds in busy)
            sizes = ", ".join(f"{int(kb) / 1024:.0f} MB" for kb in memory)
            print(f"| {workers} | {many} | {took:.0f} | {many / took:.2f} | {shares} | {sizes} |", flush=True)
    print(
        f"\nTwo workers do {rates[2][-1] / (2 * np.mean(rates[1])):.2f} of cores x the rate of one, on the clock; by "
        f"processor time, which other work on the machine hardly touches, {spent[1] / spent[2]:.2f}."
    )


def photos_in(folder: Path) -> int:
    return len(list((folder / "photos").rglob("*.jpg")))


def print_kills(kills: int, count: int) -> None:
    rng = np.random.default_rng(1)
    with tempfile.TemporaryDirectory() as place:
        photos, folder = Path(place) / "roll", Path(place) / "journal"
        photos.mkdir()
        roll(photos, count)
        done = 0
        for _ in range(kills):
            process, before = intake_process(folder, photos, 2), photos_in(folder)
            more = int(rng.integers(0, 4))
            # In the midst of its work, whatever the machine's speed: after some photos, and then at any moment.
            while process.poll() is None and photos_in(folder) < before + more:
                time.sleep(0.01)
            time.sleep(float(rng.uniform(0.0, 0.3)))
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGKILL)
                done += 1
            process.wait()
            if process.stdout:
                process.stdout.close()
        process = intake_process(folder, photos, 2)
        process.communicate()
        with opened(folder) as journal:
            readings = journal.batch("B-1").of(ColourReading)
            doubled = len(readings) - len({entry.photo for entry in readings})
            problems = journal.check()
            print(
                f"\n### Kills\n\n{done} kills (SIGKILL of all processes) in an intake of {count} photos: "
                f"{len(readings)} placed, {count - len(readings)} lost, {doubled} doubled, {len(problems)} problems."
            )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--many", type=int, default=500)
    parser.add_argument("--only", default="", choices=["", "throughput", "kills"])
    parser.add_argument("--run", nargs=3, default=None, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.run:
        take_all(Path(options.run[0]), Path(options.run[1]), int(options.run[2]))
        used = [resource.getrusage(whose) for whose in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
        print(*(use.ru_maxrss for use in used))
        print(*(use.ru_utime + use.ru_stime for use in used))
        return
    if options.only in ("", "throughput"):
        print_throughput(options.many)
    if options.only in ("", "kills"):
        print_kills(20, 70)


if __name__ == "__main__":
    main()
