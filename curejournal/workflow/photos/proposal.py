"""What a waiting photo is, where it belongs and what is still asked, from a look at it and the batches as they are.

Nothing of it is stored but what the maker answered; it follows each time anew.
"""

from __future__ import annotations

import base64
import hashlib
import re
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo
from math import sqrt
from typing import Any, Literal

import cv2
import numpy as np
from pydantic import TypeAdapter

from curejournal.base.errors import CureJournalError
from curejournal.batch.records import Batch, ColourReading, Record
from curejournal.batch.validation import check_record
from curejournal.colour.sample import Grade, Lab
from curejournal.documents.formatting import moment
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import Journal, KeptPhoto
from curejournal.photo.analysis import LOOK_VERSION, Look, look
from curejournal.photo.card import Card, card_text
from curejournal.photo.find import tag as batch_tags
from curejournal.photo.find.placement import Points
from curejournal.photo.measure.measurement import Area, Measurement, measure
from curejournal.photo.read.picture_file import read_photo
from curejournal.photo.window.portions import SURE, Expected, Match, match
from curejournal.photo.window.surface import Finding
from curejournal.workflow import (
    MIRRORED,
    SOFTWARE,
    colour_reading,
    find_card,
    photo_note,
    reason_for_none,
    time_zone,
)

State = Literal["placed", "no colour", "needs you", "set aside"]
Topic = Literal["batch", "date", "portions", "colour", "areas", "copy"]

# How far a portion's colour may have moved, ΔE00 as an sd: at once, per square root of a day, at most; and from
# the colour it is meant to have in the end. Ours: a browning batch moves by some 10 in its first ten days.
MOVED_SD, MOVED_PER_ROOT_DAY, MOVED_MOST, INTENDED_SD = 3.0, 1.2, 9.0, 9.0
# Words that phones and programs write into the names of pictures (common practice, no source).
_SCREENSHOT = re.compile(r"screen[-_ ]?(shot|cap)|bildschirmfoto", re.IGNORECASE)
_EDITED = re.compile(r"(^|[-_ (])(edited|edit|bearbeitet)(?![a-z])\)?|(?<=^img_)e(?=\d)|~\d(?=\.)", re.IGNORECASE)
# Cameras write no PNG, and their sides are as 3 : 2 at most or 16 : 9 (common practice, no source); screens are longer
# than 3 : 2.
SCREEN_SHAPE = 1.55
# The smallest tag that is printed here is 14 mm; one that measures less in the card's plane lies far behind it. Ours.
LEAST_TAG_MM = 9.0
# Batter may be photographed before the pour is noted.
BEFORE_POUR = timedelta(hours=1)


@dataclass(frozen=True)
class Question:
    """Something only the maker knows: about what, in words, and what may be answered."""

    about: Topic
    text: str
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class SeenColour:
    """A colour in a photo: the portion it is (a proposal while that is asked), where, what was measured, its doubts."""

    portion: str
    outline: Points
    share: float
    lab: Lab | None
    grade: Grade
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class TrayItem:
    """A photo and what became of it.

    `batch` and `at` are where it is filed, or would be; `why` says why it needs the maker or has no colour;
    `surface` is what it looks like, for the maker to confirm; `no_colour` is why it has none, whatever is asked.
    """

    sha256: str
    name: str
    state: State
    batch: str
    at: datetime | None
    why: str = ""
    questions: tuple[Question, ...] = ()
    colours: tuple[SeenColour, ...] = ()
    surface: tuple[Finding, ...] = ()
    no_colour: str = ""


@dataclass(frozen=True)
class Answers:
    """What the maker said about a photo; what is None was not said.

    `after` is the last entry that had named the photo when its batch was said: once it has been filed since, and taken
    back, that no longer counts.
    """

    batch: str | None = None
    at: str | None = None
    portions: tuple[str, ...] | None = None
    areas: Mapping[str, Points] | None = None
    colour: bool = True
    confirmed: tuple[Topic, ...] = ()
    aside: str = ""
    by: str = ""
    after: int = 0


# --- tags ----------------------------------------------------------------------------------


