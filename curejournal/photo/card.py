"""A card is data: its geometry, its markers, its patches and what their colours are.

Coordinates in a card are millimetres, x to the right and y down, from the
card's own top left. Adding a card is adding one file to `cards/`.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from importlib import resources
from typing import Literal

from pydantic import TypeAdapter, ValidationError

from curejournal.colour.sample import Lab, Matrix3
from curejournal.errors import CureJournalError

ValuesKind = Literal["published", "measured", "enrolled", "nominal", "relative", "unknown"]


class CardDefinitionInvalid(CureJournalError):
    """A card file cannot be used as it stands."""


@dataclass(frozen=True)
class Rect:
    """A rectangle in mm: top left corner, width and height."""

    x: float
    y: float
    w: float
    h: float


@dataclass(frozen=True)
class Marker:
    """A square fiducial marker of an open dictionary (ArUco); x, y is its top left corner, size its black side."""

    dictionary: str
    id: int
    x: float
    y: float
    size: float


@dataclass(frozen=True)
class Patch:
    """A coloured field. `lab_d50` is its reference colour, if one is known, with its covariance; `srgb` what is printed."""

    id: str
    x: float
    y: float
    w: float
    h: float
    srgb: tuple[int, int, int]
    lab_d50: Lab | None = None
    covariance: Matrix3 | None = None
    role: Literal["", "white", "neutral"] = ""


@dataclass(frozen=True)
class Card:
    """A calibration card. `kind` says where the reference colours came from and so how far they may be trusted."""

    name: str
    size_mm: tuple[float, float]
    patches: tuple[Patch, ...]
    provenance: str
    kind: ValuesKind
    title: str = ""
    markers: tuple[Marker, ...] = ()
    window: Rect | None = None
    slots: dict[str, Rect] | None = None
    copy_id: str = ""
