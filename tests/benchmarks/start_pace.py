"""How fast it starts, beside what it stands on: `python -m tests.benchmarks.start_pace [--runs 5] [--keep]`.

`--help` and `measure` are compared, by processor time, with importing numpy, OpenCV and Pillow; the app's first page,
by what its maker waits for (from the command until a browser shows the title), with an empty Streamlit page. Both
sides take turns, so that what else the machine does reaches both. Of processor times the least counts, of waits the
middle one. The table of the last run that was kept, in RESULTS.md, stands beside the new one; `--keep` puts the new one
in its place. Exit code 1 if a limit is passed.
"""

from __future__ import annotations

import argparse
import os
import re
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

from tests.ui.conftest import CHROMIUM, FLAGS

ROOT = Path(__file__).resolve().parents[2]
PHOTO = ROOT / "sample_images" / "chamomile-1.jpg"
RESULTS = Path(__file__).with_name("RESULTS.md")
HEADING = "## The pace of starting"
LIMITS = {"`--help`": 2.5, "`measure` of one photo": 7.0, "first page, in a browser": 1.3}
"""How many times what it stands on each may take."""
TICKS = os.sysconf("SC_CLK_TCK")


def _environment(journal: Path) -> dict[str, str]:
    # Where this is set, all of the program is compiled again in each process.
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return kept | {"CUREJOURNAL_JOURNAL": str(journal)}


def seconds(*arguments: object, folder: Path) -> float:
    """Processor time of a Python command that runs to its end, where there is no journal yet."""
    before = os.times()
    words = [sys.executable, *map(str, arguments)]
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL, cwd=folder, env=_environment(folder / "none"))
    after = os.times()
    return after.children_user - before.children_user + after.children_system - before.children_system


def first_page(browser: Browser, *arguments: str, folder: Path) -> tuple[float, float]:
    """Seconds by the clock from the command until its title is seen, and the server's processor time until then."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    words = [sys.executable, *(one.replace("PORT", str(port)) for one in arguments)]
    begun, silent = time.perf_counter(), subprocess.DEVNULL
    server = subprocess.Popen(words, cwd=folder, env=_environment(folder / "journal"), stdout=silent, stderr=silent)
    try:
        while server.poll() is None:
            try:
                socket.create_connection(("127.0.0.1", port), 1).close()
                break
            except OSError:
                time.sleep(0.01)
        context = browser.new_context()
        page = context.new_page()
        page.goto(f"http://127.0.0.1:{port}/", wait_until="commit", timeout=120_000)
        page.wait_for_selector("h1", timeout=120_000)
        waited = time.perf_counter() - begun
        fields = Path(f"/proc/{server.pid}/stat").read_text().rpartition(")")[2].split()
        context.close()
        return waited, (int(fields[11]) + int(fields[12])) / TICKS
    finally:
        server.terminate()
        server.wait(30)


def measured(runs: int) -> dict[str, tuple[float, float]]:
    """Each figure in seconds, with that of what it stands on: the middle of some turns."""
    times: dict[str, list[tuple[float, float]]] = {}
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        folder = Path(name)
        (folder / "empty.py").write_text("import streamlit as st\nst.title('Empty')\n")
        ours = ("-P", "-m", "curejournal")
        app = ("-P", "-m", "curejournal.ui.server", "PORT")
        plain = ("-m", "streamlit", "run", "empty.py", "--server.port", "PORT", "--server.headless", "true")
        plain += ("--server.address", "127.0.0.1", "--browser.gatherUsageStats", "false")
        plain += ("--server.fileWatcherType", "none")
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        first_page(browser, *app, folder=folder)  # makes the journal, and compiles all
        seconds(*ours, "measure", PHOTO, "--card", "window", folder=folder)
        for _ in range(runs):
            imports = seconds("-c", "import numpy, cv2, PIL.Image", folder=folder)
            helps = seconds(*ours, "--help", folder=folder)
            measures = seconds(*ours, "measure", PHOTO, "--card", "window", folder=folder)
            (empty, empty_cpu), (page, page_cpu) = (first_page(browser, *one, folder=folder) for one in (plain, app))
            for what, pair in {
                "`--help`": (helps, imports),
                "`measure` of one photo": (measures, imports),
                "first page, in a browser": (page, empty),
                "first page, the server’s processor time": (page_cpu, empty_cpu),
            }.items():
                times.setdefault(what, []).append(pair)
    # What else the machine does only adds to processor time; to a wait it adds on both sides alike.
    count = {what: statistics.median if "browser" in what else min for what in times}
    return {
        what: (count[what](one for one, _ in pairs), count[what](base for _, base in pairs))
        for what, pairs in times.items()
    }


def as_table(figures: dict[str, tuple[float, float]]) -> str:
    """The figures as a table of RESULTS.md."""
    lines = ["| what | seconds | what it stands on | times | limit |", "| --- | --- | --- | --- | --- |"]
    lines += [
        f"| {what} | {one:.2f} | {base:.2f} | {one / base:.1f} | {LIMITS.get(what, 'none')} |"
        for what, (one, base) in figures.items()
    ]
    return "\n".join(lines)


def last_table() -> str:
    """The table that was kept last, empty if there is none."""
    found = re.search(rf"{HEADING}\n.*?((?:^\|.*\n)+)", RESULTS.read_text("utf-8"), re.S | re.M)
    return found[1].rstrip() if found else ""


def keep(table: str, runs: int) -> None:
    """Put a table in the last one's place."""
    text, last = RESULTS.read_text("utf-8"), last_table()
    head = f"{datetime.now(UTC):%-d %B %Y}, {os.cpu_count()} cores, load {os.getloadavg()[1]:.1f}, "
    head += f"CPython {sys.version.partition(' ')[0]}: `python -m tests.benchmarks.start_pace --runs {runs} --keep`."
    if not last:
        RESULTS.write_text(f"{text.rstrip()}\n\n{HEADING}\n\n{head}\n\n{table}\n", "utf-8")
        return
    before, heading, after = text.partition(f"{HEADING}\n\n")
    _, _, rest = after.partition("\n")
    RESULTS.write_text(before + heading + head + "\n" + rest.replace(last, table, 1), "utf-8")


def main() -> None:
    """Measure, print beside the last table, and keep if asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--keep", action="store_true", help="put the new table in the last one's place in RESULTS.md")
    asked = parser.parse_args()
    figures = measured(asked.runs)
    table = as_table(figures)
    print(f"Last time:\n{last_table() or '(nothing was kept yet)'}\n\nNow:\n{table}")
    if asked.keep:
        keep(table, asked.runs)
    sys.exit(any(figures[what][0] > limit * figures[what][1] for what, limit in LIMITS.items()))


if __name__ == "__main__":
    main()
