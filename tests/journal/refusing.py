"""A process of its own that brings in one file and says what was said, how long that took and how much memory.

Run: python -m tests.journal.refusing DOOR FILE FOLDER
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from curejournal.base.errors import CureJournalError
from curejournal.journal.backup import restore
from curejournal.journal.bundle import read_bundle, take_bundle
from curejournal.journal.exchange import bring_in
from curejournal.journal.store import Journal
from curejournal.workflow.documents.sharing import recipe_in

ROOT = Path(__file__).resolve().parents[2]
AT = datetime(2026, 5, 1, 12, tzinfo=UTC)


def _bundle(file: Path, folder: Path) -> None:
    with Journal.open(folder / "journal") as journal:
        take_bundle(journal, read_bundle(file.read_bytes()), code="B-2", by="Ana", now=AT)


DOORS: dict[str, Callable[[Path, Path], object]] = {
    "bundle": _bundle,
    "import": lambda file, folder: bring_in(file, folder / "new"),
    "backup": lambda file, folder: restore(file, folder / "new", lambda: AT),
    "json recipe": lambda file, folder: recipe_in(file.read_text("utf-8"), "json"),
    "csv recipe": lambda file, folder: recipe_in(file.read_text("utf-8"), "csv"),
}


def most_memory() -> int:
    """The most bytes that this process has held; what `getrusage` says counts what its parent held when it began."""
    (line,) = (line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM:"))
    return 1024 * int(line.split()[1])


def brought_in(door: str, file: Path, folder: Path) -> dict[str, Any]:
    """What was said about a file, the seconds of the processor, and the bytes of memory, by a process of its own."""
    command = [sys.executable, "-m", "tests.journal.refusing", door, str(file), str(folder)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def main() -> None:
    """Open it once without the file, so that what is imported and the journal's own memory are no part of it."""
    door, file, folder = sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3])
    with Journal.open(folder / "journal"):
        pass
    with suppress(CureJournalError, OSError):
        DOORS[door](folder / "no such file", folder)
    began, before = time.process_time(), most_memory()
    said = ""
    try:
        DOORS[door](file, folder)
    except CureJournalError as refused:
        said = f"{refused.what} {refused.do}"
    seconds = time.process_time() - began
    print(json.dumps({"said": said, "seconds": seconds, "memory": most_memory() - before}))


if __name__ == "__main__":
    main()
