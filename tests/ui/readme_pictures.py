"""The README's pictures, made again from the demo journal: three soaps with their ribbons, and three screens.

    python -m tests.ui.readme_pictures [--demo JOURNAL] [--into FOLDER]

Without a journal the demo is built first, which takes a minute.
"""

from __future__ import annotations

import argparse
import io
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from PIL import Image
from playwright.sync_api import sync_playwright

from curejournal import workflow
from curejournal.documents.pictures import jpeg_within
from curejournal.journal.store import Journal
from curejournal.workflow import demo, documents
from tests.ui.conftest import CHROMIUM, FLAGS
from tests.ui.screens import served
from tests.ui.steps import profile, settled

FOLDER = Path(__file__).parent / "pictures"
SOAPS = ("UJ-31", "UJ-36", "UJ-32")
SIDE, GAP = 540, 12
SCREENS = {"today": "", "batch": "batch?batch=UJ-36", "wall": "batches"}
MOST_BYTES = 150_000


def hero(journal: Journal) -> np.ndarray:
    """Three soaps side by side, each with its ribbon and its story."""
    on = workflow.calendar(journal, datetime.now(UTC))
    squares = [
        np.asarray(Image.open(io.BytesIO(documents.square_picture(journal, code, on))).resize((SIDE, SIDE)))
        for code in SOAPS
    ]
    gap = np.full((SIDE, GAP, 3), 255, np.uint8)
    return np.hstack([squares[0], gap, squares[1], gap, squares[2]])


def screens(folder: Path) -> dict[str, np.ndarray]:
    """The first screen of some pages, at a desk."""
    made = {}
    with sync_playwright() as play, served(folder) as address:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = profile(browser, viewport={"width": 1280, "height": 860}).new_page()
        for name, path in SCREENS.items():
            page.goto(f"{address}/{path}")
            settled(page)
            page.wait_for_timeout(500)
            made[name] = np.asarray(Image.open(io.BytesIO(page.screenshot())).convert("RGB"))
        browser.close()
    return made


def make(into: Path, folder: Path) -> list[Path]:
    """Write them all."""
    into.mkdir(parents=True, exist_ok=True)
    with Journal.open(folder) as journal:
        shown = {"hero": hero(journal)}
    paths = []
    for name, picture in {**shown, **screens(folder)}.items():
        paths.append(into / f"{name}.jpg")
        paths[-1].write_bytes(jpeg_within(picture, MOST_BYTES))
    return paths


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--demo", type=Path, help="a demo journal that was built before")
    options.add_argument("--into", type=Path, default=FOLDER)
    asked = options.parse_args()
    with TemporaryDirectory() as scratch:
        folder = asked.demo or Path(scratch) / "demo"
        if asked.demo is None:
            with Journal.open(folder) as journal:
                demo.build_demo(journal, demo.pictures_folder())
        print(*make(asked.into, folder), sep="\n")


if __name__ == "__main__":
    main()
