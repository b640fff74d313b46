"""What every room's tests share: a fresh journal."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from pathlib import Path

import pytest

from curejournal.journal.store import Journal
from tests.new_journal import made_once

POSTGRESQL = os.environ.get("CUREJOURNAL_TEST_PG_URL", "").replace("postgresql+psycopg:", "postgresql:")
"""A database to try: everything runs on it too, each test in a schema of its own."""


@pytest.fixture(scope="session", autouse=True)
def new_journals_are_made_once() -> Iterator[None]:
    """See `tests/new_journal.py`."""
    with made_once():
        yield


@pytest.fixture
def postgresql_url() -> Iterator[str]:
    """An empty database on the server, if there is one to try."""
    if not POSTGRESQL:
        pytest.skip("no PostgreSQL server to try: CUREJOURNAL_TEST_PG_URL is not set")
    import psycopg

    schema = f"test_{secrets.token_hex(6)}"
    with psycopg.connect(POSTGRESQL, autocommit=True) as server:
        server.execute(f"CREATE SCHEMA {schema}")
        yield f"{POSTGRESQL}?options=-csearch_path%3D{schema}"
        server.execute(f"DROP SCHEMA {schema} CASCADE")


@pytest.fixture(params=["sqlite", "postgresql"] if POSTGRESQL else ["sqlite"])
def database_url(request: pytest.FixtureRequest) -> str | None:
    """None for SQLite in the journal's folder."""
    return request.getfixturevalue("postgresql_url") if request.param == "postgresql" else None


@pytest.fixture
def same_database(database_url: str | None, monkeypatch: pytest.MonkeyPatch) -> None:
    """The command line finds the journal's database where the test's journal has it."""
    if database_url:
        monkeypatch.setenv("CUREJOURNAL_DATABASE_URL", database_url)


@pytest.fixture
def journal(tmp_path: Path, database_url: str | None) -> Iterator[Journal]:
    """A fresh journal in its own folder."""
    with Journal.open(tmp_path / "journal", url=database_url) as fresh:
        yield fresh


@pytest.fixture
def kept(journal: Journal, monkeypatch: pytest.MonkeyPatch) -> Iterator[Journal]:
    """A journal of three batches for pictures of `tests/rolls.py`, and whole after the test."""
    from curejournal.photo import analysis
    from curejournal.workflow.photos import adding, commit, importing
    from tests.rolls import analysed_once, three_batches

    # In all, so that another process that is sent it by its name finds the one that it wraps.
    for module in (adding, analysis, commit, importing):
        monkeypatch.setattr(module, "analyse", analysed_once)
    three_batches(journal)
    yield journal
    assert journal.check() == ()


def pytest_addoption(parser: pytest.Parser) -> None:
    """Walk everything in every size of window; else a long walk is walked in the size that its mark names."""
    parser.addoption("--every-size", action="store_true", help="long walks in the browser on desktop and phone")


FIRST = ("test_form.py", "test_hostile.py", "test_demo.py", "test_intake_kill.py", "test_find_chart.py")
"""The longest files: begun last, one process would still be at them when the others have nothing left to do."""

QUICK = ("base", "batch", "colour", "judging", "materials", "soap")
"""Rooms whose tests are arithmetic; `pytest -m quick` runs them while something is changed."""


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Give each test its step (see `markers` in pyproject.toml), and leave out what tells nothing more."""

    def told_elsewhere(item: pytest.Item) -> bool:
        mark = item.get_closest_marker("mostly")
        asked = getattr(item, "callspec", None)
        return mark is not None and asked is not None and asked.params.get("size", mark.args[0]) != mark.args[0]

    if not config.getoption("every_size"):
        items[:] = [item for item in items if not told_elsewhere(item)]
    items.sort(key=lambda item: item.path.name not in FIRST)
    for item in items:
        room = Path(item.nodeid).parts[1]
        if room == "ui" and "browser" in getattr(item, "fixturenames", ()):
            item.add_marker("walk")
        elif "postgresql" in item.name and room != "journal":
            item.add_marker("again")
        elif room in QUICK:
            item.add_marker("quick")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print the figures that tests measured, whichever worker ran them."""
    for report in (*terminalreporter.getreports("passed"), *terminalreporter.getreports("failed")):
        for name, value in report.user_properties:
            if name == "figures":
                terminalreporter.write_line(f"\n{value}")
