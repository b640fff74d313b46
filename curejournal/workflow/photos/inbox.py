"""The tray: photos that wait for the maker, and one call to place or correct each.

A photo waits as a kept photo that no entry names; why it waits follows from `sorting` each time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta, tzinfo

import cv2
import numpy as np

from curejournal.base.counting import how_many
from curejournal.base.errors import CureJournalError
from curejournal.batch.descriptions import describe
from curejournal.batch.records import (
    AlkaliTest,
    Batch,
    ColourReading,
    Entry,
    Event,
    PhotoNote,
    Record,
    SurfaceNote,
    Withdrawn,
)
from curejournal.colour.sample import Grade
from curejournal.documents import pictures
from curejournal.journal.store import Journal, KeptPhoto, NewEntry
from curejournal.photo.card import Card
from curejournal.photo.corrected_picture import CorrectedPicture, corrected_picture
from curejournal.photo.find.placement import Points, as_points
from curejournal.photo.measure.calibration import learn
from curejournal.photo.read.picture_file import Taken, read_photo, taken_from_name
from curejournal.photo.window.surface import Finding as Finding
from curejournal.workflow import find_card
from curejournal.workflow.photos.proposal import Question as Question
from curejournal.workflow.photos.proposal import (
    SeenColour,
    State,
    answers_to,
    as_setting,
    keep_answers,
    kept_look,
    sorted_out,
)
from curejournal.workflow.photos.proposal import TrayItem as TrayItem


class PhotoWaits(CureJournalError):
    """A photo that cannot be placed yet: something about it is still asked."""


@dataclass(frozen=True)
class Clock:
    """How a camera's clock is to be read: in which zone, and how far it was behind (its time plus this is right)."""

    zone: tzinfo
    behind: timedelta = field(default_factory=timedelta)

    def moment(self, taken: Taken) -> datetime:
        """When a photo was really taken."""
        local = taken.local + self.behind
        return (
            local.replace(tzinfo=self.zone)
            if taken.offset is None
            else datetime.fromisoformat(replace(taken, local=local).isoformat)
        )


# --- the tray ------------------------------------------------------------------------------


def tray(journal: Journal, card: Card, now: datetime) -> tuple[TrayItem, ...]:
    """Every photo that waits for the maker or was set aside, in the order in which they came."""
    items = [sorted_out(journal, photo, card, now)[0] for photo in journal.unfiled_photos()]
    unfinished = "Its intake was interrupted: take photos in again, or place it."
    return tuple(
        item if item.questions or item.state == "set aside" else replace(item, state="needs you", why=unfinished)
        for item in items
    )


def item_of(journal: Journal, sha256: str, card: Card, now: datetime) -> TrayItem:
    """What became of one photo.

    Raises
    ------
    NotInJournal
    """
    return _found_out(journal, journal.photo(sha256), card, now)[0]


def file_if_clear(journal: Journal, sha256: str, card: Card, *, by: str, now: datetime) -> TrayItem:
    """File a photo under its batch if nothing about it needs to be asked; safe to call any number of times."""
    photo = journal.photo(sha256)
    item, records = _found_out(journal, photo, card, now)
    if not records or item.state == "set aside" or item.at is None:
        return item
    journal.file_photo(item.batch, sha256, records, at=item.at, by=by)
    return _filed(photo, journal.entries_of_photo(sha256), item.surface)


def _found_out(journal: Journal, photo: KeptPhoto, card: Card, now: datetime) -> tuple[TrayItem, list[Record]]:
    """What became of a photo; if it is not filed, also the records that it makes, none while something is asked."""
    filed = journal.entries_of_photo(photo.sha256)
    if filed:
        return _filed(photo, filed, kept_look(journal, photo.sha256, card).surface), []
    return sorted_out(journal, photo, card, now)