TAG_ID = "tag id"


def journal_id(journal: Journal) -> str:
    """The id of this journal in its tags; made once, and the same in its copies and backups."""
    known = journal.setting(TAG_ID)
    if known is None:
        journal.set_setting(TAG_ID, base64.b32encode(secrets.token_bytes(5)).decode()[:6])
        known = journal.setting(TAG_ID)
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


def kept_look(journal: Journal, sha256: str, card: Card) -> Look:
    """The look at a kept photo: made once, then read."""

    def make() -> bytes:
        return look_as_json(journal.photo_bytes(sha256), card, card_copies(journal, card))

    return _LOOK.validate_json(journal.derived(sha256, look_name(card), make))


def card_copies(journal: Journal, card: Card) -> dict[str, Card]:
    """The enrolled copies of a card by their ids."""
    kept = {copy.copy_id: find_card(copy.name, journal) for copy in journal.cards() if copy.copy_id}
    return {copy_id: copy for copy_id, copy in kept.items() if copy.markers == card.markers}


def answers_to(journal: Journal, sha256: str) -> Answers:
    """What the maker said about a photo so far."""
    return _ANSWERS.validate_python(journal.setting(f"photo {sha256}", {}))


def keep_answers(journal: Journal, sha256: str, answers: Answers) -> None:
    """Keep what the maker said; earlier answers stay in the history."""
    journal.set_settings(as_setting(sha256, answers))


def as_setting(sha256: str, answers: Answers) -> dict[str, Any]:
    """The setting in which what the maker said about a photo is kept."""
    return {f"photo {sha256}": _ANSWERS.dump_python(answers, mode="json")}


# --- deciding ------------------------------------------------------------------------------


def sorted_out(
    journal: Journal, photo: KeptPhoto, card: Card, now: datetime, said: Answers | None = None
) -> tuple[TrayItem, list[Record]]:
    """What a photo needs, whether or not it is filed, and the records it makes if it needs nothing.

    `said` are answers that are not kept yet; without them those that are.
    """
    said = said or answers_to(journal, photo.sha256)
    seen = kept_look(journal, photo.sha256, card)
    code, questions = _batch_of(journal, seen, said, card, journal.last_naming(photo.sha256))
    at = datetime.fromisoformat(said.at) if said.at else photo.facts.taken_at
    batch = journal.batch(code) if code else None
    original = is_no_original(photo.facts)
    questions += _about_date(batch, at, original, now, time_zone(journal))
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
    text = " ".join([*([why] if why else []), *(question.text for question in questions)])
    state: State = "set aside" if said.aside else "needs you" if questions else "no colour" if why else "placed"
    item = TrayItem(
        photo.sha256,
        photo.facts.original_name,
        state,
        code,
        at,
        said.aside or text,
        tuple(questions),
        colours,
        _surface_on(seen.surface, batch, at),
        why,
    )
    if questions or batch is None or at is None:
        return item, []
    readings = [] if why else _readings(measurement, named.names)
    records: list[Record] = [photo_note(measurement if readings else None, "", "" if readings else why), *readings]
    try:
        for record in records:
            check_record(batch, record, at, now=now)
    except CureJournalError as refused:
        asked = Question("date", f"{refused.what} {refused.do}".strip())
        return replace(item, state="needs you", why=asked.text, questions=(asked,)), []
    return item, records


def _batch_of(journal: Journal, seen: Look, said: Answers, card: Card, last: int) -> tuple[str, list[Question]]:
    """Which batch a photo is of; `last` is the last entry that ever named it, 0 if none did."""
    codes = {head.code for head in journal.batches()}
    if said.batch is not None and said.after >= last:
        return said.batch, []
    own = [tag.code for tag in seen.tags if tag.journal == journal.setting(TAG_ID)]
    known = [code for code in own if code in codes]
    choices = tuple(known)
    if last:
        return (known[0] if len(known) == 1 else ""), [
            Question("batch", "It was placed before and taken back. Which batch is it?", choices)
        ]
    if len(known) == 1 and len(own) == 1:
        if _far_behind(seen, known[0], card):
            return "", [
                Question("batch", f"The tag of {known[0]} lies far behind the card. Is it that batch?", choices)
            ]
        return known[0], []
    if len(own) > 1:
        return "", [Question("batch", f"It shows the tags of {len(own)} batches. Which one is it?", choices)]
    if own:
        return "", [Question("batch", f"Its tag says {own[0]}, and there is no such batch here. Which one is it?")]
    if seen.tags:
        return "", [Question("batch", "Its tag is of another journal. Is it yours at all, and which batch is it?")]
    return "", [Question("batch", "It shows no batch tag. Which batch is it?")]


