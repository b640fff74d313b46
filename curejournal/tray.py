"""The tray: what became of photos that came in by themselves, and one call to place or correct each.

A photo waits as a kept photo that no entry names. Why it waits is never stored: it
follows each time from a look at the photo, from what the maker answered (kept as
settings, which only grow) and from the batches as they are.
"""

from __future__ import annotations

import base64
import hashlib
import re
import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta, tzinfo
from math import sqrt
from typing import Literal

import cv2
import numpy as np
from pydantic import TypeAdapter

from curejournal.colour.sample import Grade, Lab
from curejournal.cure.checks import check_record
from curejournal.cure.records import Batch, ColourReading, Entry, PhotoNote, Record
from curejournal.errors import CureJournalError
from curejournal.journal.store import Journal, KeptPhoto, NewEntry
from curejournal.photo import tag as batch_tags
from curejournal.photo.card import Card, card_text
from curejournal.photo.look import LOOK_VERSION, Look, look
from curejournal.photo.measure import Area, Measurement, measure
from curejournal.photo.placement import Points, as_points
from curejournal.photo.portions import SURE, Expected, Match, match
from curejournal.photo.reading import Photo, Taken, read_photo, taken_from_name
from curejournal.workflow import SOFTWARE, colour_reading, find_card, reason_for_none

State = Literal["placed", "no colour", "needs you", "set aside"]
Topic = Literal["batch", "date", "portions", "colour", "areas", "copy"]

# How far a portion's colour may have moved, ΔE00 as an sd: at once, per square root of a day, at most; and from
# the colour it is meant to have in the end. Ours: a browning batch moves by some 10 in its first ten days.
MOVED_SD, MOVED_PER_ROOT_DAY, MOVED_MOST, INTENDED_SD = 3.0, 1.2, 9.0, 9.0
# Words that phones and programs write into the names of pictures (common practice, no source).
_SCREENSHOT = re.compile(r"screen[-_ ]?(shot|cap)|bildschirmfoto", re.IGNORECASE)
_EDITED = re.compile(r"edited|[-_ (]edit\b|[-_]bearbeitet|^img_e\d|~\d\.", re.IGNORECASE)
# Batter may be photographed before the pour is noted.
BEFORE_POUR = timedelta(hours=1)


class PhotoWaits(CureJournalError):
    """A photo that cannot be placed yet: something about it is still asked."""


@dataclass(frozen=True)
class Question:
    """Something only the maker knows: about what, in words, and what may be answered."""

    about: Topic
    text: str
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class SeenColour:
    """A colour in a photo: the portion it is (a proposal while that is asked), where, and what was measured."""

    portion: str
    outline: Points
    share: float
    lab: Lab | None
    grade: Grade


@dataclass(frozen=True)
class TrayItem:
    """A photo and what became of it.

    `batch` and `at` are where it is filed, or would be; `why` says why it needs the maker or has no colour.
    """

    sha256: str
    name: str
    state: State
    batch: str
    at: datetime | None
    why: str = ""
    questions: tuple[Question, ...] = ()
    colours: tuple[SeenColour, ...] = ()


@dataclass(frozen=True)
class Answers:
    """What the maker said about a photo; what is None was not said."""

    batch: str | None = None
    at: str | None = None
    portions: tuple[str, ...] | None = None
    areas: Mapping[str, Points] | None = None
    colour: bool = True
    confirmed: tuple[Topic, ...] = ()
    aside: str = ""
    by: str = ""


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


# --- tags ----------------------------------------------------------------------------------


def journal_id(journal: Journal) -> str:
    """The id of this journal in its tags; made once, and the same in its copies and backups."""
    known = journal.setting("tag id")
    if known is None:
        journal.set_setting("tag id", base64.b32encode(secrets.token_bytes(5)).decode()[:6])
        known = journal.setting("tag id")
    return str(known)


