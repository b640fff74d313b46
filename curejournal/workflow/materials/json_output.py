"""What all batches say, as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from curejournal import workflow
from curejournal.materials.effects import Effect
from curejournal.materials.expectation import Expected
from curejournal.materials.history import Use
from curejournal.workflow.materials.analysis import MaterialReport, Planned, Which


def material_as_json(report: MaterialReport) -> dict[str, Any]:
    """The same as plain data, use by use."""
    return {
        "material": report.history.material,
        "kind": report.history.kind,
        "uses": [_use_as_json(use) for use in report.history.uses],
        "expected": _expected_as_json(report.expected),
        "effect": _effect_as_json(report.effect) if report.effect else None,
    }


def _expected_as_json(expected: Expected) -> dict[str, Any]:
    return {
        "batches": expected.batches,
        "turn": expected.turn._asdict() if expected.turn else None,
        "back": workflow.as_json(expected.back) if expected.back else None,
        "journey": [
            {"day": day, **interval._asdict()} for day, interval in zip(expected.days, expected.difference, strict=True)
        ],
        "beyond_doses": expected.beyond_doses,
        "words": expected.words,
        "lot": expected.lot or None,
        "new_lot": expected.new_lot or None,
        "lots": [{"lot": one.lot, "portions": one.portions, "turn": list(one.turn)} for one in expected.lots],
    }


def _use_as_json(use: Use) -> dict[str, Any]:
    story = use.story
    return {
        "batch": story.batch,
        "portion": story.portion,
        "poured_at": story.poured_at.isoformat() if story.poured_at else None,
        "lot": use.ingredient.lot,
        "grams": use.ingredient.grams,
        "dose_pct": use.ingredient.dosage.of_oils_pct,
        "dose_of_portion_pct": use.ingredient.dosage.of_portion_pct,
        "dose_of_soap_pct": list(use.ingredient.dosage.of_soap_pct),
        "turn": story.turn._asdict() if story.turn else None,
        "turn_days": story.turn_days,
        "back_days": list(story.back_days) if story.back_days else None,
        "outcome": story.outcome,
        "end_lab": list(story.end_lab) if story.end_lab else None,
        "end_difference": story.end_difference._asdict() if story.end_difference else None,
        "trace": story.trace,
        "trace_minutes": story.trace_minutes,
        "photos": list(story.photos),
    }


def _effect_as_json(effect: Effect) -> dict[str, Any]:
    return asdict(effect) | {"per_pct": effect.per_pct._asdict(), "at_usual_dose": effect.at_usual_dose._asdict()}


def which_as_json(answer: Which) -> dict[str, Any]:
    """The answer as plain data."""
    found = answer.found
    return {
        "what": answer.what,
        "portions": found.portions,
        "doses_are": "% of the portion's batter",
        "portions_with_estimated_batter": answer.estimated,
        "base": found.base._asdict(),
        "noise": found.noise._asdict(),
        "effects": [_effect_as_json(effect) for effect in found.effects],
        "test_pours": [
            asdict(pour)
            | {"if_it_did": pour.if_it_did._asdict(), "if_not": pour.if_not._asdict(), "decides": pour.decides}
            for pour in found.test_pours
        ],
        "lots": [
            {
                "material": one.material,
                "changed": one.changed,
                "largest_change": one.largest_change._asdict(),
                "between": list(one.between),
                "lots": [
                    {"lot": lot.lot, "portions": lot.portions, "per_pct": lot.per_pct._asdict()} for lot in one.lots
                ],
            }
            for one in found.lots
        ],
        "left_out": list(answer.left_out),
    }


def planned_as_json(plans: Sequence[Planned]) -> list[dict[str, Any]]:
    """The same as plain data."""
    return [
        {
            "portion": plan.portion,
            "turn": plan.turn._asdict() if plan.turn else None,
            "changed_with_lot": [one.material for one in plan.changed],
            "materials": [
                {"material": name, "expected": _expected_as_json(expected) if expected else None}
                for name, expected in plan.materials
            ],
        }
        for plan in plans
    ]
