"""README and DEVELOPERS.md are true: every command, page, card and room is in them, and their links lead somewhere."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from curejournal.cli import command_names
from curejournal.photo.card import built_in_cards
from curejournal.ui.frame import all_pages
from curejournal.ui.page import Page

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")


@pytest.mark.parametrize("command", command_names())
def test_every_command_is_in_the_readme(command: str) -> None:
    assert f"`curejournal {command}" in README


@pytest.mark.parametrize("page", [page for page in all_pages().values() if page.listed], ids=lambda page: page.slug)
def test_every_page_is_in_the_readme(page: Page) -> None:
    assert f"| *{page.title}* |" in README


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