def tag_text(journal: Journal, code: str) -> str:
    """What is written in a batch's tag.

    Raises
    ------
    NotInJournal
    """
    return batch_tags.payload(journal_id(journal), journal.batch(code).code)


# --- looking -------------------------------------------------------------------------------

_LOOK = TypeAdapter(Look)
_ANSWERS = TypeAdapter(Answers)


def look_name(card: Card) -> str:
    """The name under which looks are kept: another version or card is another look."""
    of = hashlib.sha256((SOFTWARE + card_text(card)).encode()).hexdigest()[:16]
    return f"look-{LOOK_VERSION}-{of}.json"


def look_as_json(data: bytes, card: Card, copies: Mapping[str, Card]) -> bytes:
    """Look at a photo; the result as bytes to be kept or sent between processes."""
    return _LOOK.dump_json(look(read_photo(data), card, copies))


def kept_look(journal: Journal, sha256: str, card: Card, make: Callable[[], bytes] | None = None) -> Look:
    """The look at a kept photo: made once, then read."""
    copies = card_copies(journal, card)
    made = make or (lambda: look_as_json(journal.photo_bytes(sha256), card, copies))
    return _LOOK.validate_json(journal.derived(sha256, look_name(card), made))


def card_copies(journal: Journal, card: Card) -> dict[str, Card]:
    """The enrolled copies of a card by their ids."""
    kept = {copy.copy_id: find_card(copy.name, journal) for copy in journal.cards() if copy.copy_id}
    return {copy_id: copy for copy_id, copy in kept.items() if copy.markers == card.markers}


def answers_to(journal: Journal, sha256: str) -> Answers:
    """What the maker said about a photo so far."""
    return _ANSWERS.validate_python(journal.setting(f"photo {sha256}", {}))


def keep_answers(journal: Journal, sha256: str, answers: Answers) -> None:
    """Keep what the maker said; earlier answers stay in the history."""
    journal.set_setting(f"photo {sha256}", _ANSWERS.dump_python(answers, mode="json"))


# --- deciding ------------------------------------------------------------------------------


def tray(journal: Journal, card: Card, now: datetime) -> tuple[TrayItem, ...]:
    """Every photo that waits for the maker or was set aside, in the order in which they came."""
    items = [_waiting(journal, photo, card, now, was_filed)[0] for photo, was_filed in journal.unfiled_photos()]
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
    photo = journal.photo(sha256)
    filed = journal.entries_of_photo(sha256)
    if filed:
        return _filed(photo, filed)
    was_filed = any(known.sha256 == sha256 and before for known, before in journal.unfiled_photos())
    return _waiting(journal, photo, card, now, was_filed)[0]


def file_if_clear(journal: Journal, sha256: str, card: Card, *, by: str, now: datetime) -> TrayItem:
    """File a photo under its batch if nothing about it needs to be asked; safe to call any number of times."""
    photo = journal.photo(sha256)
    filed = journal.entries_of_photo(sha256)
    if not filed:
        was_filed = any(known.sha256 == sha256 and before for known, before in journal.unfiled_photos())
        item, records = _waiting(journal, photo, card, now, was_filed)
        if item.questions or item.state == "set aside" or item.at is None:
            return item
        journal.file_photo(item.batch, sha256, records, at=item.at, by=by)
        filed = journal.entries_of_photo(sha256)
    return _filed(photo, filed)


def _filed(photo: KeptPhoto, filed: Sequence[tuple[str, Entry]]) -> TrayItem:
    colours, why = [], ""
    for _, entry in filed:
        if isinstance(entry.record, ColourReading):
            outline = TypeAdapter(Points).validate_json(entry.record.area)
            colours.append(SeenColour(entry.record.portion, outline, 0.0, entry.record.lab, Grade(entry.record.grade)))
        elif isinstance(entry.record, PhotoNote):
            why = entry.record.why_no_colour
    state: State = "placed" if colours else "no colour"
    return TrayItem(
        photo.sha256, photo.facts.original_name, state, filed[0][0], filed[0][1].at, why, colours=tuple(colours)
    )


