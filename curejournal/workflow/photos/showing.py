"""Use cases of showing a batch: its pictures in true colour, cut to the soap, made once and then read."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal

import numpy as np

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.batch.records import Batch, ColourReading, Entry, PhotoNote, PhotoView
from curejournal.batch.validation import check_record
from curejournal.colour.sample import Lab
from curejournal.documents.pictures import jpeg, shrunk
from curejournal.documents.soap_pictures import ASPECTS, Cut, View, gains_by, soap_picture
from curejournal.documents.soap_place import Outline, propose_place
from curejournal.documents.true_colour import GAINS, Seen
from curejournal.journal.store import Journal
from curejournal.photo.read.picture_file import read_photo
from curejournal.workflow.photos.lending import lent_balance

Balance = Literal["measured", "soap", "light", "none"]
SAME_LIGHT = timedelta(minutes=15)
"""Photos so close in time were taken in the same light. Ours: the sun moves by four degrees."""
SAME_MINUTE = timedelta(minutes=1)
"""Ours: within it two photos may be of the same light without anybody saying so, if all else agrees."""
PROPOSED_AT_PX = 640
"""The longer side of the picture in which a place is looked for. Ours."""
MADE = 2
"""Raised when pictures are made otherwise, so that earlier ones are not taken for them."""


class PlaceUnlikely(CureJournalError):
    """The place in a photo can hardly show the portion that it is said to show."""


@dataclass(frozen=True)
class Shown:
    """A photo of a batch as it is shown: when it was taken, and by what its colours are true.

    `balance` is *measured* (its own card), *soap* (the soap's measured colour of that day), *light* (the white balance
    of a photo with a card of the same minutes, by the maker's word; or its balance, if it is of the same minute and
    agrees by itself, see `agreed`), or *none*: then it is shown as it was taken.
    `light` names that photo, and what was measured in it; `minute` likewise one of the same minute, not yet looked at;
    `lent` are the factors that it lends.
    """

    sha256: str
    at: datetime
    balance: Balance
    view: View
    caption: str = ""
    portions: tuple[str, ...] = ()
    cover: bool = False
    light: tuple[str, tuple[Seen, ...]] | None = None
    minute: tuple[str, tuple[Seen, ...]] | None = None
    lent: Lab | None = None

    def around(self, portion: str) -> Shown:
        """The same, cut around one portion where not all fit."""
        if self.balance != "measured" or portion not in self.portions or len(self.view.seen) != len(self.portions):
            return self
        return replace(self, view=replace(self.view, focus=self.view.seen[self.portions.index(portion)].outline))

    @property
    def words(self) -> str:
        """By what its colours are true, in words."""
        return {
            "measured": "In true colour",
            "soap": "Balanced by the soap",
            "light": "In the light of a photo with the card",
            "none": "As it was taken",
        }[self.balance]


def shown_photos(batch: Batch) -> tuple[Shown, ...]:
    """Every photo of a batch, in order of time, as it is shown."""
    notes: dict[str, PhotoNote] = {}
    views: dict[str, PhotoView] = {}
    readings: dict[str, list[ColourReading]] = {}
    at: dict[str, datetime] = {}
    for entry in batch.entries:
        if entry.photo and isinstance(entry.record, (PhotoNote, PhotoView, ColourReading)):
            at.setdefault(entry.photo, entry.at)
            if isinstance(entry.record, PhotoNote):
                notes[entry.photo] = entry.record
            elif isinstance(entry.record, PhotoView):
                views[entry.photo] = entry.record
            else:
                readings.setdefault(entry.photo, []).append(entry.record)
    found = []
    for sha256, when in at.items():
        caption = notes[sha256].caption if sha256 in notes else ""
        asked = views.get(sha256, PhotoView())
        found.append(_shown(batch, sha256, when, readings.get(sha256, ()), asked, caption))
    alike = {sha256 for sha256, view in views.items() if view.same_light}
    return tuple(_in_light_of(photo, beside(photo, found), by_word=photo.sha256 in alike) for photo in found)


def _shown(
    batch: Batch, sha256: str, at: datetime, measured: Sequence[ColourReading], asked: PhotoView, caption: str
) -> Shown:
    seen = tuple(Seen(one.outline, one.lab) for one in measured if one.outline)
    corners = next((one.corners for one in measured if len(one.corners) == 4), ())
    names = tuple(one.subject for one in measured)
    balance: Balance = "measured" if seen else "none"
    lab = colour_of_that_day(batch, asked.portion, at) if asked.place and not seen else None
    if lab is not None:
        seen, names, balance = (Seen(asked.place, lab),), (asked.portion,), "soap"
    view = View(seen, corners, asked.crop, asked.turn_deg, close=balance == "measured")
    return Shown(sha256, at, balance, view, caption, names, asked.cover)


def colour_of_that_day(batch: Batch, portion: str, at: datetime) -> Lab | None:
    """Give a portion's measured colour at a time, between its readings; None without any."""
    known = [(when.timestamp(), one.lab) for when, one in batch.records(ColourReading) if one.subject == portion]
    if not known:
        return None
    times, labs = zip(*known, strict=True)
    lab = [float(np.interp(at.timestamp(), times, column)) for column in zip(*labs, strict=True)]
    return lab[0], lab[1], lab[2]


