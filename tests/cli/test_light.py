"""A light command starts at once: it imports nothing heavy that it does not need. No clock; imports are counted."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import get_args

import pytest

from curejournal import workflow
from curejournal.cli.commands import COMMANDS, GROUPS, RENAMED, command_names, help_of
from curejournal.cli.options import PAPERS
from curejournal.journal.store import Journal

# What Typer itself stands on (pydantic) is not counted.
HEAVY = {"numpy", "scipy", "cv2", "PIL", "skimage", "pandas", "streamlit", "altair", "pyarrow", "sqlalchemy", "alembic"}
HEAVY |= {
    "fpdf",
    "fontTools",
    "uharfbuzz",
    "babel",
    "icalendar",
    "jinja2",
    "rich",
    "segno",
    "threadpoolctl",
}
PHOTO = Path(__file__).resolve().parents[2] / "sample_images" / "chamomile-1.jpg"


def imported(*arguments: str, code: str = "from curejournal.cli import main; main()") -> set[str]:
    """The heavy packages that a command imports."""
    code = (
        "import atexit, sys\n"
        "atexit.register(lambda: print('\\nIMPORTED', *{name.partition('.')[0] for name in sys.modules}))\n" + code
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    return HEAVY & set(done.stdout.rpartition("IMPORTED")[2].split())


@pytest.mark.parametrize("arguments", ["--help", "--version", "batch --help", "journal -h", "people --help"])
def test_help_imports_nothing_heavy(arguments: str) -> None:
    assert imported(*arguments.split()) == set()


@pytest.mark.parametrize(
    ("arguments", "needed"),
    [
        (f"measure {PHOTO} --card window --json", {"numpy", "scipy", "cv2", "PIL"}),
        ("card chart24 --json", {"numpy", "scipy", "cv2", "PIL"}),
    ],
    ids=["measure", "card"],
)
def test_measuring_imports_what_measures(
    arguments: str, needed: set[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CUREJOURNAL_JOURNAL", str(tmp_path / "none"))
    assert imported(*arguments.split()) <= needed


def test_the_first_page_imports_nothing_heavy_but_what_serves_it_and_keeps_the_journal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CUREJOURNAL_JOURNAL", str(tmp_path / "journal"))
    Journal.open(tmp_path / "journal").close()
    drawn = "from curejournal.ui import frame; frame.load_pages = lambda: None; frame.run()"
    assert imported(code=drawn) == {"streamlit", "sqlalchemy"}


@pytest.mark.parametrize("name", command_names())
def test_every_command_s_help_is_a_sentence_of_its_own(name: str) -> None:
    assert help_of(name).endswith((".", "?"))


def test_papers_are_those_that_are_printed() -> None:
    assert get_args(workflow.Paper) == PAPERS


def test_every_command_has_one_place_and_every_old_name_leads_to_one() -> None:
    assert sum(map(len, COMMANDS.values())) == len(command_names())
    assert {name.split(" ")[0] for name in command_names() if " " in name} == set(GROUPS)
    assert set(RENAMED.values()) <= set(command_names())
    assert not set(RENAMED) & set(command_names())
