"""Records of the workshop itself, which belong to no batch."""

from __future__ import annotations

from dataclasses import dataclass

from curejournal.base.messages import msg
from curejournal.batch.stock import MaterialLot as MaterialLot
from curejournal.batch.stock import RoomLog as RoomLog
from curejournal.colour.sample import Lab, Matrix3


@dataclass(frozen=True)
class PhotoAnswers:
    """What the maker said about a photo; what is None or empty was not said. The last of a photo counts.

    `of_batch` is a code; `taken_at` an ISO 8601 time with its offset; `areas` are outlines by portion, in pixels of the
    upright picture, `corners` those of the card `corners_of`; `window` is the one portion that the whole window shows;
    `confirmed` are the questions that were waved through, `chosen` the answers to others; `aside` is why the photo is
    none of the journal's. `after` is the last entry that had named the photo when its batch was said.
    """

    of_batch: str = ""
    taken_at: str = ""
    portions: tuple[str, ...] | None = None
    areas: tuple[tuple[str, tuple[tuple[float, float], ...]], ...] | None = None
    colour: bool | None = None
    confirmed: tuple[str, ...] = ()
    aside: str = ""
    after: int = 0
    window: str = ""
    corners: tuple[tuple[float, float], ...] = ()
    caption: str = ""
    chosen: tuple[tuple[str, str], ...] | None = None
    corners_of: str = ""


@dataclass(frozen=True)
class StripKeyStep:
    """One colour of a pH strip's key: its pH, its CIELAB colour (D50/2) and that colour's covariance."""

    ph: float
    lab: Lab
    covariance: Matrix3


@dataclass(frozen=True)
class StripKeyEnrolled:
    """The key on a packet of pH strips, as measured by the card `card`; the last of a name counts."""

    name: str
    lot: str
    card: str
    steps: tuple[StripKeyStep, ...]


@dataclass(frozen=True)
class TagId:
    """What tells this journal's batch tags from another journal's; the first one counts, for ever."""

    written: str


@dataclass(frozen=True)
class ContactErased:
    """The words kept of a contact were erased on request; entries that name its number stay."""

    contact: int
    why: str


WorkshopRecord = PhotoAnswers | StripKeyEnrolled | TagId | ContactErased | MaterialLot | RoomLog

WORKSHOP_RECORDS: dict[str, type[WorkshopRecord]] = {
    msg("photo answers"): PhotoAnswers,
    msg("strip key"): StripKeyEnrolled,
    msg("tag id"): TagId,
    msg("contact erased"): ContactErased,
    msg("material lot"): MaterialLot,
    msg("room log"): RoomLog,
}
"""The kinds of records that belong to no batch, by the names under which they are kept."""
