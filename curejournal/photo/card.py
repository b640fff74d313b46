"""A card is data: its geometry, its markers, its patches and what their colours are.

Coordinates in a card are millimetres, x to the right and y down, from the
card's own top left. Adding a card is adding one file to `cards/`.
"""

from __future__ import annotations

import difflib
import math
import tomllib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, fields
from importlib import resources
from typing import Any, Literal

import numpy as np
import tomli_w
from numpy.typing import NDArray
from pydantic import TypeAdapter, ValidationError

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg
from curejournal.colour.sample import Lab, Matrix3

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

    def inset(self, share: float) -> Rect:
        """The rectangle less a share of its width and height on each side."""
        return Rect(
            self.x + self.w * share, self.y + self.h * share, self.w * (1 - 2 * share), self.h * (1 - 2 * share)
        )


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
    """A coloured field: `srgb` is what is printed, `lab_d50` its colour, if one is known, with its covariance."""

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
    """A calibration card. `kind` says where the reference colours came from and so how far they may be trusted.

    `shared_covariance` is the error that all its reference colours have in common (brightness at the enrolment, say),
    which no patch of it can tell. `made_of` is what its colours are made of, where that tells something of what is
    beside it (`curejournal.colour.metamerism`).
    """

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
    shared_covariance: Matrix3 | None = None
    made_of: Literal["", "printing inks", "paint"] = ""

    @property
    def references(self) -> tuple[Patch, ...]:
        """The patches whose colour is known."""
        return tuple(patch for patch in self.patches if patch.lab_d50 is not None)

    @property
    def glow(self) -> float:
        """By how much its paper is bluer, in b*, than paper is without a brightener, which daylight makes glow."""
        whites = [patch.lab_d50[2] for patch in self.references if patch.role == "white" and patch.lab_d50]
        if self.made_of != "printing inks" or self.kind not in ("measured", "enrolled") or not whites:
            return 0.0
        return max(0.0, UNBRIGHTENED - sum(whites) / len(whites))

    @property
    def white_only(self) -> bool:
        """Whether this is no more than a sheet of white or grey."""
        return 0 < len(self.references) < 6 and all(patch.role for patch in self.references)

    def corner_points(self) -> tuple[tuple[float, float], ...]:
        """The card's own corners in mm, clockwise from its top left."""
        w, h = self.size_mm
        return ((0.0, 0.0), (w, 0.0), (w, h), (0.0, h))


# Ours: paper is bluer by dye and brightener alone. From memory, ISO 12647-2:2013: b* -6 coated, -10 uncoated.
UNBRIGHTENED = -1.0
_CARD = TypeAdapter(Card)
# Similarity of a misspelt name to a field's, ours: "windw" and "titel" are nearly one of them, "source" is not.
NEARLY = 0.8
MARKER_DICTIONARIES = ("4X4_50", "4X4_100", "4X4_250", "5X5_50", "5X5_100", "6X6_50", "APRILTAG_36h11")


def built_in_cards() -> tuple[str, ...]:
    """The names of the cards that come with the program.

    Returns
    -------
    tuple of str
    """
    folder = resources.files("curejournal.photo") / "cards"
    return tuple(sorted(item.name.removesuffix(".toml") for item in folder.iterdir() if item.name.endswith(".toml")))


def built_in_card_text(name: str) -> str:
    """The definition of a built-in card.

    Parameters
    ----------
    name : str

    Returns
    -------
    str
        TOML.

    Raises
    ------
    CardDefinitionInvalid
        If there is none of this name.
    """
    if name not in built_in_cards():
        raise CardDefinitionInvalid(
            msg("There is no card named “{name}”.", name=name),
            msg(
                "Use one of {built_in_cards}, or the path of a card file ending in .toml.",
                built_in_cards=join(", ", built_in_cards()),
            ),
        )
    return (resources.files("curejournal.photo") / "cards" / f"{name}.toml").read_text("utf-8")


def read_card(text: str) -> Card:
    """A card from the text of its definition file (TOML; the fields are those of `Card`).

    Parameters
    ----------
    text : str
        TOML.

    Returns
    -------
    Card

    Raises
    ------
    CardDefinitionInvalid
        With the first fault that was found, in words.
    """
    if len(text) > 1_000_000:
        raise _invalid(msg("it is far too long"))
    try:
        given = tomllib.loads(text)
        card = _CARD.validate_python(given)
    except ValidationError as fault:
        first = fault.errors(include_url=False)[0]
        raise _invalid(
            msg("{place}: {fault}", place=".".join(str(part) for part in first["loc"]), fault=first["msg"])
        ) from fault
    except (ValueError, RecursionError) as fault:  # no TOML, numbers of thousands of digits, endless nesting
        raise _invalid(str(fault)) from fault
    fault_found = _misspelt(given) or _fault_in(card)
    if fault_found:
        raise _invalid(fault_found)
    return card