def _far_behind(seen: Look, code: str, card: Card) -> bool:
    """Whether a tag is so small beside the card that it lies in the background."""
    if seen.on_card or len(seen.measurement.corners) != 4:
        return False
    outline = next(tag.outline for tag in seen.tags if tag.code == code)
    w, h = card.size_mm
    flat = np.array(((0, 0), (w, 0), (w, h), (0, h)), np.float32)
    to_mm = cv2.getPerspectiveTransform(np.array(seen.measurement.corners, np.float32), flat)
    sides = cv2.perspectiveTransform(np.array([outline], np.float32), to_mm)[0]
    return float(np.linalg.norm(sides - np.roll(sides, 1, axis=0), axis=1).max()) < LEAST_TAG_MM


def is_no_original(facts: PhotoFacts) -> str:
    """What a picture seems to be instead of a photo as taken, by its name, kind and shape; else empty."""
    sides = sorted((facts.width, facts.height))
    like_a_screen = facts.suffix == ".png" and sides[1] > SCREEN_SHAPE * sides[0]
    if like_a_screen or (facts.taken_from != "exif" and _SCREENSHOT.search(facts.original_name)):
        return "a screenshot"
    return "an edited copy" if _EDITED.search(facts.original_name) else ""


def _about_date(batch: Batch | None, at: datetime | None, original: str, now: datetime, zone: tzinfo) -> list[Question]:
    if at is None:
        doubt = f"It looks like {original}; take in the photo as it was taken. " if original else ""
        text = doubt + "Nothing in it says when it was taken; the file's own date proves nothing. When was it?"
        return [Question("date", text)]
    if at > now + timedelta(minutes=1):
        return [Question("date", f"Its clock is plainly wrong: {moment(at, zone)} lies in the future. When was it?")]
    poured = batch.poured_at if batch else None
    if poured is not None and at + BEFORE_POUR < poured:
        text = f"Its clock is plainly wrong: {moment(at, zone)} is before the batch was poured. When was it?"
        return [Question("date", text)]
    return []


def _about_copy(journal: Journal, batch: Batch, photo: KeptPhoto, said: Answers) -> list[Question]:
    """A picture of the same moment and name as one that is kept is most likely the same, edited or converted."""
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
    """A file's name without its ending and the marks of an edited copy."""
    return _EDITED.sub("", name).partition(".")[0].casefold()


def _why_no_colour(seen: Look, measurement: Measurement, said: Answers, original: str) -> str:
    if not said.colour:
        return "Kept for the story: the maker wants no colour from it."
    if original:
        return f"It looks like {original}, whose colours mean nothing. Take in the photo as it was taken."
    if seen.mirrored:
        return f"{MIRRORED.text} {MIRRORED.remedy}"
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


def _on_pour_day(batch: Batch, at: datetime) -> bool:
    """Whether a time is within a day of the pour, before soda ash can show."""
    return batch.poured_at is not None and abs(at - batch.poured_at) < timedelta(days=1)


def _surface_on(surface: tuple[Finding, ...], batch: Batch | None, at: datetime | None) -> tuple[Finding, ...]:
    """What the surface looks like, without a film on the day of the pour."""
    if batch is None or at is None or not _on_pour_day(batch, at):
        return surface
    return tuple(finding for finding in surface if finding.kind != "white film")


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
    return seen.measurement, match(seen.layers, _expected(batch, at), pour_day=_on_pour_day(batch, at))


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
