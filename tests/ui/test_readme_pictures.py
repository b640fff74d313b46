"""The README's pictures are those of today's app: they are made anew and laid on those that are kept."""

from __future__ import annotations

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
def test_the_readmes_pictures_are_todays(tmp_path: Path, browser_type_launch_args: object) -> None:
    with Journal.open(tmp_path / "demo") as journal:
        demo.build_demo(journal, demo.pictures_folder())
    made = readme_pictures.make(tmp_path / "made", tmp_path / "demo")
    assert {path.name for path in made} == {path.name for path in readme_pictures.FOLDER.iterdir()}
    for path in made:
        kept = readme_pictures.FOLDER / path.name
        assert np.abs(small(path) - small(kept)).mean() < ALIKE, f"{path.name}: python -m tests.ui.readme_pictures"
        assert kept.stat().st_size <= readme_pictures.MOST_BYTES
