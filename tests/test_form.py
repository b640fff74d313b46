"""Form: the same linter, formatter and type checker by hand, here and in CI."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent


@pytest.mark.parametrize(
    "command",
    [["ruff", "check", "."], ["ruff", "format", "--check", "."], ["mypy"]],
    ids=["lint", "format", "types"],
)
def test_form_holds(command: list[str]) -> None:
    done = subprocess.run([sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