def _filed(photo: KeptPhoto, filed: Sequence[tuple[str, Entry]], surface: tuple[Finding, ...]) -> TrayItem:
    colours, why, tested = [], "", False
    for _, entry in filed:
        if isinstance(entry.record, ColourReading):
            read = entry.record
            colours.append(SeenColour(read.portion, read.outline, 0.0, read.lab, Grade(read.grade), read.reasons))
        elif isinstance(entry.record, PhotoNote):
            why = entry.record.why_no_colour
        elif isinstance(entry.record, AlkaliTest):
            why, tested = f"{describe(entry.record)}.", True
    state: State = "placed" if colours or tested else "no colour"
    code, at = filed[0][0], filed[0][1].at
    seen = surface if colours else ()
    return TrayItem(photo.sha256, photo.facts.original_name, state, code, at, why, (), tuple(colours), seen)


# --- placing and correcting ----------------------------------------------------------------


def place(
    journal: Journal,
    sha256: str,
    *,
    card: Card,
    by: str,
    now: datetime,
    batch: str | None = None,
    at: datetime | None = None,
    portions: Sequence[str] | None = None,
    areas: Mapping[str, Points] | None = None,
    colour: bool | None = None,
    confirmed: bool = False,
    whole: bool = False,
) -> TrayItem:
    """Answer what is asked about a photo, or correct what was placed; the same call twice changes nothing.

    Parameters
    ----------
    batch, at : optional
        Where it belongs, and when it was taken.
    portions : sequence of str, optional
        The portion that each colour shows, in their order; an empty name leaves a colour out.
    areas : mapping of portion to outline, optional
        Parts of the picture drawn by the maker, in pixels of the upright full-size picture.
    colour : bool, optional
        False keeps the photo for the story alone.
    confirmed : bool
        What is doubtful (an unlikely colour, a second copy, nothing to measure) is right as it is.
    whole : bool
        Keep no answer that a placed photo cannot follow.

    Returns
    -------
    TrayItem
        With what is still asked, if anything is.

    Raises
    ------
    NotInJournal
    PhotoWaits
        If a placed photo cannot follow: it stays as it was, and the answers are kept, unless `whole`.
    """
    photo = journal.photo(sha256)
    if batch is not None:
        batch = journal.batch(batch).code
    filed = journal.entries_of_photo(sha256)
    said = answers_to(journal, sha256)
    if filed and said.batch is None:
        said = replace(said, batch=filed[0][0])
    answered = replace(
        said,
        batch=said.batch if batch is None else batch,
        at=said.at if at is None else at.isoformat(),
        portions=said.portions if portions is None else tuple(portions),
        areas=said.areas if areas is None else dict(areas),
        colour=said.colour if colour is None else colour,
        confirmed=("colour", "areas", "copy") if confirmed else said.confirmed,
        aside="",
        by=by,
        after=said.after if batch is None and not filed else journal.last_naming(sha256),
    )
    if portions is not None and areas is None:
        answered = replace(answered, areas=None)
    item, records = sorted_out(journal, photo, card, now, answered)
    settings = as_setting(sha256, answered)
    if filed and (item.questions or item.at is None):
        if not whole:
            journal.set_settings(settings)
        raise PhotoWaits(
            item.why, "Answer it, and the photo is corrected.", "It stays placed as it was; your answers are kept."
        )
    if item.at is None or not records:
        journal.set_settings(settings)
        return item
    # At once with the answers, so that whatever interrupts this leaves all of it or nothing.
    changes = _changes(sha256, filed, item.batch, item.at, records, now)
    journal.enter_all(changes, by=by, settings=settings, unless_filed="" if filed else sha256)
    return item_of(journal, sha256, card, now)


def _changes(
    sha256: str, filed: Sequence[tuple[str, Entry]], batch: str, at: datetime, records: Sequence[Record], now: datetime
) -> list[tuple[str, NewEntry]]:
    """What brings the entries of a photo to these records: corrections that stay in the history.

    What the maker noted by it, its surface or a strip, goes with it.
    """
    left, changes = list(records), []
    by_itself = [entry for _, entry in filed if isinstance(entry.record, (PhotoNote, ColourReading))]
    for code, entry in filed:
        new: Record | None = entry.record
        when = at if entry.at in {one.at for one in by_itself} else entry.at
        if entry in by_itself:
            new = next((record for record in left if code == batch and _same_thing(record, entry.record)), None)
            left = [record for record in left if record is not new]
        if new is None or code != batch:
            why = f"corrected: the photo shows {batch} otherwise"
            changes.append((code, NewEntry(Withdrawn(why), now, entry.id)))
        if new is not None and (code, new, when) != (batch, entry.record, entry.at):
            changes.append((batch, NewEntry(new, when, entry.id if code == batch else None, sha256)))
    return changes + [(batch, NewEntry(record, at, photo=sha256)) for record in left]


