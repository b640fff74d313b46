"""Records of the workshop's stock and its room, which belong to no batch."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

LotKind = Literal["oil", "alkali", "acid", "liquid", "fragrance", "pigment", "other", "packaging"]


@dataclass(frozen=True)
class MaterialLot:
    """A lot of a material as it was received: from whom, when, how it was accepted, how long it keeps.

    `on_hand_g` is what is left of it, if that is followed. `inci` and `allergens` are as the supplier's documents state
    them. The last entry of a material and lot counts.
    """

    material: str
    lot: str
    kind: LotKind = "other"
    supplier: str = ""
    received: date | None = None
    opened: date | None = None
    best_before: date | None = None
    accepted_by: str = ""
    accepted_how: str = ""
    on_hand_g: float | None = None
    inci: str = ""
    allergens: str = ""


@dataclass(frozen=True)
class RoomLog:
    """Readings of the cure room out of a logger's file: (when, °C, % relative humidity), in order of time."""

    source: str
    readings: tuple[tuple[datetime, float | None, float | None], ...]
