"""Import at the first use: a package whose names stand under `if TYPE_CHECKING:` costs nothing until one is needed."""

from __future__ import annotations

import ast
import importlib
import sys
from collections.abc import Callable
from importlib.machinery import ModuleSpec
from typing import Any


def attach(package: str) -> Callable[[str], Any]:
    """Give a package's `__getattr__` (PEP 562).

    What the package imports `from` its modules under `if TYPE_CHECKING:` is imported when it is first asked for, and
    so is any module of the package. Type checkers and import rules read the same lines.

    Parameters
    ----------
    package : str
        The package's `__name__`.
    """
    places: dict[str, tuple[str, str]] = {}

    def find(name: str) -> Any:
        if not places:
            places.update(_places(package))
        if name in places:
            module, inner = places[name]
            value = getattr(importlib.import_module(module), inner)
        else:
            try:
                value = importlib.import_module(f"{package}.{name}")
            except ModuleNotFoundError as fault:
                if fault.name != f"{package}.{name}":
                    raise
                raise AttributeError(f"module {package!r} has no attribute {name!r}") from None
        setattr(sys.modules[package], name, value)
        return value

    return find


class Module:
    """A module that is imported when something in it is first asked for; safe between threads, as imports are."""

    def __init__(self, name: str) -> None:
        self._name = name

    def __getattr__(self, name: str) -> Any:
        return getattr(importlib.import_module(self._name), name)


def _places(package: str) -> dict[str, tuple[str, str]]:
    """Where each name of a package comes from: module and name there."""
    spec: ModuleSpec | None = sys.modules[package].__spec__
    source = spec.loader.get_source(package) if spec and spec.loader else ""  # type: ignore[attr-defined]
    return {
        alias.asname or alias.name: (str(node.module), alias.name)
        for block in ast.parse(source).body
        if isinstance(block, ast.If) and ast.unparse(block.test) == "TYPE_CHECKING"
        for node in block.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
