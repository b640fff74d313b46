"""Workers end with the process that began them, though it was killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

BEGINNER = """
import multiprocessing, os, sys, time
from concurrent.futures import ProcessPoolExecutor
from curejournal.workflow.photos.importing import _one_thread

if __name__ == "__main__":
    pool = ProcessPoolExecutor(2, multiprocessing.get_context("spawn"), _one_thread)
    works = [pool.submit(time.sleep, 0.2) for _ in range(4)]
    [work.result() for work in works]
    print(*pool._processes, flush=True)
    pool.submit(time.sleep, 600)
    time.sleep(600)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="kill is of POSIX")
def test_the_workers_of_a_killed_import_end_with_it(tmp_path: Path) -> None:
    (tmp_path / "beginner.py").write_text(BEGINNER)
    process = subprocess.Popen(
        [sys.executable, tmp_path / "beginner.py"], stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2],
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )  # fmt: skip
    assert process.stdout is not None
    workers = [int(number) for number in process.stdout.readline().split()]
    assert len(workers) >= 1
    process.send_signal(signal.SIGKILL)
    process.wait()
    until = time.monotonic() + 20
    while any(lives(worker) for worker in workers) and time.monotonic() < until:
        time.sleep(0.1)
    assert not any(lives(worker) for worker in workers)


def lives(number: int) -> bool:
    try:
        return "\nState:\tZ" not in Path(f"/proc/{number}/status").read_text()
    except OSError:
        return False
