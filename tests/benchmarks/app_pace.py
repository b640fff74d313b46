"""How long *today* and one batch take to open in a journal of 20 batches and in one of 2,000 with 40,000 photos.

Run: python -m tests.benchmarks.app_pace [--batches 2000] [--repeats 5] [--seed 1 | --fresh-seeds]

Every figure is the processor time of a page's script with all messages that it sends, in a process of its own: *first*
is the first page after the app was started, *again* a later one. Of all runs the fastest counts, since what else the
machine does only adds. Both journals have the same 20 batches under way; in the large one the others were released.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import random
import secrets
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from PIL import Image
from sqlalchemy import insert

from curejournal.batch.records import (
    AlkaliTest,
    ColourReading,
    Decision,
    Event,
    PhotoNote,
    Portion,
    Record,
    SurfaceNote,
    Weighing,
)
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.record_json import columns_of_record, kind_of, to_json
from curejournal.journal.store import Journal
from curejournal.journal.tables import batch, entry, photo
from curejournal.soap.recipe import Additive, Alkali, Liquid, Oil, Recipe

NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)
UNDERWAY, PHOTOS, AGAIN = 20, 20, 5
SD = ((1.0, 0.1, 0.0), (0.1, 0.5, 0.0), (0.0, 0.0, 0.75))
RECIPE = Recipe(
    (Oil("olive", 700, "OL-1"), Oil("coconut", 300, "CO-1")),
    (Alkali("NaOH", 138, lot="N-1"),),
    (Liquid("water", 280),),
    (Additive("invented scent", "fragrance", 30, lot="F-1"),),
)
EVIDENCE = json.dumps({"frozen": "x" * 30_000})
"""As long as the demo's judgements are."""
FACTS = {"suffix": ".jpg", "size": 1, "width": 1, "height": 1, "original_name": "a", "received_at_utc": NOW}
OPENED = f"B-{UNDERWAY - 2}"
"""Nearly the oldest of those under way."""
SECTIONS = ("Evidence", "Write down", "Story", "Colour", "Readings", "History")


def _work(chance: random.Random, poured: datetime) -> Iterator[tuple[datetime, Record, bool]]:
    """What a batch has on record by now: when, what, and whether it stands on a photo."""
    yield poured, RECIPE, False
    yield poured, Portion("base", 0, (85.0, 2.0, 15.0)), False
    yield poured, Event("poured", temperature_c=38.0), False
    turn, back = chance.uniform(4, 15), chance.uniform(5, 15)
    for day in np.geomspace(0.2, 55, PHOTOS):
        off = turn * np.exp(-day / back)
        lab = (85.0 - 0.6 * off + chance.gauss(0, 0.8), 2.0 + chance.gauss(0, 0.5), 15.0 + off + chance.gauss(0, 0.7))
        at = poured + timedelta(days=float(day))
        yield (
            at,
            PhotoNote("", "", "window", tuple((f"patch-{n}", round(chance.gauss(1, 0.2), 2)) for n in range(59))),
            True,
        )
        yield at, ColourReading("base", lab, SD, "measured", (), 9000, (1, 1, 1), "window", "[]", (), "affine"), True
    for day in (2, 9, 16, 23, 30, 37, 44, 51):
        for bar in (1, 2, 3):
            grams = round(105 + bar + 12 * np.exp(-day / 12) + chance.gauss(0, 0.05), 1)
            yield poured + timedelta(days=day, minutes=bar), Weighing(f"bar {bar}", grams, 0.1), False
    yield poured + timedelta(days=35), AlkaliTest("meter", 9.8, 0.1, 1.0), False
    yield poured + timedelta(days=40), SurfaceNote("clear"), False


def build(place: Path, batches: int, seed: int) -> None:
    """Fill a journal; the photos' files are written for the batch that is opened, since no page reads the others'."""
    chance = random.Random(seed)
    with Journal.open(place) as journal:
        for k in range(1, batches + 1):
            late = k > batches - UNDERWAY
            poured = NOW - timedelta(days=1.5 + 2.7 * (batches - k) if late else 70 + 20 * (batches - k) / 24)
            records = [row for row in _work(random.Random(f"{seed} {batches - k}"), poured) if row[0] <= NOW]
            code = f"B-{batches - k}"
            with journal._writing() as connection:
                head = {"id": k, "code": code, "name": "Oat", "started_at_utc": poured, "started_at_offset_minutes": 0}
                connection.execute(insert(batch), head | {"author": "Ana", "recorded_at_utc": poured})
            shas: dict[datetime, str] = {at: "" for at, _, on_photo in records if on_photo}
            for at in shas:
                shas[at] = _kept(journal, chance, at) if code == OPENED else f"{chance.getrandbits(256):064x}"
            rows = [(at, record, shas[at] if on_photo else None) for at, record, on_photo in records]
            if not late:
                rows.append((poured + timedelta(days=60), Decision("release", "Ana", "sound", "1", EVIDENCE), None))
            with journal._writing() as connection:
                if code != OPENED:
                    connection.execute(insert(photo), [FACTS | {"sha256": sha} for sha in shas.values()])
                connection.execute(insert(entry), [_row(k, *row) for row in rows])