def _waiting(
    journal: Journal, photo: KeptPhoto, card: Card, now: datetime, was_filed: bool
) -> tuple[TrayItem, list[Record]]:
    """What an unfiled photo needs, and the records it makes if it needs nothing."""
    said = answers_to(journal, photo.sha256)
    seen = kept_look(journal, photo.sha256, card)
    code, questions = _batch_of(journal, seen, said, was_filed)
    at = datetime.fromisoformat(said.at) if said.at else photo.facts.taken_at
    batch = journal.batch(code) if code else None
    original = is_no_original(photo.facts.original_name, read_photo(journal.photo_bytes(photo.sha256)))
    questions += _about_date(batch, at, original, now)
    measurement, named = _named(journal, photo, batch, at, seen, said, card)
    colours = _colours(seen, measurement, named.names)
    why = _why_no_colour(seen, measurement, said, original)
    if not why and named.question and batch is not None:
        about: Topic = "colour" if named.confidence >= SURE else "portions"
        if about not in said.confirmed:
            choices = tuple(portion.name for portion in _expected(batch, at or now))
            questions.append(Question(about, named.question, choices))
    if not why and not measurement.areas and said.areas is None and "areas" not in said.confirmed:
        questions.append(Question("areas", "Which part of the picture shows which portion?"))
    if batch is not None:
        questions += _about_copy(journal, batch, photo, said)
    text = " ".join(question.text for question in questions) or why
    state: State = "set aside" if said.aside else "needs you" if questions else "no colour" if why else "placed"
    item = TrayItem(
        photo.sha256, photo.facts.original_name, state, code, at, said.aside or text, tuple(questions), colours
    )
    if questions or batch is None or at is None:
        return item, []
    readings = [] if why else _readings(measurement, named.names)
    records: list[Record] = [PhotoNote("", why if not readings else ""), *readings]
    try:
        for record in records:
            check_record(batch, record, at, now=now)
    except CureJournalError as refused:
        asked = Question("date", f"{refused.what} {refused.do}".strip())
        return replace(item, state="needs you", why=asked.text, questions=(asked,)), []
    return item, records


def _batch_of(journal: Journal, seen: Look, said: Answers, was_filed: bool) -> tuple[str, list[Question]]:
    codes = {head.code for head in journal.batches()}
    if said.batch is not None:
        return said.batch, []
    own = [tag.code for tag in seen.tags if tag.journal == journal_id(journal)]
    known = [code for code in own if code in codes]
    choices = tuple(known)
    if was_filed:
        return (known[0] if len(known) == 1 else ""), [
            Question("batch", "It was placed before and taken back. Which batch is it?", choices)
        ]
    if len(known) == 1 and len(own) == 1:
        return known[0], []
    if len(own) > 1:
        return "", [Question("batch", f"It shows the tags of {len(own)} batches. Which one is it?", choices)]
    if own:
        return "", [Question("batch", f"Its tag says {own[0]}, and there is no such batch here. Which one is it?")]
    if seen.tags:
        return "", [Question("batch", "Its tag is of another journal. Is it yours at all, and which batch is it?")]
    return "", [Question("batch", "It shows no batch tag. Which batch is it?")]


def is_no_original(name: str, photo: Photo) -> str:
    """What a picture without a camera's date seems to be instead of a photo as taken, by its name; else empty."""
    if photo.taken is not None:
        return ""
    return "a screenshot" if _SCREENSHOT.search(name) else "an edited copy" if _EDITED.search(name) else ""


