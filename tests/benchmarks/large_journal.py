"""How long the journal takes with 2,000 batches and 40,000 photos.

Run: python -m tests.benchmarks.large_journal [--batches 2000] [--url postgresql://…]
"""

from __future__ import annotations

import argparse
import random
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlalchemy import insert

from curejournal.batch.records import ColourReading, Event, Portion, Record, Weighing
from curejournal.journal.record_json import kind_of, to_json
from curejournal.journal.seals import seal_rows
from curejournal.journal.store import Journal
from curejournal.journal.tables import batch, entry, photo
from curejournal.soap.recipe import Additive, Alkali, Liquid, Oil, Recipe
from curejournal.workflow import materials

AT = datetime(2020, 1, 1, tzinfo=UTC)
PHOTOS, WEIGHINGS = 20, 15
SCENTS = 24
NOW = AT + timedelta(days=3000)
READING = ColourReading(
    "base",
    (80.125, 2.25, 15.5),
    ((1.0, 0.1, 0.0), (0.1, 0.5, 0.0), (0.0, 0.0, 0.75)),
    "measured",
    ("the window is a little dark",),
    12345,
    (0.5, 0.25, 0.75),
    "window",
    "window",
    ((0.0, 0.0), (100.5, 0.0), (100.5, 100.5), (0.0, 100.5)),
    "affine",
)


def fill(journal: Journal, batches: int) -> None:
    """Rows of many batches, written at once; the photos' files are left out, since no question here reads them."""
    chance = random.Random(1)
    with journal._writing() as connection:
        for k in range(1, batches + 1):
            start = AT + timedelta(hours=20 * k)
            row = {"id": k, "code": f"B-{k}", "name": "Oat", "started_at_utc": start, "started_at_offset_minutes": 60}
            connection.execute(insert(batch), row | {"author": "Ana", "recorded_at_utc": start})
            shas = [f"{chance.getrandbits(256):064x}" for _ in range(PHOTOS)]
            facts = {
                "suffix": ".jpg",
                "size": 1,
                "width": 1,
                "height": 1,
                "original_name": "a",
                "received_at_utc": start,
            }
            connection.execute(insert(photo), [facts | {"sha256": sha} for sha in shas])
            blend = chance.sample(range(SCENTS), chance.randint(1, 3))
            scents = tuple(Additive(f"scent {n}", "fragrance", 20.0 + n, lot=f"L-{k // 50}") for n in blend)
            recipe = Recipe((Oil("olive", 1000.0),), (Alkali("NaOH", 130.0),), (Liquid("water", 260.0),), scents)
            work: list[tuple[Record, str | None]] = [(recipe, None), (Portion("base", 0, (84.0, 2.0, 15.0)), None)]
            work += [(Event("poured"), None)]
            work += [(READING, sha) for sha in shas]
            work += [(Weighing(f"bar {n}", 100.0 + n), None) for n in range(WEIGHINGS)]
            connection.execute(
                insert(entry),
                [
                    {
                        "batch_id": k,
                        "kind": kind_of(record),
                        "at_utc": start + timedelta(days=n),
                        "at_offset_minutes": 60,
                        "author": "Ana",
                        "recorded_at_utc": start,
                        "record": to_json(record),
                        "photo_sha256": sha,
                    }
                    for n, (record, sha) in enumerate(work)
                ],
            )
        seal_rows(connection)


def one_material(journal: Journal) -> object:
    """What the page of a material asks for."""
    return materials.material(journal, "scent 1", NOW, most=materials.EARLIER, beside_others=False)


def milliseconds(act: Callable[[], object], repeats: int) -> tuple[float, float]:
    """The median time of an act, by the clock and of the processor (this process's alone)."""
    times = []
    for _ in range(repeats):
        begun = time.perf_counter(), time.process_time()
        act()
        times.append((1000 * (time.perf_counter() - begun[0]), 1000 * (time.process_time() - begun[1])))
    clock, processor = zip(*times, strict=True)
    return statistics.median(clock), statistics.median(processor)


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--batches", type=int, default=2000)
    options.add_argument("--url", help="an empty PostgreSQL database; SQLite without it")
    asked = options.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        with Journal.open(place, url=asked.url) as journal:
            fill(journal, asked.batches)
            middle = f"B-{asked.batches // 2}"
            row = (Weighing("bar 1", 1.0),)
            acts = {
                "open": (lambda: Journal.open(place, url=asked.url).close(), 5),
                "batches()": (journal.batches, 5),
                "batch(code)": (lambda: journal.batch(middle), 20),
                "history(code)": (lambda: journal.history(middle), 20),
                "photos_of(code)": (lambda: journal.photos_of(middle), 20),
                "add(…)": (lambda: journal.add(middle, *row, at=AT, by="Ana"), 20),
                "all_batches(), the first time": (journal.all_batches, 1),
                "all_batches(), again": (journal.all_batches, 5),
                "the list of materials": (lambda: materials.all_materials(journal), 3),
                "one material, its latest 40 batches": (lambda: one_material(journal), 1),
                "which did it, the latest 400 batches": (lambda: materials.which(journal, NOW), 1),
            }
            print(f"| {asked.batches} batches, {asked.batches * PHOTOS} photos | ms | ms of the processor |")
            print("| --- | --- | --- |")
            for name, (act, repeats) in acts.items():
                clock, processor = milliseconds(act, repeats)
                print(f"| {name} | {clock:.1f} | {processor:.1f} |", flush=True)
        if asked.url is None:
            print(f"| database | {(place / 'journal.sqlite').stat().st_size / 1e6:.0f} MB |")


if __name__ == "__main__":
    main()
