"""Killed at any moment, the journal opens, is whole, and has everything that was confirmed.

Twenty moments here; `python -m tests.benchmarks.kill_study` tries 200.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.journal.under_fire import WORK, trial


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("work", WORK)
def test_a_kill_loses_nothing_that_was_confirmed(work: str, seed: int, tmp_path: Path) -> None:
    assert trial(work, seed, tmp_path).faults == ()
