"""The recipes of DEVELOPERS.md are followed to the letter in a copy of the package; its tours name what is there."""

from __future__ import annotations

import importlib
import os
import re
import shutil
import subprocess
import sys
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from curejournal.photo.card import read_card
from curejournal.photo.measure.measurement import measure
from curejournal.photo.read.picture_file import read_photo
from tests.house import photo_steps
from tests.scenes import draw_card

ROOT = Path(__file__).resolve().parent.parent
GUIDE = (ROOT / "DEVELOPERS.md").read_text("utf-8")
BLOCKS = [
    re.sub(r"^  ", "", block, flags=re.MULTILINE)
    for block in re.findall(r"^  ```\w+\n(.*?)^  ```$", GUIDE, re.MULTILINE | re.DOTALL)
]


def block(beginning: str) -> str:
    (found,) = (one for one in BLOCKS if one.startswith(beginning))
    return found


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the package, to be changed."""
    skip = shutil.ignore_patterns("__pycache__", "fonts", "*.pot")
    shutil.copytree(ROOT / "curejournal", tmp_path / "curejournal", ignore=skip)
    (tmp_path / "curejournal/documents/fonts").symlink_to(ROOT / "curejournal/documents/fonts")
    return tmp_path


def run(copy: Path, code: str) -> str:
    """What a program prints that uses the copy."""
    environment = os.environ | {"PYTHONPATH": f"{copy}{os.pathsep}{ROOT}", "HOME": str(copy)}
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=copy, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr[-3000:]
    return done.stdout


def command(copy: Path, *words: str) -> str:
    """What a command says, be it a refusal."""
    environment = os.environ | {"PYTHONPATH": str(copy), "HOME": str(copy)}
    whole = [sys.executable, "-m", "curejournal", *words]
    done = subprocess.run(whole, cwd=copy, env=environment, capture_output=True, text=True, check=False)
    return done.stdout + done.stderr


def add_line(copy: Path, recipe: str, before: str) -> None:
    """Put the line of a recipe into the list that it names."""
    head, _, line = recipe.partition("\n")
    path = copy / head.rpartition(" in ")[2]
    text = path.read_text("utf-8")
    assert text.count(before) == 1
    path.write_text(text.replace(before, line + before), "utf-8")


def add_file(copy: Path, recipe: str) -> None:
    head, _, body = recipe.partition("\n")
    (copy / head.removeprefix("# ")).write_text(body, "utf-8")


def test_a_card_is_one_file(copy: Path) -> None:
    (copy / "curejournal/photo/cards/mine.toml").write_text(block("name = "), "utf-8")
    assert '"mine"' in command(copy, "card", "mine", "--json")
    assert "mine" in run(copy, "from curejournal.photo.card import built_in_cards; print(built_in_cards())")


def test_the_card_of_the_recipe_is_drawn_found_and_measured() -> None:
    """With five patches and a marker more, as it says."""
    card = read_card(block("name = "))
    (one,), (marker,) = card.patches, card.markers
    patches = [
        replace(one, id=f"patch {k}", x=20.0 + 10 * k, srgb=(200 - 25 * k, 100, 40 + 25 * k), role="") for k in range(6)
    ]
    patches = [replace(patch, lab_d50=(55.0 - 5 * k, 30.0 - 9 * k, 40.0 - 15 * k)) for k, patch in enumerate(patches)]
    more = [replace(marker, id=k, x=x, y=y) for k, x, y in ((1, 86.0, 2.0), (2, 86.0, 46.0), (3, 2.0, 46.0))]
    whole = replace(card, patches=tuple(patches), markers=(marker, *more))
    found = measure(read_photo(draw_card(whole, exposure_ev=-0.3).jpeg), whole)
    assert found.found and [area.name for area in found.areas] == ["window"]


def test_a_check_is_one_file(copy: Path) -> None:
    add_file(copy, block("# curejournal/judging/checks/"))
    said = run(
        copy,
        "from datetime import UTC, datetime\n"
        "from curejournal.batch.records import Batch\n"
        "from curejournal.judging.judgement import judge\n"
        "from curejournal.ui.components.glossary import CHECK_WORDS\n"
        "found = {one.check: one for one in judge(Batch('B-1', ''), datetime(2026, 5, 1, tzinfo=UTC)).findings}\n"
        "print(found['cut'].words, CHECK_WORDS['cut'])",
    )
    assert said.strip() == "nobody noted the cut The cut is noted."


def test_a_page_is_one_file_and_its_line(copy: Path) -> None:
    add_file(copy, block("# curejournal/ui/pages/"))
    add_line(copy, block("# a line of PAGES"), '    Page(msg("Help"), "help"')
    shown = run(
        copy,
        "import os; os.environ['CUREJOURNAL_FOLDER'] = os.getcwd() + '/journal'\n"
        "from tests.ui.pages import app, text_of\n"
        "at = app('traced'); assert not at.exception, at.exception; print(text_of(at))",
    )
    assert "The journal holds 0 batches." in shown


def test_a_measured_quantity_is_one_line(copy: Path) -> None:
    add_line(copy, block("# a line of KINDS"), "    )\n}\n")
    said = [
        command(copy, *words.split(), *more, "--journal", "journal")
        for words, *more in (
            ("batch start B-1 --name Oat --by Ana",),
            ("batch reading B-1", "air pressure", "1013", "--by", "Ana"),
            ("batch reading B-1", "air pressure", "2000", "--by", "Ana"),
        )
    ]
    assert "air pressure 1013" in said[1]
    assert "1100" in said[2], "what cannot be is refused with the bounds"


TOURS = re.findall(r"^\|[^|]*\|? ?`((?:photo|workflow|batch|journal|judging)\.[\w.]+)` \|", GUIDE, re.MULTILINE)


@pytest.mark.parametrize("name", TOURS)
def test_the_functions_of_the_tours_are_there(name: str) -> None:
    module, _, function = name.rpartition(".")
    try:
        assert callable(getattr(importlib.import_module(f"curejournal.{module}"), function))
    except ModuleNotFoundError:
        module, _, owner = module.rpartition(".")
        assert callable(getattr(getattr(importlib.import_module(f"curejournal.{module}"), owner), function))


def test_the_tour_of_a_photo_is_the_way_that_it_goes() -> None:
    passed = [f"{step.module}.{step.function}" for step in photo_steps()]
    tour = TOURS[: TOURS.index("workflow.photos.commit.commit") + 1]
    places = [passed.index(name) for name in tour]
    assert places == sorted(places), tour


def test_the_example_card_is_read() -> None:
    assert tomllib.loads(block("name = "))["name"] == "mine"
