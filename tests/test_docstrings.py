"""Public functions of the core say what goes in and what comes out: numpydoc, with shapes and units."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

PACKAGE = Path(__file__).resolve().parent.parent / "curejournal"
ROOMS = ("colour", "photo", "soap", "judging")
_SECTION = re.compile(r"\n\n(\w+)\n-{3,}\n")


def _functions() -> Iterator[tuple[str, ast.FunctionDef]]:
    for room in ROOMS:
        for path in sorted((PACKAGE / room).rglob("*.py")):
            for node in ast.parse(path.read_text("utf-8")).body:
                if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                    yield f"{path.relative_to(PACKAGE).as_posix()} {node.name}", node


FUNCTIONS = dict(_functions())


def _sections(node: ast.FunctionDef) -> dict[str, str]:
    """The sections of a docstring by their headings."""
    parts = _SECTION.split(ast.get_docstring(node) or "")
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def _listed(section: str) -> dict[str, str]:
    """What a section lists, each name with all that is said of it."""
    found: dict[str, str] = {}
    for item in re.split(r"\n(?=\S)", section):
        head, _, _ = item.partition("\n")
        names, _, _ = head.partition(" : ")
        found |= {name.strip().lstrip("*"): item for name in names.split(",")}
    return found


def test_every_parameter_and_result_is_described() -> None:
    told = {name: list(_undescribed(name)) for name in FUNCTIONS}
    assert {name: these for name, these in told.items() if these} == {}


def _undescribed(name: str) -> Iterator[str]:
    node, sections = FUNCTIONS[name], _sections(FUNCTIONS[name])
    arguments = node.args
    every = [*arguments.posonlyargs, *arguments.args, *arguments.kwonlyargs]
    every += [arguments.vararg] if arguments.vararg else []
    listed = _listed(sections.get("Parameters", ""))
    yield from (f"{one.arg} is not described" for one in every if one.arg not in listed)
    yield from (f"there is no {one}" for one in listed if one and one not in {one.arg for one in every})
    nothing = node.returns is None or ast.unparse(node.returns) == "None"
    if not nothing and not {"Returns", "Yields"} & set(sections):
        yield "what comes back is not described"


def test_arrays_have_their_shape_said() -> None:
    told = {name: list(_without_shape(name)) for name in FUNCTIONS}
    assert {name: these for name, these in told.items() if these} == {}


def _without_shape(name: str) -> Iterator[str]:
    arguments, sections = FUNCTIONS[name].args, _sections(FUNCTIONS[name])
    arrays = re.compile(r"\b(Array|ArrayLike|Floats|NDArray|Ints|Mask)\b")
    listed = _listed(sections.get("Parameters", ""))
    for one in [*arguments.posonlyargs, *arguments.args, *arguments.kwonlyargs]:
        annotation = ast.unparse(one.annotation) if one.annotation else ""
        if arrays.match(annotation) and not re.search(r"shape|\(", listed.get(one.arg, "")):
            yield f"{one.arg} has no shape"
    returns = ast.unparse(FUNCTIONS[name].returns or ast.Constant(None))
    if arrays.match(returns) and not re.search(r"shape|\(", sections.get("Returns", "")):
        yield "what comes back has no shape"
