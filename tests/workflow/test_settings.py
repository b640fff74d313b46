"""Settings are one typed model, read and written in one place."""

from __future__ import annotations

import ast
from datetime import UTC, datetime
from pathlib import Path

from curejournal.journal.store import Journal
from curejournal.judging.limits import Limits
from curejournal.workflow.settings import KEPT_AS, RecipeRules, Settings, change_settings, set_recipe_rules, settings_of

PACKAGE = Path(__file__).resolve().parents[2] / "curejournal"


def test_settings_come_back_as_they_were_set(journal: Journal) -> None:
    assert settings_of(journal) == Settings()
    asked = Settings(
        "Europe/Lisbon",
        "The invented shed",
        Limits(min_age_days=40),
        {"oat": RecipeRules({"min_age_days": 60.0}, "it is soft")},
        {"units": "oz and °F"},
        ("Ana", "Ben"),
        "/media/stick",
        datetime(2026, 5, 1, 12, tzinfo=UTC),
        0.5,
        "Asia/Tokyo",
    )
    change_settings(journal, **{name: getattr(asked, name) for name in KEPT_AS})
    assert settings_of(journal) == asked
    set_recipe_rules(journal, "rose", RecipeRules({}, "as all others"))
    assert set(settings_of(journal).rules_of_recipes) == {"oat", "rose"}


def test_what_another_version_kept_is_left_as_it_is_and_counts_as_usual(journal: Journal) -> None:
    journal.set_settings({"house rules": {"min_age_days": 1}, "people": 7, "place": "Shed", "of tomorrow": [1]})
    assert settings_of(journal) == Settings(place="Shed")
    assert journal.setting("of tomorrow") == [1]


def test_no_other_module_names_a_setting() -> None:
    asked = {"setting", "set_setting", "set_settings", "set_in"}
    for path in PACKAGE.rglob("*.py"):
        if path.is_relative_to(PACKAGE / "journal") or path == PACKAGE / "workflow" / "settings.py":
            continue
        called = {
            node.func.attr
            for node in ast.walk(ast.parse(path.read_text("utf-8")))
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
        }
        assert not called & asked, path
