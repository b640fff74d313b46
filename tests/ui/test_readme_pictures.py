"""The README's pictures are those of today's app: they are made again and laid on those that are kept."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from curejournal.journal.store import Journal
from curejournal.workflow import demo
from tests.ui import readme_pictures

ALIKE = 12.0
"""Mean difference of two pictures, of 255, up to which they show the same. Another page differs by 25 and more."""


def small(path: Path) -> np.ndarray:
    return np.asarray(Image.open(path).convert("RGB").resize((64, 43)), float)


@pytest.mark.walk
def test_the_readmes_pictures_are_todays(tmp_path: Path) -> None:
    with Journal.open(tmp_path / "demo") as journal:
        demo.build_demo(journal, demo.pictures_folder())
    # A process of its own: this one may have a browser open already, and Playwright allows one a thread.
    command = [
        sys.executable,
        "-m",
        "tests.ui.readme_pictures",
        "--demo",
        tmp_path / "demo",
        "--into",
        tmp_path / "made",
    ]
    subprocess.run(command, check=True, capture_output=True)
    made = list((tmp_path / "made").iterdir())
    assert {path.name for path in made} == {path.name for path in readme_pictures.FOLDER.iterdir()}
    for path in made:
        kept = readme_pictures.FOLDER / path.name
        assert np.abs(small(path) - small(kept)).mean() < ALIKE, f"{path.name}: python -m tests.ui.readme_pictures"
        assert kept.stat().st_size <= readme_pictures.MOST_BYTES