def centres_of(patches: Sequence[Patch | Rect]) -> NDArray[np.float64]:
    """The middles of patches or other rectangles (N, 2), in mm.

    Parameters
    ----------
    patches : sequence of Patch or Rect

    Returns
    -------
    ndarray of shape (N, 2)
        x, y in mm from the card's own top left.
    """
    return np.array([[patch.x + patch.w / 2, patch.y + patch.h / 2] for patch in patches])


def card_text(card: Card) -> str:
    """The definition file of a card; `read_card` gives the same card back, its colours to four decimals.

    Parameters
    ----------
    card : Card

    Returns
    -------
    str
        TOML.
    """
    fields = _CARD.dump_python(card, exclude_none=True, exclude_defaults=True)
    for patch in fields["patches"]:
        if "lab_d50" in patch:
            patch["lab_d50"] = [round(value, 4) for value in patch["lab_d50"]]
    for place, name in ((fields, "shared_covariance"), *((patch, "covariance") for patch in fields["patches"])):
        if name in place:
            place[name] = [[round(value, 5) for value in row] for row in place[name]]
    return tomli_w.dumps(fields)


def _invalid(fault: str) -> CardDefinitionInvalid:
    return CardDefinitionInvalid(
        msg("The card file cannot be used: {fault}.", fault=fault),
        msg("Correct the file; DEVELOPERS.md describes its fields."),
    )


def _misspelt(given: dict[str, Any]) -> str:
    """A field that is nearly one of ours: left out unseen, it would change what is measured. Others are anybody's."""
    tables = [
        (given, Card),
        *((one, Patch) for one in given["patches"]),
        *((one, Marker) for one in given.get("markers", ())),
    ]
    for table, kind in tables:
        known = [field.name for field in fields(kind)]
        for name in table.keys() - set(known):
            if near := difflib.get_close_matches(name, known, n=1, cutoff=NEARLY):
                return msg("{name} is no field of it; did you mean {near}?", name=name, near=near[0])
    return ""


def _fault_in(card: Card) -> str:
    """What is wrong with a definition in itself, or an empty text."""
    if not all(1 <= side <= 2000 for side in card.size_mm):
        return msg("size_mm must be between 1 and 2000 mm")
    if not 1 <= len(card.patches) <= 2000:
        return msg("it needs between 1 and 2000 patches")
    ids = Counter(patch.id for patch in card.patches)
    twice = next((name for name, count in ids.items() if count > 1), None)
    if twice is not None:
        return msg("two patches have the id {id}", id=f"{twice!r}")
    places: list[Rect | Patch] = [*card.patches, *([card.window] if card.window else []), *(card.slots or {}).values()]
    outside = next((place for place in places if not _is_inside(place, card.size_mm)), None)
    if outside is not None:
        return msg("{place} is not inside the card", place=getattr(outside, "id", "the window or a slot"))
    faults = (*map(_patch_fault, card.patches), *(_marker_fault(marker, card.size_mm) for marker in card.markers))
    return next((fault for fault in faults if fault), "")


def _is_inside(place: Rect | Patch, size_mm: tuple[float, float]) -> bool:
    """Whether a rectangle has an area and lies on the card, to a hundredth of a millimetre."""
    right, bottom = place.x + place.w, place.y + place.h
    if not all(map(math.isfinite, (place.x, place.y, place.w, place.h))) or place.w <= 0 or place.h <= 0:
        return False
    return place.x >= 0 and place.y >= 0 and right <= size_mm[0] + 0.01 and bottom <= size_mm[1] + 0.01


def _patch_fault(patch: Patch) -> str:
    if any(not 0 <= value <= 255 for value in patch.srgb):
        return msg("srgb of {id} must be three numbers from 0 to 255", id=patch.id)
    if patch.lab_d50 is None:
        return ""
    lightness, a, b = patch.lab_d50
    if not (0 <= lightness <= 105 and abs(a) <= 150 and abs(b) <= 150):
        return msg("lab_d50 of {id} is not a possible surface colour", id=patch.id)
    return ""


def _marker_fault(marker: Marker, size_mm: tuple[float, float]) -> str:
    if marker.dictionary not in MARKER_DICTIONARIES:
        return msg("marker dictionary must be one of {names}", names=join(", ", MARKER_DICTIONARIES))
    if not (marker.size > 0 and 0 <= marker.x <= size_mm[0] and 0 <= marker.y <= size_mm[1]):
        return msg("marker {id} is not inside the card", id=marker.id)
    return ""
