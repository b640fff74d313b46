"""Use cases of showing a batch: its pictures in true colour, cut to the soap, made once and then read."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

from curejournal.batch.records import Batch, ColourReading, PhotoNote
from curejournal.documents.pictures import jpeg
from curejournal.documents.soap_pictures import View, soap_picture
from curejournal.documents.true_colour import Seen
from curejournal.journal.store import Journal

Cut = Literal["wide", "square", "soap", "whole"]
ASPECTS: dict[Cut, float | None] = {"wide": 4 / 3, "square": 1.0, "soap": None, "whole": None}
MADE = 1
"""Raised when pictures are made otherwise, so that earlier ones are not taken for them."""


@dataclass(frozen=True)
class Shown:
    """A photo of a batch as it is shown: when it was taken, and by what its colours are true.

    `balance` is *measured* (its own card), *soap* (the soap's measured colour of that day), or *none*: then it is shown
    as it was taken.
    """

    sha256: str
    at: datetime
    balance: Literal["measured", "soap", "none"]
    view: View
    caption: str = ""
    portions: tuple[str, ...] = ()

    def around(self, portion: str) -> Shown:
        """The same, cut around one portion where not all fit."""
        if portion not in self.portions or len(self.view.seen) != len(self.portions):
            return self
        return replace(self, view=replace(self.view, focus=self.view.seen[self.portions.index(portion)].outline))

    @property
    def words(self) -> str:
        """By what its colours are true, in words."""
        return {"measured": "In true colour", "soap": "Balanced by the soap", "none": "As it was taken"}[self.balance]


def shown_photos(batch: Batch) -> tuple[Shown, ...]:
    """Every photo of a batch, in order of time, as it is shown."""
    notes: dict[str, PhotoNote] = {}
    readings: dict[str, list[ColourReading]] = {}
    at: dict[str, datetime] = {}
    for entry in batch.entries:
        if entry.photo and isinstance(entry.record, (PhotoNote, ColourReading)):
            at.setdefault(entry.photo, entry.at)
            if isinstance(entry.record, PhotoNote):
                notes[entry.photo] = entry.record
            else:
                readings.setdefault(entry.photo, []).append(entry.record)
    found = []
    for sha256, when in at.items():
        measured = readings.get(sha256, [])
        seen = tuple(Seen(one.outline, one.lab) for one in measured if one.outline)
        corners = next((one.corners for one in measured if len(one.corners) == 4), ())
        balance: Literal["measured", "none"] = "measured" if seen else "none"
        caption = notes[sha256].caption if sha256 in notes else ""
        names = tuple(one.portion for one in measured)
        found.append(Shown(sha256, when, balance, View(seen, corners), caption, names))
    return tuple(found)


def cover(photos: Sequence[Shown], portion: str = "") -> Shown | None:
    """Choose the picture that stands for a batch.

    The latest without a card, balanced by the soap; else the latest in true colour, of a portion if one is named; else
    the latest.
    """
    soap = [photo for photo in photos if photo.balance == "soap"]
    true = [photo for photo in photos if photo.balance == "measured"]
    of_portion = [photo for photo in true if portion in photo.portions]
    chosen = next(reversed(soap or of_portion or true or photos), None)
    return chosen.around(portion) if chosen else None


def comparable(photos: Sequence[Shown], portion: str) -> tuple[Shown, ...]:
    """Choose the photos that can be laid on each other: the most that show the same, the named portion among it."""
    groups: dict[tuple[str, ...], list[Shown]] = {}
    for photo in photos:
        if photo.balance == "measured" and portion in photo.portions:
            groups.setdefault(photo.portions, []).append(photo.around(portion))
    most: list[Shown] = max(groups.values(), key=len) if groups else []
    return tuple(most)


def true_picture(journal: Journal, shown: Shown, longest: int, cut: Cut = "wide") -> bytes:
    """Make a photo as it is shown, as a JPEG without any metadata.

    Raises
    ------
    NotAPicture, PictureDamaged, PictureTooLarge, JournalDamaged
    """
    known = hashlib.sha256(repr((MADE, shown.view)).encode()).hexdigest()[:12]
    return journal.derived(
        shown.sha256,
        f"true-{cut}-{longest}-{known}.jpg",
        lambda: jpeg(
            soap_picture(journal.photo_bytes(shown.sha256), shown.view, longest, ASPECTS[cut], whole=cut == "whole")
        ),
    )