def _same_thing(new: Record, old: Record) -> bool:
    """Whether one record can correct the other: the note of the photo, or the colour of one area."""
    return type(new) is type(old) and getattr(new, "area", None) == getattr(old, "area", None)


def set_aside(journal: Journal, sha256: str, *, why: str, by: str) -> None:
    """Say that a waiting photo is none of the journal's; it stays kept, and `place` takes it up again.

    Raises
    ------
    PhotoWaits
        If it is placed: that has to be taken back first.
    """
    if journal.entries_of_photo(sha256):
        raise PhotoWaits("This photo is placed in a batch.", "Take its entries back first.")
    journal.photo(sha256)
    keep_answers(journal, sha256, replace(answers_to(journal, sha256), aside=why or "set aside", by=by))


def set_clock(
    journal: Journal, photos: Sequence[str], clock: Clock, *, card: Card, by: str, now: datetime
) -> tuple[TrayItem, ...]:
    """Read the clock of the camera otherwise for a whole set; the same call twice changes nothing.

    Photos whose date comes from nowhere but the maker keep it.

    Raises
    ------
    NotInJournal
    PhotoWaits
        If some of the placed ones cannot have been taken then; these stay as they were, the others are set.
    """
    items: list[TrayItem] = []
    left: list[str] = []
    for sha256 in photos:
        try:
            kept = journal.photo(sha256)
            taken = read_photo(journal.photo_bytes(sha256)).taken or taken_from_name(kept.facts.original_name)
            at = clock.moment(taken) if taken else None
            items.append(place(journal, sha256, card=card, by=by, now=now, at=at, whole=True))
        except PhotoWaits as waits:
            left.append(f"{kept.facts.original_name}: {waits.what}")
        except CureJournalError as fault:
            if not items:
                raise
            raise fault.after(f"The clock of {how_many(len(items), 'other')} is set.") from fault
    if left:
        others = f"; the clock of {how_many(len(items), 'other')} is set" if items else ""
        safe = f"{'They stay' if len(left) > 1 else 'It stays'} placed as before{others}."
        raise PhotoWaits(" ".join(left), "Check how far the clock was off, or date each by itself.", safe)
    return tuple(items)


def proposed_areas(journal: Journal, batch: Batch, card: Card, corners: Points, but: str = "") -> dict[str, Points]:
    """The areas of the batch's latest photo, where they would lie in one whose card has these corners; a proposal.

    Only from a photo of the same kind of card: the window of one card is a patch of another.

    Parameters
    ----------
    corners : Points
        Of the card, clockwise from its own top left, in full-size pixels; none gives no proposal.
    but : str, optional
        The hash of a photo to be left out: the one that is asked about.
    """
    earlier = [entry for entry in batch.of(ColourReading) if entry.photo and entry.photo != but]
    if len(corners) != 4 or not earlier:
        return {}
    last = [entry.record for entry in earlier if entry.photo == earlier[-1].photo]
    areas: dict[str, Points] = {}
    for record in last:
        if not isinstance(record, ColourReading) or not record.outline or len(record.corners) != 4:
            continue
        if _same_kind(journal, record.card, card):
            turn = cv2.getPerspectiveTransform(np.array(record.corners, np.float32), np.array(corners, np.float32))
            moved = cv2.perspectiveTransform(np.array([record.outline]), turn)[0]
            areas[record.portion] = as_points(moved.astype(float))
    return areas


def _same_kind(journal: Journal, name: str, card: Card) -> bool:
    """Whether the card of a name is laid out as this one, be it another copy of it."""
    try:
        other = find_card(name, journal)
    except CureJournalError:  # a card from a file that was never the journal's own
        return name == card.name
    return (other.size_mm, other.window, other.markers) == (card.size_mm, card.window, card.markers)


