"""An intake killed in the middle, all its processes at once, loses nothing and doubles nothing."""

from __future__ import annotations

import os
import signal
import sys
import time
from pathlib import Path

import pytest

from curejournal.batch.records import ColourReading
from tests.benchmarks.roll_study import intake_process, opened, roll

PHOTOS = 12


@pytest.mark.skipif(sys.platform == "win32", reason="groups of processes are killed together on POSIX alone")
def test_a_killed_intake_is_run_again_and_ends_as_if_it_had_never_been_killed(tmp_path: Path) -> None:
    photos, folder = tmp_path / "roll", tmp_path / "journal"
    photos.mkdir()
    roll(photos, PHOTOS)
    for placed in (1, 5):
        process = intake_process(folder, photos, 2)
        # Until it is in the midst of its work, whatever the machine's speed.
        while process.poll() is None and len(list((folder / "photos").rglob("*.jpg"))) < placed:
            time.sleep(0.02)
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
        process.communicate()
    assert intake_process(folder, photos, 2).wait() == 0
    with opened(folder) as journal:
        readings = journal.batch("B-1").of(ColourReading)
        assert len(readings) == PHOTOS
        assert len({entry.photo for entry in readings}) == PHOTOS
        assert len(journal.history("B-1")) == 2 * PHOTOS
        assert journal.unfiled_photos() == ()
        assert journal.check() == ()