def _kept(journal: Journal, chance: random.Random, at: datetime) -> str:
    file = io.BytesIO()
    noise = np.random.default_rng(chance.getrandbits(32)).integers(0, 255, (30, 40, 3), np.uint8)
    Image.fromarray(noise).resize((4000, 3000)).save(file, "JPEG")
    return journal.keep_photo(file.getvalue(), PhotoFacts(".jpg", 4000, 3000, at, "exif", "a.jpg")).sha256


def _row(batch_id: int, at: datetime, record: Record, sha: str | None) -> dict[str, object]:
    return {
        "batch_id": batch_id,
        "kind": kind_of(record),
        **columns_of_record(record),
        "at_utc": at,
        "at_offset_minutes": 0,
        "author": "Ana",
        "recorded_at_utc": at,
        "record": to_json(record),
        "photo_sha256": sha,
    }


def measure(place: Path, slug: str, code: str, section: str) -> tuple[float, float]:
    """Milliseconds of the first page after a start, and of later ones, in a process of its own."""
    command = [sys.executable, "-m", "tests.benchmarks.app_pace", "--open", slug, code, section]
    environment = {**os.environ, "CUREJOURNAL_JOURNAL": str(place)}
    told = subprocess.run(command, env=environment, capture_output=True, text=True, check=True).stdout
    first, again = json.loads(told.splitlines()[-1])
    return first, again


def opened(slug: str, code: str, section: str) -> None:
    """What that process does."""
    from streamlit.testing.v1 import AppTest

    from curejournal.ui import frame

    def draw(slug: str, now: str) -> None:
        from datetime import datetime

        from curejournal.ui.frame import run

        run(slug, lambda: datetime.fromisoformat(now))

    frame.load_pages()
    times = []
    for _ in range(1 + AGAIN):
        at = AppTest.from_function(draw, args=(slug, NOW.isoformat()), default_timeout=300)
        at.query_params["batch"] = code
        if section:
            at.session_state[f"section-{code}"] = section
        begun = time.process_time()
        at.run()
        times.append(1000 * (time.process_time() - begun))
        assert not at.exception and not at.error
    print(json.dumps([times[0], min(times[1:])]))


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--batches", type=int, default=2000)
    options.add_argument("--repeats", type=int, default=5)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--fresh-seeds", action="store_true")
    options.add_argument("--sections", default="Evidence,Story,Colour", help="of the batch; or all")
    options.add_argument("--open", nargs=3)
    asked = options.parse_args()
    if asked.open:
        opened(*asked.open)
        return
    seed = secrets.randbits(32) if asked.fresh_seeds else asked.seed
    sections = SECTIONS if asked.sections == "all" else asked.sections.split(",")
    pages = [("today", "today", ""), *(("one batch: " + name, "batch", name) for name in sections)]
    with tempfile.TemporaryDirectory() as folder:
        journals = {"20 batches": UNDERWAY, f"{asked.batches} batches": asked.batches}
        for name, batches in journals.items():
            build(Path(folder) / name, batches, seed)
        print(
            f"seed {seed}, fastest of {asked.repeats} starts, ms of processor time: first page after a start / again\n"
        )
        print(f"| page | {' | '.join(f'{name} | ratio' for name in journals)} |".replace("| ratio", "", 1))
        print("| --- " * 4 + "|")
        for title, slug, section in pages:
            runs: dict[str, list[tuple[float, float]]] = {name: [] for name in journals}
            for _ in range(asked.repeats):
                # By turns, so that whatever else the machine does meets all of them.
                for name in journals:
                    runs[name].append(measure(Path(folder) / name, slug, OPENED, section))
            middles = [[min(column) for column in zip(*runs[name], strict=True)] for name in journals]
            cells = [f"{first:.0f} / {again:.0f}" for first, again in middles]
            small = middles[0]
            for number, (first, again) in enumerate(middles[1:], start=1):
                cells[number] += f" | {first / small[0]:.2f} / {again / small[1]:.2f}"
            print(f"| {title} | {' | '.join(cells)} |", flush=True)


if __name__ == "__main__":
    main()
