"""A real browser against a real server: both are started once."""

from __future__ import annotations

import os
import signal
import socket
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from streamlit.components.v2 import manifest_scanner

from curejournal import workflow
from curejournal.batch.records import Event, Portion, Weighing
from curejournal.journal.store import Journal
from curejournal.workflow import demo, photos
from tests.ui.journals import NOW, small_journal, three_batches
from tests.ui.served import started
from tests.ui.steps import profile

# Each run of a page without a browser looks through all installed packages for components: a third of its time.
manifest_scanner.scan_component_manifests = cache(manifest_scanner.scan_component_manifests)

CHROMIUM = os.environ.get("CUREJOURNAL_CHROMIUM", "/usr/bin/chromium")
UI = Path(workflow.__file__).parents[1] / "ui"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
]
SIZES: dict[str, dict[str, Any]] = {
    "desktop": {"viewport": {"width": 1280, "height": 800}},
    "phone": {"viewport": {"width": 360, "height": 780}, "is_mobile": True, "has_touch": True},
}


@pytest.fixture(scope="session")
def browser_type_launch_args() -> dict[str, Any]:
    if not Path(CHROMIUM).is_file():
        reason = f"There is no browser at {CHROMIUM}: install Debian's chromium, or set CUREJOURNAL_CHROMIUM."
        if os.environ.get("CI") == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    return {"executable_path": CHROMIUM, "args": FLAGS}


@dataclass(frozen=True)
class App:
    """A running app: its address, the folder of its journal and, where it is read, what it wrote to the terminal."""

    address: str
    folder: Path
    terminal: Path | None = None


def is_there(process: int) -> bool:
    """Whether a process goes on."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True


@contextmanager
def apps_in(folders: pytest.TempPathFactory) -> Iterator[Callable[..., App]]:
    """Starts an app on a journal, forked or afresh as a maker's own is; all are ended at the end."""
    servers: list[int] = []

    def start(folder: Path, *, afresh: bool = False, **more: str) -> App:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        command = ["curejournal.ui.server", str(port)]
        environment = {**os.environ, "CUREJOURNAL_JOURNAL": str(folder), **more}
        log = folders.mktemp("log")
        server = started(command, UI, environment, log, afresh=afresh)
        servers.append(server)
        address = f"http://127.0.0.1:{port}"
        for _ in range(600):
            assert is_there(server), "the server ended at once"
            try:
                with urllib.request.urlopen(f"{address}/_stcore/health", timeout=1):
                    return App(address, folder, log / "out")
            except OSError:
                time.sleep(0.1)
        pytest.fail("the server did not answer within a minute")

    yield start
    for server in servers:
        if is_there(server):
            os.killpg(server, signal.SIGTERM)
    for server in servers:
        for _ in range(200):
            if not is_there(server):
                break
            time.sleep(0.1)
        else:
            os.killpg(server, signal.SIGKILL)


@pytest.fixture(scope="session")
def start_lasting_app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[..., App]]:
    """Starts an app that all tests look at."""
    with apps_in(tmp_path_factory) as start:
        yield start


@pytest.fixture
def start_app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[..., App]]:
    """Starts an app for one test: left running, each would go on asking the processor for its share."""
    with apps_in(tmp_path_factory) as start:
        yield start


@pytest.fixture(scope="session")
def full_app(start_lasting_app: Callable[..., App], tmp_path_factory: pytest.TempPathFactory) -> App:
    """The small journal, an enrolled card, and a batch of each size of window that was really photographed."""
    folder = small_journal(tmp_path_factory.mktemp("full"))
    pictures = demo.pictures_folder()
    with Journal.open(folder) as journal:
        card, chart = workflow.find_card("window"), workflow.find_card("chart24")
        beside = [(pictures / f"enrol-{number}.jpg").read_bytes() for number in (1, 2, 3)]
        workflow.enrol_card(journal, card, beside, chart, "W-01")
        enrolled = workflow.find_card("W-01", journal)
        for size in SIZES:
            code = f"C-{size}"
            portion = Portion("chamomile", 0, (88.0, 0.0, 19.0))
            poured = workflow.when_taken((pictures / "chamomile-1.jpg").read_bytes(), "", NOW.tzinfo)
            assert poured is not None
            workflow.start_batch(journal, code, "Chamomile", at=poured, by="Ann", now=NOW, records=[portion])
            workflow.enter(journal, code, Event("poured"), at=poured, by="Ann", now=NOW)
            weighed = poured + timedelta(days=1)
            workflow.enter(journal, code, Weighing("bar 1", 130.0), at=weighed, by="Ann", now=NOW)
            for number in (1, 2, 3):
                data = (pictures / f"chamomile-{number}.jpg").read_bytes()
                name = f"chamomile-{number}.jpg"
                photos.add_photo(
                    journal, code, photos.Source(name, lambda data=data: data), enrolled, by="Ann", now=NOW
                )
    return start_lasting_app(folder)


@pytest.fixture(scope="session")
def empty_app(start_lasting_app: Callable[..., App], tmp_path_factory: pytest.TempPathFactory) -> App:
    return start_lasting_app(tmp_path_factory.mktemp("empty"))


@pytest.fixture(params=SIZES)
def size(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(scope="session")
def page_of(browser: Any) -> Iterator[Callable[[str], Any]]:
    """One page for each size: what it has loaded and compiled once it need not again, as a new one would have to."""
    opened = {size: profile(browser, **settings, accept_downloads=True) for size, settings in SIZES.items()}
    pages: dict[str, Any] = {}

    def page(size: str) -> Any:
        if size not in pages or pages[size].is_closed():
            pages[size] = opened[size].new_page()
        return pages[size]

    yield page
    for context in opened.values():
        context.close()


@pytest.fixture
def window(page_of: Callable[[str], Any], size: str) -> Iterator[Any]:
    """A page of the browser in each size; it asked no other computer for anything, and this one for nothing in vain."""
    page = page_of(size)
    asked: set[str] = set()
    faults: list[str] = []
    heard: dict[str, Callable[[Any], None]] = {
        "request": lambda request: asked.add(request.url),
        "websocket": lambda socket: asked.add(socket.url),
        "response": lambda answer: faults.append(f"{answer.status} {answer.url}") if answer.status >= 400 else None,
        "pageerror": lambda fault: faults.append(str(fault)),
        "console": lambda said: faults.append(said.text) if "Content Security Policy" in said.text else None,
    }
    for event, hear in heard.items():
        page.on(event, hear)
    yield page
    if not page.is_closed():
        page.emulate_media(color_scheme="light")
        page.goto("about:blank")
        for event, hear in heard.items():
            page.remove_listener(event, hear)
    hosts = {urlsplit(url).hostname for url in asked if urlsplit(url).scheme in ("http", "https", "ws", "wss")}
    assert hosts <= {"127.0.0.1"}, "a request went to another computer"
    assert not faults


@pytest.fixture
def app(start_app: Callable[..., App], tmp_path: Path) -> App:
    """An app on a journal of its own, of three batches."""
    return start_app(three_batches(tmp_path))


@pytest.fixture(autouse=True)
def own_main() -> Iterator[None]:
    """Put the main module back: a script under test takes its place, and processes started later would look for it."""
    main = sys.modules["__main__"]
    yield
    sys.modules["__main__"] = main


@pytest.fixture
def small(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = small_journal(tmp_path / "small")
    monkeypatch.setenv("CUREJOURNAL_JOURNAL", str(folder))
    return folder


@pytest.fixture
def empty(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("CUREJOURNAL_JOURNAL", str(tmp_path / "empty"))
    return tmp_path / "empty"
