"""200 kills at random moments of intake, edit, migration, backup and restore.

Run: python -m tests.benchmarks.kill_study [--kills 200] [--fresh-seeds]
"""

from __future__ import annotations

import argparse
import secrets
import sys
import tempfile
import time
from pathlib import Path

from tests.journal.under_fire import WORK, trial


def main() -> int:
    options = argparse.ArgumentParser()
    options.add_argument("--kills", type=int, default=200)
    options.add_argument("--fresh-seeds", action="store_true")
    asked = options.parse_args()
    first = secrets.randbelow(10**6) if asked.fresh_seeds else 0
    begun = time.monotonic()
    print(f"| work | kills | confirmed before the kill (least / mean / most) | faults |  (first seed {first})")
    print("| --- | --- | --- | --- |")
    faults = 0
    for work in WORK:
        trials = []
        for seed in range(first, first + asked.kills // len(WORK)):
            with tempfile.TemporaryDirectory() as folder:
                trials.append(trial(work, seed, Path(folder)))
        counts = [one.confirmed for one in trials]
        found = [f"seed {one.seed}: {fault}" for one in trials for fault in one.faults]
        faults += len(found)
        spread = f"{min(counts)} / {sum(counts) / len(counts):.1f} / {max(counts)}"
        print(f"| {work} | {len(trials)} | {spread} | {len(found)} |", flush=True)
        print("\n".join(found), end="\n" if found else "")
    print(f"{time.monotonic() - begun:.0f} s")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
