"""The import rules in pyproject.toml hold, and each rule that is meant for all rooms but some names all the others."""

import tomllib
from pathlib import Path

import pytest
from importlinter.cli import lint_imports

ROOT = Path(__file__).resolve().parent.parent
CONTRACTS = {
    rule["name"]: rule
    for rule in tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["importlinter"]["contracts"]
}
# `python -m curejournal` is a way in, no room.
LAYERS = [one for one in CONTRACTS["Rooms are stacked, and data flows one way"]["layers"] if one != "__main__"]
ROOMS = {room.strip() for layer in LAYERS for room in layer.split("|")}


def test_import_rules_hold() -> None:
    assert lint_imports() == 0


def test_there_are_at_most_thirteen_rooms_on_eight_floors() -> None:
    assert len(ROOMS) <= 13
    assert len(LAYERS) <= 8


@pytest.mark.parametrize(
    ("rule", "exempt"),
    [
        ("Only journal speaks SQL", {"journal"}),
        ("Only ui speaks Streamlit", {"ui"}),
        (
            "The core knows neither screen, shelf nor lens",
            {"ui", "cli", "workflow", "auth", "documents", "journal", "photo"},
        ),
    ],
)
def test_a_rule_names_every_room_that_it_is_meant_for(rule: str, exempt: set[str]) -> None:
    assert {name.removeprefix("curejournal.") for name in CONTRACTS[rule]["source_modules"]} == ROOMS - exempt
