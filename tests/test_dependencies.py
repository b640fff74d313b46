"""Each package that is imported is declared, is in the lock, and what is leaned on inside has an upper bound."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
LOCK = (ROOT / ".ci" / "requirements.lock").read_text("utf-8")


def plain(name: str) -> str:
    """A package's name as indexes compare it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def declared(lines: list[str]) -> dict[str, str]:
    """Packages and their bounds."""
    parts = [re.fullmatch(r"([A-Za-z0-9._-]+)(?:\[[^]]*\])?(.*)", line) for line in lines]
    return {plain(part[1]): part[2] for part in parts if part}


NEEDED = declared(PROJECT["dependencies"])
SERVER = declared(PROJECT["optional-dependencies"]["postgresql"])


def imported() -> set[str]:
    """The packages that the program imports, by the names under which they are installed."""
    trees = (ast.parse(path.read_text("utf-8")) for path in (ROOT / "curejournal").rglob("*.py"))
    nodes = [node for tree in trees for node in ast.walk(tree)]
    names = {alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names}
    names |= {str(node.module) for node in nodes if isinstance(node, ast.ImportFrom) and node.level == 0}
    tops = {name.partition(".")[0] for name in names} - {"curejournal"} - sys.stdlib_module_names
    installed = packages_distributions()
    return {plain(next(one for one in (*installed.get(top, ()), top) if "contrib" not in one)) for top in tops}


def test_what_is_imported_is_declared() -> None:
    assert imported() <= NEEDED.keys() | SERVER.keys()


@pytest.mark.parametrize(("name", "bounds"), (NEEDED | SERVER).items())
def test_what_is_declared_is_in_the_lock_within_its_bounds(name: str, bounds: str) -> None:
    found = re.search(rf"^{name}(?:\[[^]]*\])?==([0-9.]+)", LOCK, re.MULTILINE)
    assert found, f"{name} is not in .ci/requirements.lock: run .ci/lock"
    version = tuple(map(int, found[1].split(".")))
    for sign, number in re.findall(r"(>=|<)([0-9.]+)", bounds):
        bound = tuple(map(int, number.split(".")))
        assert version >= bound if sign == ">=" else version < bound


@pytest.mark.parametrize("name", ["streamlit", "starlette", "uvicorn", "h11"])
def test_what_is_leaned_on_inside_has_an_upper_bound(name: str) -> None:
    assert "<" in NEEDED[name]


def test_every_typeface_lies_beside_its_licence() -> None:
    fonts = ROOT / "curejournal" / "documents" / "fonts"
    files = [path for kind in ("*.ttf", "*.otf", "*.woff2") for path in fonts.rglob(kind)]
    assert len(files) > 30
    for path in files:
        family = re.match("[A-Z][a-z]+", path.stem.title() if path.stem.islower() else path.stem)
        assert family
        assert "SIL OPEN FONT LICENSE" in (fonts / f"OFL-{family[0]}.txt").read_text("utf-8").upper()
