"""Ten years of a busy workshop through check, backup, restore, move, export and both imports: time, memory and disk.

Run: python -m tests.benchmarks.ten_years [--photos 5000] [--bytes 4000] [--acts check backup]
"""

from __future__ import annotations

import argparse
import hashlib
import multiprocessing
import random
import resource
import shutil
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlalchemy import insert

from curejournal.journal.backup import restore
from curejournal.journal.exchange import bring_in
from curejournal.journal.record_json import kind_of, to_json
from curejournal.journal.seals import seal_rows
from curejournal.journal.store import Journal, utc_now
from curejournal.journal.tables import batch, entry, photo
from tests.benchmarks.large_journal import READING

PHOTOS_OF_A_BATCH = 20
AT = datetime(2020, 1, 1, tzinfo=UTC)


def fill(folder: Path, photos: int, size: int) -> None:
    """A journal with so many small photos, each with a reading, in batches of 20."""
    chance = random.Random(1)
    with Journal.open(folder) as journal, journal._writing() as connection:
        for k in range(1, photos // PHOTOS_OF_A_BATCH + 1):
            start = AT + timedelta(hours=20 * k)
            row = {"id": k, "code": f"B-{k}", "name": "Oat", "started_at_utc": start, "started_at_offset_minutes": 60}
            connection.execute(insert(batch), row | {"author": "Ana", "recorded_at_utc": start})
            rows, entries = [], []
            for n in range(PHOTOS_OF_A_BATCH):
                data = chance.randbytes(size)
                sha256 = hashlib.sha256(data).hexdigest()
                path = folder / "photos" / sha256[:2] / f"{sha256}.jpg"
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(data)
                rows.append(
                    {"sha256": sha256, "suffix": ".jpg", "size": size, "width": 1, "height": 1, "original_name": "a",
                     "received_at_utc": start}
                )  # fmt: skip
                entries.append(
                    {"batch_id": k, "kind": kind_of(READING), "at_utc": start + timedelta(days=n), "author": "Ana",
                     "at_offset_minutes": 60, "recorded_at_utc": start, "record": to_json(READING),
                     "photo_sha256": sha256}
                )  # fmt: skip
            connection.execute(insert(photo), rows)
            connection.execute(insert(entry), entries)
        seal_rows(connection)


def _check(folder: Path) -> None:
    with Journal.open(folder / "journal") as journal:
        assert journal.check() == ()


def _backup(folder: Path) -> None:
    with Journal.open(folder / "journal") as journal:
        journal.backup(folder / "b.zip")


def _move(folder: Path) -> None:
    with Journal.open(folder / "journal") as journal:
        journal.copy_to(folder / "moved")


def _export(folder: Path) -> None:
    with Journal.open(folder / "journal") as journal:
        journal.export(folder / "out")


ACTS: dict[str, Callable[[Path], object]] = {
    "check": _check,
    "backup": _backup,
    "restore": lambda folder: restore(folder / "b.zip", folder / "restored", utc_now),
    "move": _move,
    "export": _export,
    "import": lambda folder: bring_in(folder / "out" / "journal.json", folder / "imported"),
    "import tables": lambda folder: bring_in(folder / "out", folder / "imported"),
}


def _run(name: str, folder: Path, pipe) -> None:
    with Journal.open(folder / "empty"):
        pass
    before, began = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, (time.monotonic(), time.process_time())
    ACTS[name](folder)
    took = time.monotonic() - began[0], time.process_time() - began[1]
    pipe.send((*took, (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024))


def size_of(path: Path) -> float:
    """MB of a file or folder, while others work in it."""
    size = 0
    for one in (path, *path.rglob("*")):
        with suppress(OSError):
            size += one.stat().st_size if one.is_file() else 0
    return size / 1e6


MADE = {
    "backup": "b.zip",
    "restore": "restored",
    "move": "moved",
    "export": "out",
    "import": "imported",
    "import tables": "imported",
}


def main() -> None:
    """Fill, act, and print a table."""
    options = argparse.ArgumentParser()
    options.add_argument("--photos", type=int, default=5000)
    options.add_argument("--bytes", type=int, default=4000, help="of each photo")
    options.add_argument("--acts", nargs="+", default=list(ACTS), choices=list(ACTS))
    asked = options.parse_args()
    spawn = multiprocessing.get_context("spawn")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        fill(folder / "journal", asked.photos, asked.bytes)
        whole = size_of(folder / "journal")
        columns = "s | s of the processor | memory, MB | most on the disk meanwhile, MB | made, MB"
        print(f"| {asked.photos} photos, {whole:.0f} MB in all | {columns} |")
        print("| --- | --- | --- | --- | --- | --- |")
        for name in asked.acts:
            here, there = spawn.Pipe(duplex=False)
            process = spawn.Process(target=_run, args=(name, folder, there))
            before, most = size_of(folder), 0.0
            process.start()
            while not here.poll(1 + asked.photos / 10_000):
                most = max(most, size_of(folder) - before)
            clock, processor, memory = here.recv()
            process.join()
            made = f"{size_of(folder / MADE[name]):.0f}" if name in MADE else ""
            print(f"| {name} | {clock:.1f} | {processor:.1f} | {memory:.0f} | {most:.0f} | {made} |", flush=True)
            for done in ("restored", "moved", "imported"):
                shutil.rmtree(folder / done, ignore_errors=True)


if __name__ == "__main__":
    main()
