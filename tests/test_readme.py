"""What is written of the program is true: commands, pages, cards and rooms are there, and links lead somewhere."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from curejournal.cli import command_names
from curejournal.photo.card import built_in_cards
from curejournal.ui.frame import all_pages
from curejournal.ui.page import WAYS, Page
from tests import commands

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")
PAGES = (ROOT / ".docs" / "pages.md").read_text("utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))


def test_the_page_of_commands_is_that_of_today() -> None:
    assert commands.PAGE.read_text("utf-8") == commands.page(), "write it again: python -m tests.commands"


def test_every_command_that_the_readme_names_is_one() -> None:
    named = re.findall(r"(?:^    |`|bin/)curejournal ((?:[a-z][a-z-]* ?){1,2})", README, re.MULTILINE)
    assert len(named) > 8
    for words in named:
        assert {words.strip(), words.split(" ")[0]} & set(command_names()), words


@pytest.mark.parametrize("page", [page for page in all_pages().values() if page.listed], ids=lambda page: page.slug)
def test_every_page_is_described(page: Page) -> None:
    assert f"| *{page.title}* |" in PAGES


@pytest.mark.parametrize("way", WAYS)
def test_every_way_through_the_app_is_in_the_readme(way: str) -> None:
    assert f"*{way}*" in README


def test_a_photo_is_measured_from_python_as_the_readme_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "photo.jpg").write_bytes((ROOT / "sample_images" / "chamomile-1.jpg").read_bytes())
    monkeypatch.chdir(tmp_path)
    (code,) = re.findall("```python\n(.*?)```", README, re.DOTALL)
    exec(code, {})
    assert "window" in capsys.readouterr().out


def test_on_a_package_index_no_link_of_the_readme_leads_nowhere() -> None:
    shown, rules = README, PROJECT["tool"]["hatch"]["metadata"]["hooks"]["fancy-pypi-readme"]
    assert rules["fragments"] == [{"path": "README.md"}]
    for rule in rules["substitutions"]:
        shown = re.sub(rule["pattern"], rule["replacement"], shown)
    assert len(shown) > 0.8 * len(README)
    assert re.findall(r"\]\((?!https://)[^)]*\)", shown) == []


@pytest.mark.parametrize("card", built_in_cards())
def test_every_card_is_in_the_readme(card: str) -> None:
    assert f"`{card}`" in README


def test_the_first_paragraph_states_the_job() -> None:
    first = README.split("\n\n")[1]
    for word in ("photo", "soap", "cure", "colour", "ready", "hold"):
        assert word in first


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_links_and_pictures_lead_somewhere(text: str) -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", text):
        assert target.startswith("https://") or (ROOT / target).exists(), target


def test_both_set_up_commands_stand_in_the_readme() -> None:
    lines = [line.strip() for line in README.splitlines() if line.startswith("    python3 -m venv")]
    assert len(lines) == 2
    assert lines[0].endswith("curejournal demo")
    assert lines[1].endswith("pytest")


@pytest.mark.parametrize(
    "room", sorted(p.name for p in (ROOT / "curejournal").iterdir() if (p / "__init__.py").exists())
)
def test_every_room_is_on_the_map(room: str) -> None:
    assert f"`{room}/`" in DEVELOPERS
