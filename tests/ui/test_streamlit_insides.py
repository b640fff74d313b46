"""What we lean on of Streamlit's insides is still there; what is not is named, with the line that leans on it.

Look here first after Streamlit was raised. Its style classes and test ids are in `ui/app.css` and in scripts, its
page in `ui/shell.py`; uvicorn's connection, which is no public part of it either, is in `auth/connections.py`.
"""

from __future__ import annotations

import ast
import importlib
import re
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import pytest
from streamlit.file_util import get_static_dir

ROOT = Path(__file__).parents[2] / "curejournal"
PUBLIC = {"streamlit", "streamlit.testing.v1", "streamlit.errors"}
INNER = ("streamlit", "uvicorn", "h11")


def leaned_on() -> dict[str, str]:
    """Each class and test id of Streamlit's page, with the first line that names it."""
    found: dict[str, str] = {}
    for path in sorted(path for kind in ("*.css", "*.js") for path in (ROOT / "ui").rglob(kind)):
        for number, line in enumerate(path.read_text("utf-8").splitlines(), 1):
            for one in re.findall(r"(?:data-testid=\\?\"|\.)(st[A-Z]\w+(?:-\w+)?|InputInstructions)", line):
                found.setdefault(one, f"{path.relative_to(ROOT)}:{number}")
    return found


@cache
def words() -> frozenset[str]:
    """Every word of Streamlit's own scripts."""
    scripts = (path.read_text("utf-8") for path in Path(get_static_dir()).rglob("*.js"))
    return frozenset(word for script in scripts for word in re.findall(r"[\w-]*(?:st[A-Z]|Input)[\w-]*", script))


@pytest.mark.parametrize(("name", "where"), leaned_on().items())
def test_streamlits_page_still_has_what_our_styles_name(name: str, where: str) -> None:
    assert any(re.search(rf"\b{name}\b", word) for word in words()), (
        f"Streamlit's page has no {name} any more, which {where} leans on"
    )


def imports() -> list[tuple[str, str, str]]:
    """Each name that is taken from an inner module of the server: module, name, and where."""
    return [
        (str(node.module), alias.name, f"{path.relative_to(ROOT)}:{node.lineno}")
        for path in sorted(ROOT.rglob("*.py"))
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.ImportFrom) and node.module and node.module.partition(".")[0] in INNER
        if node.module not in PUBLIC
        for alias in node.names
    ]


@pytest.mark.parametrize(("module", "name", "where"), imports())
def test_the_server_still_has_what_we_take_from_inside_it(module: str, name: str, where: str) -> None:
    there = hasattr(importlib.import_module(module), name) or find_spec(f"{module}.{name}")
    assert there, f"{module} has no {name} any more, which {where} leans on"


KNOWING = {"auth/connections.py", "auth/handshakes.py", "ui/lan.py", "ui/server.py", "ui/shell.py"}
UPLOAD = ("streamlit.runtime.uploaded_file_manager", "UploadedFile")
"""What a file field gives: Streamlit names it in its documentation, and has no public place for its type."""


def test_few_places_know_the_insides() -> None:
    places = {where.partition(":")[0] for module, name, where in imports() if (module, name) != UPLOAD}
    assert places <= KNOWING, "keep it in one of the places that know them"


def test_streamlits_page_is_as_our_shell_changes_it() -> None:
    page = Path(get_static_dir(), "index.html").read_text("utf-8")
    for part in ("<head>", "<title>Streamlit<", "favicon.png"):
        assert part in page, f"ui/shell.py changes {part} in Streamlit's page, which is not there any more"
