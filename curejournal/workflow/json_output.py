"""Our values as plain data, for scripts."""

from __future__ import annotations

from typing import Any

from pydantic import TypeAdapter

from curejournal.base.messages import msg
from curejournal.photo.card import Card
from curejournal.photo.measure.measurement import Measurement


def as_json(value: Any) -> Any:
    """Any of our frozen values as plain JSON data."""
    return TypeAdapter(type(value)).dump_python(value, mode="json")


def card_as_json(card: Card) -> dict[str, Any]:
    """A whole card, so that anyone can draw it."""
    return {
        "name": card.name,
        "title": card.title,
        "kind": card.kind,
        "provenance": card.provenance,
        "copy_id": card.copy_id,
        "size_mm": list(card.size_mm),
        "markers": [as_json(marker) for marker in card.markers],
        "patches": [as_json(patch) for patch in card.patches],
        "window": as_json(card.window) if card.window else None,
        "slots": {name: as_json(slot) for name, slot in (card.slots or {}).items()},
    }


def measurement_as_json(measurement: Measurement) -> dict[str, Any]:
    """A measurement as the command line's contract has it; a colour that is not claimed is null."""
    return {
        "photo": {"width": measurement.width, "height": measurement.height, "taken_at": measurement.taken_at},
        "card": {
            "name": measurement.card,
            "kind": measurement.card_kind,
            "found": measurement.found,
            "corners": [list(corner) for corner in measurement.corners],
            "model": measurement.model,
            "error": measurement.card_error,
            "scale": msg("this card's own") if measurement.is_relative else msg("true colours"),
        },
        "grade": measurement.grade.value,
        "reasons": [as_json(reason) for reason in measurement.reasons],
        "areas": [
            {
                "name": area.name,
                "lab": list(area.sample.lab) if area.sample else None,
                "lab_sd": list(area.sample.sd) if area.sample else None,
                "lab_interval95": [list(pair) for pair in area.sample.interval95] if area.sample else None,
                "pixels": area.pixels,
                "grade": area.grade.value,
                "reasons": [as_json(reason) for reason in area.reasons],
                "outline": [list(point) for point in area.outline],
            }
            for area in measurement.areas
        ],
        "covariance": [list(row) for row in measurement.covariance],
    }
