"""How long and how tangled each function is; and statements that should be plainer.

Run: python -m tests.form
"""

from __future__ import annotations

import ast
import copy
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

PACKAGE = Path(__file__).resolve().parent.parent / "curejournal"
MOST_LINES, MOST_DECISIONS = 60, 15
DUPLICATE_FROM = 900
"""Characters of two statements, as `ast.dump` writes them: some five lines. Shorter ones are idioms."""

_DECISIONS = (ast.If, ast.For, ast.While, ast.ExceptHandler, ast.IfExp, ast.Assert, ast.comprehension, ast.match_case)
_FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef)


@dataclass(frozen=True)
class Measured:
    """A function, its lines with signature but without docstring, and its decisions."""

    name: str
    lines: int
    decisions: int

    @property
    def key(self) -> str:
        """Its file and name, which stay when lines move."""
        place, _, name = self.name.partition(" ")
        return f"{place.partition(':')[0].removeprefix('curejournal/')} {name}"


def measured() -> Iterator[Measured]:
    """Each function of the package."""
    for path, tree in _trees():
        for node in ast.walk(tree):
            if isinstance(node, _FUNCTIONS):
                first = node.body[0]
                doc = first.end_lineno - first.lineno + 1 if ast.get_docstring(node) is not None else 0
                lines = node.end_lineno - node.lineno + 1 - doc
                yield Measured(f"{path}:{node.lineno} {node.name}", lines, _decisions(node))


def _decisions(function: ast.AST) -> int:
    """One way through, and one more for each condition, loop, handler, comprehension and part of and, or."""
    count = 1
    for node in ast.walk(function):
        if isinstance(node, _DECISIONS):
            count += 1
        if isinstance(node, ast.comprehension):
            count += len(node.ifs)
        if isinstance(node, ast.BoolOp):
            count += len(node.values) - 1
    return count


def nested_ternaries() -> Iterator[str]:
    """Conditional expressions within one another: a reader has to count colons."""
    for path, tree in _trees():
        for node in ast.walk(tree):
            if isinstance(node, ast.IfExp):
                inner = [part for part in (node.body, node.orelse, node.test) if isinstance(part, ast.IfExp)]
                if inner:
                    yield f"{path}:{node.lineno}"


def ternary_statements() -> Iterator[str]:
    """Conditional expressions and `and`, `or` whose value nobody takes: they are an if."""
    for path, tree in _trees():
        for node in ast.walk(tree):
            if isinstance(node, ast.Expr) and isinstance(node.value, (ast.IfExp, ast.BoolOp)):
                yield f"{path}:{node.lineno}"


def duplicates() -> Iterator[tuple[str, str]]:
    """Pairs of statements, one after the other, that stand in two places, whatever their names and constants are."""
    seen: dict[str, str] = {}
    for path, tree in _trees():
        for body in (node.body for node in ast.walk(tree) if isinstance(getattr(node, "body", None), list)):
            steps = [
                one for one in body if not isinstance(one, (*_FUNCTIONS, ast.ClassDef, ast.Import, ast.ImportFrom))
            ]
            for first, second in pairwise(steps):
                shape = _shape(first) + _shape(second)
                place = f"{path}:{first.lineno}"
                if len(shape) < DUPLICATE_FROM or "/migrations/" in path:
                    continue
                if shape in seen:
                    yield seen[shape], place
                seen.setdefault(shape, place)


def _shape(node: ast.AST) -> str:
    """A statement without its names and constants."""
    plain = _Plain().visit(copy.deepcopy(node))
    return ast.dump(plain)


class _Plain(ast.NodeTransformer):
    def visit_Name(self, node: ast.Name) -> ast.Name:
        return ast.Name("_", node.ctx)

    def visit_Constant(self, node: ast.Constant) -> ast.Constant:
        return ast.Constant(type(node.value).__name__)


def _trees() -> Iterator[tuple[str, ast.Module]]:
    for path in sorted(PACKAGE.rglob("*.py")):
        yield path.relative_to(PACKAGE.parent).as_posix(), ast.parse(path.read_text("utf-8"))


if __name__ == "__main__":
    for one in sorted(measured(), key=lambda one: -one.decisions):
        if one.decisions > MOST_DECISIONS or one.lines > MOST_LINES:
            print(f"{one.decisions:3} decisions {one.lines:3} lines  {one.name}")
    print("duplicates", *(" and ".join(pair) for pair in duplicates()), sep="\n  ")
    print("nested ternaries", *nested_ternaries(), sep="\n  ")
    print("ternaries as statements", *ternary_statements(), sep="\n  ")
