"""1,000 interleaved edits of one journal by three processes: none lost, stale ones told.

Run: python -m tests.benchmarks.interleaved_edits [--edits 1000] [--url postgresql://…]
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

from tests.journal.together import edit_together, lost

PROCESSES = 3


def main() -> int:
    options = argparse.ArgumentParser()
    options.add_argument("--edits", type=int, default=1000)
    options.add_argument("--url", help="an empty PostgreSQL database; SQLite without it")
    asked = options.parse_args()
    # Each turn of a process adds one entry and corrects another.
    turns = -(-asked.edits // (2 * PROCESSES))
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        stale = edit_together(Path(folder), asked.url, PROCESSES, turns)
        missing = lost(Path(folder), asked.url, PROCESSES, turns)
    took = time.monotonic() - begun
    print("| database | processes | edits | lost | told of a stale page | s |")
    print("| --- | --- | --- | --- | --- | --- |")
    kind = "PostgreSQL" if asked.url else "SQLite"
    print(f"| {kind} | {PROCESSES} | {2 * PROCESSES * turns} | {missing} | {stale} | {took:.1f} |")
    return 1 if missing or not all(isinstance(count, int) for count in stale) else 0


if __name__ == "__main__":
    sys.exit(main())
