"""The import rules in pyproject.toml hold."""

from importlinter.cli import lint_imports


def test_import_rules_hold() -> None:
    assert lint_imports() == 0
