"""A process at work on a journal, killed at a moment it does not choose, and what must then hold.

SIGKILL leaves no time for any clearing up. What the process had confirmed
before must be there; what it had not may be there or not; the journal opens and is whole.
"""

from __future__ import annotations

import multiprocessing
import random
import shutil
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from multiprocessing.connection import Connection
from pathlib import Path

from sqlalchemy import text

from curejournal.base.errors import CureJournalError
from curejournal.batch.records import PhotoNote, Weighing
from curejournal.journal.backup import restore
from curejournal.journal.blueprint import strangers
from curejournal.journal.copying import fingerprint
from curejournal.journal.database import TODAY, Schema
from curejournal.journal.errors import JournalNewer
from curejournal.journal.opening import open_database
from curejournal.journal.store import Journal, PhotoFacts, utc_now

AT = datetime(2026, 3, 1, 10, 30, tzinfo=timezone(timedelta(hours=2)))
PROCESSES = multiprocessing.get_context("forkserver")
PROCESSES.set_forkserver_preload(["alembic.command", "alembic.config", "curejournal.journal.store"])

# A step that copies the largest table, adds one, and so takes a while.
NEXT_STEP = """
import sqlalchemy as sa
from alembic import op

revision, down_revision, branch_labels, depends_on = "0003", "0002", None, None


def upgrade():
    op.create_table("shelf", sa.Column("id", sa.Integer(), primary_key=True), sa.Column("name", sa.Text()))
    with op.batch_alter_table("entry", recreate="always") as entry:
        entry.add_column(sa.Column("place", sa.Text()))
    for act in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER entry_keeps_on_{act.lower()} BEFORE {act} ON entry "
            "BEGIN SELECT RAISE(ABORT, 'the journal only grows'); END"
        )
"""


def next_schema(folder: Path, step: str = NEXT_STEP) -> Schema:
    """The steps of today and one more, in a folder of their own."""
    steps = folder / "steps"
    shutil.copytree(TODAY.steps, steps, ignore=shutil.ignore_patterns("__pycache__"))
    (steps / "versions" / "v0003_next.py").write_text(step)
    return Schema("0003", steps)


def filled(folder: Path, seed: int, entries: int = 40, photos: int = 6) -> None:
    """A journal with one batch."""
    chance = random.Random(seed)
    with Journal.open(folder / "journal") as journal:
        journal.start_batch("B-1", "Oat", at=AT, by="Ana")
        for k in range(photos):
            photo = journal.keep_photo(chance.randbytes(50_000), PhotoFacts(".jpg", 4, 3, AT, "exif", f"{k}.jpg"))
            journal.add("B-1", PhotoNote(), at=AT, by="Ana", photo=photo.sha256)
        for k in range(entries - photos):
            journal.add("B-1", Weighing(f"bar {k}", 100.0 + k), at=AT, by="Ana")


def take_in(folder: Path, seed: int, confirm: Callable[..., None]) -> None:
    """Photos and their entries, one after the other."""
    chance = random.Random(seed)
    with Journal.open(folder / "journal") as journal:
        while True:
            photo = journal.keep_photo(chance.randbytes(300_000), PhotoFacts(".jpg", 4, 3, AT, "exif", "a.jpg"))
            confirm("photo", photo.sha256)
            confirm("entry", journal.add("B-1", PhotoNote(), at=AT, by="Ana", photo=photo.sha256))


def edit(folder: Path, seed: int, confirm: Callable[..., None]) -> None:
    """Weights, their corrections and withdrawals, and a setting that counts."""
    chance = random.Random(seed)
    with Journal.open(folder / "journal") as journal:
        count = 0
        while True:
            entry = journal.add("B-1", Weighing("bar 1", chance.random()), at=AT, by="Ana")
            confirm("entry", entry)
            entry = journal.add("B-1", Weighing("bar 1", chance.random()), at=AT, by="Ben", supersedes=entry.id)
            confirm("entry", entry)
            confirm("entry", journal.withdraw(entry.id, why="a mistake", by="Ana", at=AT))
            journal.set_setting("count", count := count + 1)
            confirm("setting", count)


def upgrade(folder: Path, seed: int, confirm: Callable[..., None]) -> None:
    """The step to the next version."""
    schema = Schema("0003", folder / "steps")
    open_database(folder / "journal", None, create=False, now=utc_now, schema=schema).dispose()
    confirm("upgraded")


def back_up(folder: Path, seed: int, confirm: Callable[..., None]) -> None:
    """One backup after the other."""
    with Journal.open(folder / "journal") as journal:
        for k in range(10_000):
            confirm("backup", journal.backup(folder / f"backup-{k}.zip").path)


def put_back(folder: Path, seed: int, confirm: Callable[..., None]) -> None:
    """One restore after the other."""
    for k in range(10_000):
        confirm("restored", restore(folder / "backup.zip", folder / f"restored-{k}", utc_now).path)