def _about_date(batch: Batch | None, at: datetime | None, original: str, now: datetime) -> list[Question]:
    if at is None:
        doubt = f"It looks like {original}; take in the photo as it was taken. " if original else ""
        text = doubt + "Nothing in it says when it was taken; the file's own date proves nothing. When was it?"
        return [Question("date", text)]
    if at > now + timedelta(minutes=1):
        return [Question("date", f"Its clock is plainly wrong: {at:%d %B %Y %H:%M} lies in the future. When was it?")]
    poured = batch.poured_at if batch else None
    if poured is not None and at + BEFORE_POUR < poured:
        text = f"Its clock is plainly wrong: {at:%d %B %Y %H:%M} is before the batch was poured. When was it?"
        return [Question("date", text)]
    return []


def _about_copy(journal: Journal, batch: Batch, photo: KeptPhoto, said: Answers) -> list[Question]:
    """A picture of the same moment and name as one in the batch is most likely the same, edited or converted."""
    if "copy" in said.confirmed or photo.facts.taken_at is None:
        return []
    stem = _stem(photo.facts.original_name)
    for other in journal.photos_of(batch.code):
        same = other.facts.taken_at == photo.facts.taken_at and _stem(other.facts.original_name) == stem
        if same and other.sha256 != photo.sha256:
            text = f"It looks like another copy of {other.facts.original_name}, which is in the batch. Place it too?"
            return [Question("copy", text)]
    return []


def _stem(name: str) -> str:
    return name.rpartition("/")[2].partition(".")[0].casefold()


def _why_no_colour(seen: Look, measurement: Measurement, said: Answers, original: str) -> str:
    if not said.colour:
        return "Kept for the story: the maker wants no colour from it."
    if original:
        return f"It looks like {original}, whose colours mean nothing. Take in the photo as it was taken."
    if seen.mirrored:
        return "The picture is mirrored, as selfie cameras do. Use the main camera, or switch mirroring off."
    if not measurement.usable:
        return reason_for_none(measurement)
    return ""


def _expected(batch: Batch, at: datetime) -> list[Expected]:
    """The portions as last known: by the reading nearest in time, else by their intended colour."""
    known: list[Expected] = []
    readings = batch.records(ColourReading)
    names = [portion.name for portion in batch.portions] or list(dict.fromkeys(r.portion for _, r in readings))
    intended = {portion.name: portion.intended_lab for portion in batch.portions}
    for name in names:
        own = [
            (abs((when - at).total_seconds()) / 86400, record.lab)
            for when, record in readings
            if record.portion == name
        ]
        if own:
            days, lab = min(own)
            known.append(Expected(name, lab, min(MOVED_MOST, MOVED_SD + MOVED_PER_ROOT_DAY * sqrt(days))))
        else:
            known.append(Expected(name, intended.get(name), INTENDED_SD))
    return known


def _named(
    journal: Journal, photo: KeptPhoto, batch: Batch | None, at: datetime | None, seen: Look, said: Answers, card: Card
) -> tuple[Measurement, Match]:
    """The measurement and the names of its areas: drawn by the maker, said by the maker, or found."""
    if said.areas is not None:
        areas = [Area(name, outline) for name, outline in said.areas.items()]
        used = card if seen.measurement.card == card.name else find_card(seen.measurement.card, journal)
        found = measure(read_photo(journal.photo_bytes(photo.sha256)), used, areas)
        return found, Match(tuple(said.areas), 1.0)
    count = len(seen.measurement.areas)
    if said.portions is not None and len(said.portions) == count:
        return seen.measurement, Match(said.portions, 1.0)
    if batch is None or at is None or seen.layers is None or len(seen.layers.layers) != count:
        return seen.measurement, Match(("",) * count, 0.0)
    return seen.measurement, match(seen.layers, _expected(batch, at))


def _colours(seen: Look, measurement: Measurement, names: Sequence[str]) -> tuple[SeenColour, ...]:
    layers = seen.layers.layers if seen.layers else ()
    shares = (
        [layer.share for layer in layers] if len(layers) == len(measurement.areas) else [0.0] * len(measurement.areas)
    )
    return tuple(
        SeenColour(name, area.outline, share, area.sample.lab if area.sample else None, area.grade)
        for name, area, share in zip(names, measurement.areas, shares, strict=True)
    )


