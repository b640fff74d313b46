"""Presses at the pour on a phone: how soon each is seen and kept, and what a line that is cut at random does to them.

Run: python -m tests.benchmarks.press_study [--pace 40] [--cuts 200] [--longest 60] [--seed 1]

*Pace*: so many presses one after the other, in headless Chromium of a phone's size with touch. *Seen* is from the press
to the next frame with its answer; *kept* until the page says that the journal has it. Beside them stands a form of the
app as all others are, over its websocket: the room's. *Cuts*: so many presses, of events and of numbered notes, while
the line is cut for 1 to `--longest` seconds (both ends hear of it, or nobody does, or what is sent on it ends it), and
the server is killed and started again, and the tab closed and opened, all at random. Then the journal is compared with
what was pressed: lost, doubled, out of order.
"""

from __future__ import annotations

import argparse
import itertools
import os
import random
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from playwright.sync_api import Error, sync_playwright

from curejournal.batch.records import Event, Portion
from curejournal.journal.store import Journal
from tests.ui.conftest import CHROMIUM, FLAGS
from tests.ui.line import Line
from tests.ui.steps import profile, sent, settled

ANN, CODE = "Ann (invented)", "P-1"
PORTIONS = ("", "cream", "lavender", "charcoal")
KINDS = {"trace": "Trace", "thickening": "Thickening", "gel": "Gel phase", "unmoulded": "Unmoulded"}
HEAD = "| what | presses | median s | p95 s | most s |\n| --- | --- | --- | --- | --- |"
PRESSED = """name => {
    const found = e => e.shadowRoot?.querySelector('.pour');
    const root = found([...document.querySelectorAll('*')].find(found));
    const told = root.querySelector('.told'), at = performance.now(), times = window.times = {};
    const look = () => {
        if (!times.seen) requestAnimationFrame(() => { times.seen ??= performance.now() - at; });
        if (told.textContent.startsWith('✓')) times.kept ??= performance.now() - at;
    };
    told.replaceChildren();
    new MutationObserver(look).observe(told, {childList: true, subtree: true, characterData: true});
    [...root.querySelectorAll('.large button')].find(b => b.textContent === name).click();
}"""
PICK = """name => {
    const found = e => e.shadowRoot?.querySelector('.pour');
    const root = found([...document.querySelectorAll('*')].find(found));
    [...root.querySelectorAll('.portions button')].find(b => b.textContent === (name || 'the whole batch')).click();
}"""
NOTE = """words => {
    const found = e => e.shadowRoot?.querySelector('.pour');
    const root = found([...document.querySelectorAll('*')].find(found));
    root.querySelector('[name=note]').value = words;
    root.querySelector('.note').requestSubmit();
}"""