WORK: dict[str, Callable[[Path, int, Callable[..., None]], None]] = {
    "intake": take_in,
    "edit": edit,
    "migration": upgrade,
    "backup": back_up,
    "restore": put_back,
}
# Seconds within which the kill falls (ours: several turns of the work on two cores).
_WINDOW_S = {"intake": 0.5, "edit": 0.5, "backup": 0.5, "restore": 0.8}


def _run(work: str, folder: Path, seed: int, pipe: Connection) -> None:
    pipe.send(("begun",))
    WORK[work](folder, seed, lambda *what: pipe.send(what))


@dataclass(frozen=True)
class Trial:
    """What came of one kill: how much had been confirmed, and what is wrong now."""

    work: str
    seed: int
    confirmed: int
    faults: tuple[str, ...]


def trial(work: str, seed: int, folder: Path) -> Trial:
    """Start the work, kill it, and look."""
    filled(folder, seed, entries=400 if work == "migration" else 40)
    window_s = _rehearsed_s(folder) if work == "migration" else _WINDOW_S[work]
    with Journal.open(folder / "journal") as journal:
        before = journal.history("B-1")
        if work == "restore":
            journal.backup(folder / "backup.zip")
    here, there = PROCESSES.Pipe(duplex=False)
    process = PROCESSES.Process(target=_run, args=(work, folder, seed, there))
    process.start()
    there.close()
    confirmed: list[tuple] = [here.recv()]
    # From the confirmed beginning on, not from the start of the process: every kill falls into the work.
    deadline = time.monotonic() + random.Random(f"{work} {seed}").uniform(0, window_s)
    try:
        while (left := deadline - time.monotonic()) > 0:
            if here.poll(left):
                confirmed.append(here.recv())
    except EOFError:
        pass
    process.kill()
    try:
        while True:
            confirmed.append(here.recv())
    except (EOFError, OSError):
        pass
    process.join()
    try:
        faults = tuple(_faults(folder, before, confirmed))
    except CureJournalError as error:
        faults = (str(error),)
    return Trial(work, seed, len(confirmed) - 1, faults)


def _rehearsed_s(folder: Path) -> float:
    """Prepare the upgrade, and say how long it takes on a copy: the step has one end, and the kill must not miss it."""
    schema = next_schema(folder)
    shutil.copytree(folder / "journal", folder / "rehearsal")
    begun = time.monotonic()
    open_database(folder / "rehearsal", None, create=False, now=utc_now, schema=schema).dispose()
    return 1.5 * (time.monotonic() - begun)


def _faults(folder: Path, before: tuple, confirmed: list[tuple]) -> list[str]:
    if (folder / "steps").exists():
        return _after_upgrade(folder, before, ("upgraded",) in confirmed)
    faults = []
    with Journal.open(folder / "journal", create=False) as journal:
        faults += [f"{p.where}: {p.what}" for p in journal.check() if p.serious]
        history = {entry.id: entry for entry in journal.history("B-1")}
        faults += [f"entry {entry.id} is not as it was" for entry in before if history.get(entry.id) != entry]
        for what, *value in confirmed[1:]:
            if what == "photo":
                journal.photo_bytes(value[0])
            elif what == "entry" and history.get(value[0].id) != value[0]:
                faults.append(f"entry {value[0].id} was confirmed and is missing or different")
            elif what == "setting" and journal.setting("count") < value[0]:
                faults.append(f"setting {value[0]} was confirmed and is missing")
            elif what in {"backup", "restored"} and not value[0].exists():
                faults.append(f"{value[0].name} was confirmed and is missing")
    # Whatever bears its final name is whole, confirmed or not.
    for k, backup in enumerate(folder.glob("backup*.zip")):
        restore(backup, folder / f"restored-from-{k}", utc_now)
    for place in folder.glob("restored*"):
        with Journal.open(place, create=False) as journal:
            faults += [f"{place.name}, {p.where}: {p.what}" for p in journal.check()]
            if journal.history("B-1") != before:
                faults.append(f"{place.name} is not what was backed up")
    return faults


def _after_upgrade(folder: Path, before: tuple, confirmed: bool) -> list[str]:
    faults = []
    schema = Schema("0003", folder / "steps")
    if not confirmed:
        try:
            with Journal.open(folder / "journal", create=False) as journal:
                faults += [p.what for p in journal.check() if p.serious]
                if journal.history("B-1") != before:
                    faults.append("the history is not as it was")
        except JournalNewer:
            # Killed between the step's end and its confirmation.
            pass
    # Again, to the end.
    engine = open_database(folder / "journal", None, create=False, now=utc_now, schema=schema)
    with engine.begin() as connection:
        faults += strangers(connection, "0003", schema)
        faults += [line for line in connection.scalars(text("PRAGMA integrity_check")) if line != "ok"]
        faults += [str(row) for row in connection.execute(text("PRAGMA foreign_key_check"))]
        if fingerprint(connection)["entry"][0] != len(before):
            faults.append("an entry is missing after the upgrade")
    engine.dispose()
    return faults