def _readings(measurement: Measurement, names: Sequence[str]) -> list[ColourReading]:
    """A reading of each named area that has a colour; an area without a name is left out."""
    pairs = zip(measurement.areas, names, strict=True)
    return [colour_reading(measurement, area, name) for area, name in pairs if area.sample is not None and name]


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

    Returns
    -------
    TrayItem
        With what is still asked, if anything is.

    Raises
    ------
    NotInJournal, JournalError
    """
    journal.photo(sha256)
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
    )
    if portions is not None and areas is None:
        answered = replace(answered, areas=None)
    # Answers first: whatever interrupts what follows, a second call or the next intake ends it.
    keep_answers(journal, sha256, answered)
    if filed:
        _correct(journal, sha256, filed, card=card, by=by, now=now)
    return file_if_clear(journal, sha256, card, by=by, now=now)


def _correct(
    journal: Journal, sha256: str, filed: Sequence[tuple[str, Entry]], *, card: Card, by: str, now: datetime
) -> None:
    """Bring the entries of a placed photo to what the answers make of it, as corrections that stay in the history.

    Raises
    ------
    PhotoWaits
        If the answers leave something open; the entries stay as they are.
    """
    item, records = _waiting(journal, journal.photo(sha256), card, now, was_filed=False)
    if item.questions or item.at is None:
        raise PhotoWaits(item.why, "Answer it, and the photo is corrected.", "It stays placed as it was.")
    code, old = filed[0][0], [entry for _, entry in filed]
    if code == item.batch:
        left = list(records)
        changes: list[NewEntry] = []
        for entry in old:
            new = next((record for record in left if _same_thing(record, entry.record)), None)
            if new is None:
                continue
            left.remove(new)
            if (new, item.at) != (entry.record, entry.at):
                changes.append(NewEntry(new, item.at, entry.id, sha256))
            old = [other for other in old if other is not entry]
        changes += [NewEntry(record, item.at, photo=sha256) for record in left]
        if changes:
            journal.add_many(code, changes, by=by)
    for entry in old:
        journal.withdraw(entry.id, why=f"corrected: the photo shows {item.batch or code} otherwise", by=by, at=now)


def _same_thing(new: Record, old: Record) -> bool:
    """Whether one record can correct the other: the note of the photo, or the colour of one area."""
    if isinstance(new, ColourReading) and isinstance(old, ColourReading):
        return new.area == old.area
    return isinstance(new, PhotoNote) and isinstance(old, PhotoNote)


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
    """
    items = []
    for sha256 in photos:
        kept = journal.photo(sha256)
        taken = read_photo(journal.photo_bytes(sha256)).taken or taken_from_name(kept.facts.original_name)
        at = clock.moment(taken) if taken else None
        items.append(place(journal, sha256, card=card, by=by, now=now, at=at))
    return tuple(items)


def proposed_areas(journal: Journal, sha256: str, batch: Batch, card: Card) -> dict[str, Points]:
    """The areas of the batch's latest reading with this card, where they would lie in this photo; a proposal only."""
    corners = kept_look(journal, sha256, card).measurement.corners
    earlier = [entry for entry in batch.of(ColourReading) if entry.photo and entry.photo != sha256]
    if len(corners) != 4 or not earlier:
        return {}
    last = [entry.record for entry in earlier if entry.photo == earlier[-1].photo]
    areas: dict[str, Points] = {}
    for record in last:
        if isinstance(record, ColourReading) and len(record.corners) == 4:
            turn = cv2.getPerspectiveTransform(np.array(record.corners, np.float32), np.array(corners, np.float32))
            outline = np.array(TypeAdapter(Points).validate_json(record.area))
            areas[record.portion] = as_points(cv2.perspectiveTransform(outline[None], turn)[0].astype(float))
    return areas