class Server:
    """The app's own server on one port, which can be killed and started again."""

    def __init__(self, folder: Path) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.address = f"http://127.0.0.1:{self.port}"
        self._environment = {**os.environ, "CUREJOURNAL_JOURNAL": str(folder)}
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        command = [sys.executable, "-m", "curejournal.ui.server", str(self.port)]
        self._process = subprocess.Popen(
            command,
            env=self._environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        for _ in range(1200):
            with suppress(OSError):
                urllib.request.urlopen(f"{self.address}/_stcore/health", timeout=1)
                return
            time.sleep(0.1)
        raise TimeoutError

    def kill(self) -> None:
        assert self._process is not None
        os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait()


@contextmanager
def phone(play: Any, folder: Path) -> Iterator[tuple[Any, Server]]:
    server = Server(folder)
    server.start()
    browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
    context = profile(browser, viewport={"width": 390, "height": 844}, is_mobile=True, has_touch=True)
    yield context, server
    browser.close()
    server.kill()


def started(folder: Path) -> None:
    now = datetime.now().astimezone()
    portions = [Portion(name, order) for order, name in enumerate(PORTIONS[1:])]
    with Journal.open(folder) as journal:
        journal.start_batch(CODE, "Layers", at=now - timedelta(hours=2), by=ANN, records=portions)
        journal.add(CODE, Event("poured"), at=now - timedelta(hours=1), by=ANN)


def figures(name: str, seconds: list[float]) -> str:
    ordered = sorted(seconds)
    high = ordered[min(len(ordered) - 1, round(0.95 * len(ordered)))]
    return f"| {name} | {len(ordered)} | {statistics.median(ordered):.3f} | {high:.3f} | {ordered[-1]:.3f} |"


def pace(play: Any, count: int, draw: random.Random) -> None:
    folder = Path(tempfile.mkdtemp())
    started(folder)
    seen, kept, forms = [], [], []
    with phone(play, folder) as (context, server):
        page = context.new_page()
        page.goto(f"{server.address}/pour?batch={CODE}")
        settled(page)
        for kind, portion in itertools.islice(itertools.cycle(itertools.product(KINDS, PORTIONS)), count):
            page.evaluate(PICK, portion)
            page.evaluate(PRESSED, KINDS[kind])
            page.wait_for_function("() => window.times.kept", polling=20, timeout=60_000)
            times = page.evaluate("() => window.times")
            seen.append(times["seen"] / 1000)
            kept.append(times["kept"] / 1000)
            page.wait_for_timeout(draw.uniform(100, 2_000))
        print(HEAD)
        print(figures("press to seen", seen))
        print(figures("press to kept", kept), flush=True)
        page.goto(f"{server.address}/batch?batch={CODE}")
        settled(page)
        for choice in ("something else", "the room"):
            page.get_by_test_id("stMain").get_by_text(choice, exact=True).first.click()
            settled(page)
        for number in range(min(count, 12)):
            page.get_by_label("Temperature of the cure room", exact=False).fill(f"{15.25 + number}")
            begun = time.perf_counter()
            page.get_by_test_id("stFormSubmitButton").get_by_role("button").click()
            page.locator(".st-key-kept").get_by_text(str(15 + number)).first.wait_for(timeout=30_000)
            forms.append(time.perf_counter() - begun)
            settled(page)
    print(figures("another form, press to kept", forms), flush=True)


class Trouble(threading.Thread):
    """Cuts and mends the line, and now and then kills the server, until it is told to stop."""

    def __init__(self, line: Line, server: Server, longest: float, draw: random.Random) -> None:
        super().__init__(daemon=True)
        self._line, self._server, self._longest, self._draw = line, server, longest, draw
        self._over = threading.Event()
        self.done: dict[str, int] = {}
        self.seconds_cut = 0.0

    def run(self) -> None:
        while not self._over.wait(self._draw.uniform(2, 20)):
            what = self._draw.choice(("cut", "cut", "numb", "refuses", "killed"))
            self.done[what] = self.done.get(what, 0) + 1
            begun = time.monotonic()
            if what == "killed":
                self._server.kill()
                self._server.start()
            elif what == "cut":
                self._line.cut()
                self._over.wait(self._draw.uniform(1, self._longest))
                self._line.mend()
            else:
                self._line.numb(refuses=what == "refuses")
            self.seconds_cut += time.monotonic() - begun

    def stop(self) -> None:
        self._over.set()
        self.join()


def opened(context: Any, address: str) -> Any:
    """The page, however often it must be tried."""
    while True:
        page = context.new_page()
        with suppress(Error):
            page.goto(f"{address}/pour?batch={CODE}", timeout=15_000)
            page.locator(".pour .large button").first.wait_for(timeout=15_000)
            return page
        page.close()
        time.sleep(1)


def under_cuts(play: Any, count: int, longest: float, draw: random.Random) -> None:
    folder = Path(tempfile.mkdtemp())
    started(folder)
    pressed: list[tuple[str, str, str]] = []
    closed = 0
    begun = time.monotonic()
    with phone(play, folder) as (context, server):
        line = Line(server.address)
        page = opened(context, line.address)
        trouble = Trouble(line, server, longest, draw)
        trouble.start()
        turns = itertools.cycle(itertools.product(KINDS, PORTIONS))
        while len(pressed) < count:
            number = len(pressed)
            try:
                if number % 3 == 2:
                    page.evaluate(NOTE, f"press {number}")
                    pressed.append(("note", "", f"press {number}"))
                else:
                    kind, portion = next(turns)
                    page.evaluate(PICK, portion)
                    page.evaluate(PRESSED, KINDS[kind])
                    pressed.append((kind, portion, ""))
            except Error:  # a part of the page is being drawn again: nothing was pressed
                time.sleep(0.5)
                continue
            time.sleep(draw.uniform(0.3, 3))
            if draw.random() < 0.04:
                closed += 1
                page.close()
                page = opened(context, line.address)
        trouble.stop()
        line.mend()
        last = time.monotonic()
        sent(page)
        waited = time.monotonic() - last
        page.wait_for_timeout(3_000)
        line.close()
    with Journal.open(folder) as journal:
        made = [e for e in journal.batch(CODE).of(Event) if e.press]
        sound = journal.check() == ()
    by_time = [(e.record.kind, e.record.portion, e.record.note) for e in made]
    in_row = [(e.record.kind, e.record.portion, e.record.note) for e in sorted(made, key=lambda e: e.id)]
    lost = sum(max(0, pressed.count(one) - in_row.count(one)) for one in set(pressed))
    doubled = sum(max(0, in_row.count(one) - pressed.count(one)) for one in set(in_row))
    delays = sorted((e.recorded_at - e.at).total_seconds() for e in made)
    print(f"{len(pressed)} presses in {time.monotonic() - begun:.0f} s; {trouble.done}, {closed} tabs closed;")
    print(f"line or server away for {trouble.seconds_cut:.0f} s; the last was kept {waited:.1f} s after the end")
    print(f"lost {lost}, doubled {doubled}; in order of coming {in_row == pressed}, of time {by_time == pressed}")
    print(f"from press to the journal's row: median {statistics.median(delays):.2f} s, most {delays[-1]:.1f} s")
    print(f"the journal's check is {'clean' if sound else 'NOT CLEAN'}", flush=True)


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--pace", type=int, default=40)
    options.add_argument("--cuts", type=int, default=200)
    options.add_argument("--longest", type=float, default=60)
    options.add_argument("--seed", type=int, default=1)
    asked = options.parse_args()
    draw = random.Random(asked.seed)
    print(f"seed {asked.seed}, load {os.getloadavg()[0]:.1f}", flush=True)
    with sync_playwright() as play:
        if asked.pace:
            pace(play, asked.pace, draw)
        if asked.cuts:
            under_cuts(play, asked.cuts, asked.longest, draw)
    print(f"load at the end {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
