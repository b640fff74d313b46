"""Which use cases write into the journal, found in the source, and which functions of the app call them."""

from __future__ import annotations

import ast
import importlib
import inspect
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from types import FunctionType
from typing import Any

import curejournal
from curejournal.journal.ledger import Ledger

ROOT = Path(curejournal.__file__).parent


def _functions(room: str) -> Iterator[tuple[str, ast.FunctionDef]]:
    """Every function at the top of a module of a room, with the module's name."""
    for path in sorted((ROOT / room).rglob("*.py")):
        module = ".".join(path.relative_to(ROOT.parent).with_suffix("").parts).removesuffix(".__init__")
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef):
                yield module, node


def _journal_methods() -> set[str]:
    """The methods of a journal that write: those that begin a write, or call one that does."""
    methods = {name: inspect.getsource(method) for name, method in inspect.getmembers(Ledger, inspect.isfunction)}
    writing = {"_writing"}
    while more := {n for n, text in methods.items() if any(f"self.{w}(" in text for w in writing)} - writing:
        writing |= more
    return writing


def _named(module: Any, node: ast.expr) -> Any:
    """What a name or a chain of attributes stands for in a module; None if that is nothing of the module's."""
    if isinstance(node, ast.Name):
        return getattr(module, node.id, None)
    if isinstance(node, ast.Attribute):
        before = _named(module, node.value)
        return None if before is None else getattr(before, node.attr, None)
    return None


def _called(module: str, function: ast.FunctionDef) -> set[str]:
    """The use cases that a function names, by module and name."""
    at = importlib.import_module(module)
    found = (_named(at, node) for node in ast.walk(function) if isinstance(node, (ast.Name, ast.Attribute)))
    return {
        f"{one.__module__}:{one.__name__}"
        for one in found
        if isinstance(one, FunctionType) and one.__module__.startswith("curejournal.workflow")
    }


def _writes(function: ast.FunctionDef, methods: set[str]) -> bool:
    return any(
        isinstance(node, ast.Attribute) and node.attr in methods and "journal" in ast.unparse(node.value)
        for node in ast.walk(function)
    )


@cache
def writing_use_cases() -> frozenset[str]:
    """Every function of the workflow that writes into a journal, or calls one that does."""
    methods, writing = _journal_methods(), set[str]()
    calls = {}
    for module, function in _functions("workflow"):
        name = f"{module}:{function.name}"
        calls[name] = _called(module, function)
        if _writes(function, methods):
            writing.add(name)
    while more := {name for name, called in calls.items() if called & writing} - writing:
        writing |= more
    return frozenset(writing)


@cache
def pressed_in_the_app() -> dict[str, set[str]]:
    """The use cases that write and that the app calls, each with the functions of the app that call it."""
    pressed: dict[str, set[str]] = {}
    for module, function in _functions("ui"):
        for name in _called(module, function) & writing_use_cases():
            pressed.setdefault(name.removeprefix("curejournal.workflow."), set()).add(f"{module}:{function.name}")
    return pressed
