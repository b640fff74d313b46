"""Pictures of every page, to be looked at: on an empty journal and on the demo's, in five widths, light and dark.

    python -m tests.ui.screens FOLDER [--demo JOURNAL] [--only SLUG ...] [--widths 400 1280] [--schemes light]

Ask of each: what do I see first, what do I press, would I show this to a customer?
"""

from __future__ import annotations

import argparse
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from contextlib import contextmanager
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

from playwright.sync_api import sync_playwright

from curejournal.ui.frame import all_pages
from tests.ui.conftest import CHROMIUM, FLAGS
from tests.ui.steps import profile, settled

WIDTHS = (360, 400, 768, 1280, 1920)
SCHEMES = ("light", "dark")
TALLEST = 5000
CODE = "UJ-36"
"""The batch of the demo that stands for all, and its sections."""
SECTIONS = ("Log", "Timeline", "Colour", "Readings", "History")


@contextmanager
def served(journal: Path) -> Any:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    environment = {**os.environ, "CUREJOURNAL_JOURNAL": str(journal)}
    server = subprocess.Popen(
        [sys.executable, "-m", "curejournal.ui.server", str(port)],
        env=environment,
        stdout=subprocess.DEVNULL,
        start_new_session=True,
    )
    address = f"http://127.0.0.1:{port}"
    try:
        for _ in range(600):
            try:
                urllib.request.urlopen(f"{address}/_stcore/health", timeout=1)
                break
            except OSError:
                time.sleep(0.1)
        yield address
    finally:
        os.killpg(server.pid, signal.SIGTERM)


def shoot(page: Any, path: Path) -> None:
    view = page.viewport_size
    page.screenshot(path=path.with_name(f"{path.stem}-first.png")) if view["width"] < 600 else None
    whole = page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
    page.set_viewport_size({"width": view["width"], "height": min(whole + 20, TALLEST)})
    page.wait_for_timeout(700)
    page.screenshot(path=path)
    page.set_viewport_size(view)


def walk(browser: Any, address: str, out: Path, name: str, slugs: list[str], asked: argparse.Namespace) -> None:
    for width in asked.widths:
        phone = width < 600
        context = profile(
            browser, viewport={"width": width, "height": 844 if phone else 900}, is_mobile=phone, has_touch=phone
        )
        page = context.new_page()
        for scheme in asked.schemes:
            page.emulate_media(color_scheme=scheme)
            for slug in slugs:
                page.goto(f"{address}/{slug}?batch={CODE}")
                settled(page)
                shoot(page, out / f"{name}-{slug}-{width}-{scheme}.png")
                for section in SECTIONS if slug == "batch" and name == "demo" and asked.sections else ():
                    page.locator(".st-key-sections").get_by_text(section, exact=True).click()
                    settled(page)
                    shoot(page, out / f"{name}-batch-{section.lower().replace(' ', '-')}-{width}-{scheme}.png")
        context.close()


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("folder", type=Path)
    options.add_argument("--demo", type=Path, help="a demo journal that was built before")
    options.add_argument("--empty", action="store_true")
    options.add_argument("--only", nargs="*")
    options.add_argument("--widths", nargs="*", type=int, default=list(WIDTHS))
    options.add_argument("--schemes", nargs="*", default=list(SCHEMES))
    options.add_argument("--sections", action="store_true")
    asked = options.parse_args()
    asked.folder.mkdir(parents=True, exist_ok=True)
    slugs = asked.only or list(all_pages())
    journals = {"demo": asked.demo} if asked.demo else {}
    if asked.empty or not asked.demo:
        journals["empty"] = Path(mkdtemp())
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        for name, journal in journals.items():
            with served(journal) as address:
                walk(browser, address, asked.folder, name, slugs, asked)
        browser.close()


if __name__ == "__main__":
    main()