def beside(photo: Shown, photos: Sequence[Shown]) -> Shown | None:
    """Find the photo with a card that was taken nearest to one without, within minutes."""
    near = [one for one in photos if one.balance == "measured" and abs(one.at - photo.at) <= SAME_LIGHT]
    return min(near, key=lambda one: abs(one.at - photo.at), default=None)


def _in_light_of(photo: Shown, other: Shown | None, *, by_word: bool) -> Shown:
    """Give a photo without a card the white balance of one with a card, or name one that may lend its balance."""
    if other is None or photo.balance != "none":
        return photo
    found = (other.sha256, other.view.seen)
    if by_word:
        return replace(photo, balance="light", light=found)
    return replace(photo, minute=found) if abs(other.at - photo.at) <= SAME_MINUTE else photo


def agreed(journal: Journal, shown: Shown) -> Shown:
    """Lend a photo the balance of one with a card of the same minute, where camera, exposure and soap agree.

    Nothing is measured by it; see `lending.lent_balance`. Worked out once, and then read.
    """
    if shown.minute is None:
        return shown
    other, seen = shown.minute

    def made() -> bytes:
        gains = lent_balance(journal.photo_bytes(shown.sha256), journal.photo_bytes(other), seen)
        return json.dumps(None if gains is None else gains.tolist()).encode()

    known = hashlib.sha256(repr((MADE, shown.minute)).encode()).hexdigest()[:12]
    try:
        gains = json.loads(journal.derived(shown.sha256, f"lent-{known}.json", made))
    except CureJournalError:  # one of the two cannot be read: whoever shows it says so
        return shown
    return shown if gains is None else replace(shown, balance="light", lent=(gains[0], gains[1], gains[2]))


def likely_place(journal: Journal, batch: Batch, photo: Shown, portion: str) -> Outline | None:
    """Propose where a portion may be in a photo without a card; None where nothing is like it."""
    lab = colour_of_that_day(batch, portion, photo.at)
    if lab is None:
        return None
    original = read_photo(journal.photo_bytes(photo.sha256))
    small = shrunk(original, PROPOSED_AT_PX)
    return propose_place(small, lab, original.width / small.shape[1])


def keep_view(journal: Journal, code: str, sha256: str, view: PhotoView, *, by: str, now: datetime) -> Entry:
    """Keep how a photo of a batch is shown; an earlier way stays in the history, and the same is not kept twice.

    Raises
    ------
    ImpossibleRecord, NotInJournal
    PlaceUnlikely
        If the place can hardly show that portion.
    """
    batch = journal.batch(code)
    if view.place:
        _require_likely(journal, batch, sha256, view)
    of_photo = [entry for entry in batch.entries if entry.photo == sha256]
    at = of_photo[0].at if of_photo else now
    check_record(batch, view, at, now=now)
    before = next((entry for entry in of_photo if isinstance(entry.record, PhotoView)), None)
    if before is not None and before.record == view:
        return before
    return journal.add(code, view, at=at, by=by, supersedes=before.id if before else None, photo=sha256)


def _require_likely(journal: Journal, batch: Batch, sha256: str, view: PhotoView) -> None:
    """Refuse a place that cannot be the portion: it would have to be far brighter or darker, or of another colour."""
    at = next((entry.at for entry in batch.entries if entry.photo == sha256), None)
    lab = colour_of_that_day(batch, view.portion, at) if at else None
    if lab is None:
        return  # told by the record's own check
    gains = gains_by(read_photo(journal.photo_bytes(sha256)), (Seen(view.place, lab),))
    if gains is None:
        raise PlaceUnlikely(
            msg(
                "{portion} is too dark to set the balance of a photo: what shines on it would count as its colour.",
                portion=view.portion,
            ),
            msg("Choose a lighter portion."),
        )
    if (gains < GAINS[0]).any() or (gains > GAINS[1]).any():
        raise PlaceUnlikely(
            msg("The place that was marked is too far from {portion} as it was measured.", portion=view.portion),
            msg("Mark evenly lit soap of that portion, or choose another one."),
        )


def cover(photos: Sequence[Shown], portion: str = "") -> Shown | None:
    """Choose the picture that stands for a batch.

    What the maker chose; else the latest without a card, balanced by the soap; else the latest in true colour, of a
    portion if one is named; else the latest.
    """
    chosen = [photo for photo in photos if photo.cover]
    soap = chosen or [photo for photo in photos if photo.balance == "soap"]
    true = [photo for photo in photos if photo.balance == "measured"]
    of_portion = [photo for photo in true if portion in photo.portions]
    stands = next(reversed(soap or of_portion or true or photos), None)
    return stands.around(portion) if stands else None


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
    known = hashlib.sha256(repr((MADE, shown.view, shown.light, shown.lent)).encode()).hexdigest()[:12]

    def made() -> bytes:
        light = None if shown.lent is None else np.array(shown.lent)
        if shown.light is not None:
            light = gains_by(read_photo(journal.photo_bytes(shown.light[0])), shown.light[1])
            light = None if light is None else light / float(light[1])  # its white balance, not its exposure
        data = journal.photo_bytes(shown.sha256)
        return jpeg(soap_picture(data, shown.view, longest, ASPECTS[cut], whole=cut == "whole", light=light))

    return journal.derived(shown.sha256, f"true-{cut}-{longest}-{known}.jpg", made)
