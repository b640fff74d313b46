"""The checks: one module each, which ends in `CHECK = Check(...)`. Adding a check is adding a file.

Verdict, page, glossary and papers read `CHECKS`.
"""

from __future__ import annotations

from importlib import import_module
from pkgutil import iter_modules

from curejournal.judging.findings import Check

CHECKS: tuple[Check, ...] = tuple(
    sorted(
        (import_module(f"{__name__}.{module.name}").CHECK for module in iter_modules(__path__)),
        key=lambda check: check.rank,
    )
)
"""Every check, those of safety first."""

NEEDED = tuple(check.name for check in CHECKS if check.needed)
SAFETY = tuple(check.name for check in CHECKS if check.safety)
"""Checks without which nobody can know, and those whose hold is one of safety."""