def card_corners(journal: Journal, sha256: str, card: Card) -> Points:
    """The corners of the card in a kept photo; none if it was not found."""
    return kept_look(journal, sha256, card).measurement.corners


def outlined_picture(
    journal: Journal, sha256: str, areas: Sequence[Points], faults: Sequence[Points], longest: int
) -> bytes:
    """A kept photo as a JPEG, cut to some areas and faults that are outlined in it.

    Raises
    ------
    NotInJournal, PictureDamaged
    """
    return pictures.outlined(read_photo(journal.photo_bytes(sha256)), areas, faults, longest)


def corrected(
    journal: Journal, sha256: str, card: Card, longest: int = 2048, *, flag: bool = False
) -> CorrectedPicture | None:
    """A kept photo as it would look in standard light; None where its card taught nothing, see `photo.picture`."""
    seen = kept_look(journal, sha256, card).measurement
    used = card if seen.card == card.name else find_card(seen.card, journal)
    return corrected_photo(journal.photo_bytes(sha256), used, longest, flag=flag)


def corrected_photo(data: bytes, card: Card, longest: int = 2048, *, flag: bool = False) -> CorrectedPicture | None:
    """The same of a photo that is not kept.

    Raises
    ------
    NotAPicture, PictureDamaged, PictureTooLarge
    """
    photo = read_photo(data)
    return corrected_picture(photo, card, learn(photo, card), longest, flag=flag)


# --- the surface ---------------------------------------------------------------------------


def confirm_surface(journal: Journal, item: TrayItem, finding: Finding | None, *, by: str) -> Entry:
    """Keep what a placed photo's surface looks like, as the maker confirms it; None says that it is clear.

    The same confirmation twice is one entry.

    Raises
    ------
    PhotoWaits
        If the photo is not placed yet.
    """
    if item.state not in ("placed", "no colour") or item.at is None:
        raise PhotoWaits("This photo is not placed in a batch yet.", "Place it first.")
    record = surface_record(finding)
    for _, entry in journal.entries_of_photo(item.sha256):
        if entry.record == record:
            return entry
    return journal.add(item.batch, record, at=item.at, by=by, photo=item.sha256)


def unanswered(journal: Journal, item: TrayItem) -> tuple[Finding, ...]:
    """What a placed photo's surface looks like, without what is no fault and what the maker has noted since."""
    if not item.surface or item.at is None or item.state not in ("placed", "no colour"):
        return ()
    looks = {note.look for when, note in journal.batch(item.batch).records(SurfaceNote) if when >= item.at}
    return tuple(
        finding
        for finding in item.surface
        if isinstance(record := surface_record(finding), SurfaceNote) and looks.isdisjoint({"clear", record.look})
    )


def surface_record(finding: Finding | None) -> SurfaceNote | Event:
    """The record of something seen on a surface; mottling and a gel ring are no fault and go down as a note."""
    if finding is None:
        return SurfaceNote("clear")
    share = None if finding.share is None else round(100 * finding.share, 2)
    if finding.kind == "orange spots":
        return SurfaceNote("orange spots", finding.count, share, finding.words)
    if finding.kind == "white film":
        return SurfaceNote("ash", None, share, finding.words)
    return Event("note", note=finding.words)


def growth(batch: Batch, finding: Finding, at: datetime) -> str:
    """What changed in spots or film since the batch's last note of them before a time; empty if there is none."""
    record = surface_record(finding)
    if not isinstance(record, SurfaceNote):
        return ""
    earlier = [(when, note) for when, note in batch.records(SurfaceNote) if when < at and note.look == record.look]
    if not earlier:
        return ""
    when, last = earlier[-1]
    changes = []
    if record.count is not None and last.count is not None:
        changes.append(f"from {last.count} to {how_many(record.count, 'spot')}")
    if record.area_pct is not None and last.area_pct is not None:
        changes.append(f"from {last.area_pct:g} % to {record.area_pct:g} % of what is seen")
    return f"Since {when:%d %B %Y}: {', '.join(changes)}." if changes else ""
