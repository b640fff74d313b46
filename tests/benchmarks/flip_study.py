"""1,000 flips of single bits in a journal's database: none that changes what a reader sees goes unseen by `check`.

Run: python -m tests.benchmarks.flip_study [--flips 1000] [--fresh-seeds]
"""

from __future__ import annotations

import argparse
import random
import secrets
import shutil
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

from curejournal.base.errors import CureJournalError
from curejournal.batch.records import Event, PhotoNote, Weighing
from curejournal.journal.copying import fingerprint
from curejournal.journal.database import DATABASE
from curejournal.journal.salvage import salvage
from curejournal.journal.store import Journal, NewContact, PhotoFacts

AT = datetime(2026, 5, 1, 12, tzinfo=UTC)


def fill(folder: Path) -> None:
    """A journal with rows in every table, more than a page of each kind that grows."""
    with Journal.open(folder) as journal:
        for k in range(6):
            code = f"B-{k}"
            journal.start_batch(code, f"Oat {k}", at=AT, by="Ana", records=[Event("poured", note="thick " * 20)])
            for n in range(20):
                journal.add(code, Weighing(f"bar {n}", 100.0 + n), at=AT + timedelta(days=n), by="Ana")
            for n in range(4):
                facts = PhotoFacts(".jpg", 4, 3, AT, "exif", f"IMG_{k}{n}.jpg")
                photo = journal.keep_photo(f"picture {k} {n}".encode(), facts)
                journal.add(code, PhotoNote("cut face"), at=AT, by="Ben", photo=photo.sha256)
            journal.keep_card(f"card {k}", f"size = {k}\n" * 200)
            journal.set_setting("place", f"The invented shed {k}")
            journal.keep_contact(NewContact(f"Cleo {k} (invented)", "by the bridge"), by="Ana")
    with closing(sqlite3.connect(folder / DATABASE)) as database:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    (folder / "journal.last").unlink(missing_ok=True)


def seen(folder: Path) -> object:
    """All that a reader may see; the error where it cannot be read."""
    try:
        with Journal.open(folder, create=False) as journal:
            batches = journal.batches()
            told = [(journal.batch(head.code), journal.history(head.code)) for head in batches]
            more = journal.cards(), journal.settings(), journal.contacts(), journal.unfiled_photos()
            photos = [journal.photos_of(head.code) for head in batches]
            with journal._reading() as connection:
                rows = fingerprint(connection)
            return batches, journal.all_batches(), told, more, photos, journal.names(), journal.underway(), rows
    except Exception as error:
        return f"{type(error).__name__}: {error}"


def found(folder: Path) -> str:
    """What `check` says: whole, damaged, refused at opening; or the crash, which there must not be."""
    try:
        with Journal.open(folder, create=False) as journal:
            return "damaged" if any(problem.serious for problem in journal.check()) else "whole"
    except CureJournalError:
        return "refused"
    except Exception as error:
        return f"crash: {type(error).__name__}"


def main() -> int:
    """Flip, read, check, and count."""
    options = argparse.ArgumentParser()
    options.add_argument("--flips", type=int, default=1000)
    options.add_argument("--fresh-seeds", action="store_true")
    options.add_argument(
        "--salvage-each", type=int, default=20, help="salvage after every so many flips that are found"
    )
    asked = options.parse_args()
    first = secrets.randbelow(10**6) if asked.fresh_seeds else 0
    begun, counts, unseen, salvaged = time.monotonic(), Counter[tuple[bool, str]](), [], Counter[str]()
    with tempfile.TemporaryDirectory() as place:
        whole, tried = Path(place) / "whole", Path(place) / "tried"
        fill(whole)
        before, data = seen(whole), (whole / DATABASE).read_bytes()
        for seed in range(first, first + asked.flips):
            shutil.copytree(whole, tried)
            chance, changed = random.Random(seed), bytearray(data)
            changed[chance.randrange(len(changed))] ^= 1 << chance.randrange(8)
            (tried / DATABASE).write_bytes(changed)
            for log in ("-wal", "-shm"):
                (tried / f"{DATABASE}{log}").unlink(missing_ok=True)
            told, differs = found(tried), seen(tried) != before
            counts[differs, told.split(":")[0]] += 1
            if (differs and told == "whole") or told.startswith("crash"):
                unseen.append((seed, told))
            if told != "whole" and seed % asked.salvage_each == 0:
                try:
                    salvage(tried, Path(place) / "new", lambda: AT)
                    salvaged["salvaged"] += 1
                except CureJournalError:
                    salvaged["nothing could be had"] += 1
                shutil.rmtree(Path(place) / "new", ignore_errors=True)
            shutil.rmtree(tried)
    print(
        f"| what a reader sees | flips | found by check | refused at opening | unseen | crashes | (first seed {first})"
    )
    print("| --- | --- | --- | --- | --- | --- |")
    for differs in (True, False):
        of = {told: counts[differs, told] for told in ("damaged", "refused", "whole", "crash")}
        name = "changed, or not readable" if differs else "the same"
        missed = str(of["whole"]) if differs else f"({of['whole']} called whole)"
        total = sum(of.values())
        print(f"| {name} | {total} | {of['damaged']} | {of['refused']} | {missed} | {of['crash']} |")
    print(f"salvage tried on some: {dict(salvaged)}; {time.monotonic() - begun:.0f} s")
    if unseen:
        print(f"unseen: {unseen[:20]}")
    return 1 if unseen else 0


if __name__ == "__main__":
    sys.exit(main())
