"""An analysis, what the journal knows and what the maker said, to a filing: what is kept, or what is still asked.

Nothing is read or written here, and nothing of it is stored but what the maker answered; it follows each time anew.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import sqrt
from typing import Literal

from curejournal.base.errors import CureJournalError
from curejournal.batch.descriptions import describe
from curejournal.batch.records import AlkaliTest, Batch, ColourReading, Entry, PhotoNote, Record, Withdrawn
from curejournal.batch.validation import check_record
from curejournal.colour.sample import Grade, Lab
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import NewEntry
from curejournal.photo.find.placement import Points
from curejournal.photo.measure.measurement import AreaColour, Measurement
from curejournal.photo.window.portions import Expected, Match, match
from curejournal.photo.window.surface import Finding
from curejournal.workflow.photos.analyse import SOFTWARE, PhotoAnalysis, why_no_colour
from curejournal.workflow.photos.answers import Answers, Question
from curejournal.workflow.photos.context import PhotoContext
from curejournal.workflow.photos.dates import no_original
from curejournal.workflow.photos.questions import Case, asked_about, batch_of

State = Literal["placed", "no colour", "needs you", "set aside"]

# How far a portion's colour may have moved, ΔE00 as an sd: at once, per square root of a day, at most; and from
# the colour it is meant to have in the end. Ours: a browning batch moves by some 10 in its first ten days.
MOVED_SD, MOVED_PER_ROOT_DAY, MOVED_MOST, INTENDED_SD = 3.0, 1.2, 9.0, 9.0


@dataclass(frozen=True)
class PhotoColour:
    """A colour in a photo: the portion it is (a proposal while that is asked), where, what was measured, its doubts."""

    portion: str
    outline: Points
    share: float
    lab: Lab | None
    grade: Grade
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class InboxItem:
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
    colours: tuple[PhotoColour, ...] = ()
    surface: tuple[Finding, ...] = ()
    no_colour: str = ""


@dataclass(frozen=True)
class Filing:
    """What a photo needs, and what it makes once it needs nothing.

    `records` are the note of the photo and its readings; `entries` what brings the journal to them, each with the code
    of its batch: corrections where the photo is filed already. Both are empty while something is asked. Nothing is
    entered if an entry names the photo `unless_filed` by then.
    """

    item: InboxItem
    facts: PhotoFacts
    answers: Answers
    records: tuple[Record, ...] = ()
    entries: tuple[tuple[str, NewEntry], ...] = ()
    unless_filed: str = ""

    @property
    def questions(self) -> tuple[Question, ...]:
        """What is still asked."""
        return self.item.questions


def propose(analysis: PhotoAnalysis, context: PhotoContext, answers: Answers) -> Filing:
    """Say what a photo needs, whether or not it is filed, and the records that it makes if it needs nothing.

    Parameters
    ----------
    analysis : PhotoAnalysis
        Made with the marks of these answers.
    context : PhotoContext
    answers : Answers
        What the maker said, kept already or not.
    """
    case = _case(analysis, context, answers)
    questions = asked_about(case)
    alone = "" if context.filed or context.elsewhere else analysis.sha256
    filing = Filing(_item(case, questions), context.facts, answers, unless_filed=alone)
    if questions or case.batch is None or case.at is None:
        return filing
    records = _records(case)
    try:
        for record in records:
            check_record(case.batch, record, case.at, now=context.now)
    except CureJournalError as refused:
        asked = Question("date", f"{refused.what} {refused.do}".strip())
        waits = replace(filing.item, state="needs you", why=asked.text, questions=(asked,))
        return replace(filing, item=waits)
    entries = _entries(analysis.sha256, context, case.batch.code, case.at, records)
    return replace(filing, records=records, entries=entries)


def filed_item(
    sha256: str, facts: PhotoFacts, filed: Sequence[tuple[str, Entry]], surface: Sequence[Finding]
) -> InboxItem:
    """A photo as its entries have it."""
    colours, why, tested = [], "", False
    for _, entry in filed:
        if isinstance(entry.record, ColourReading):
            read = entry.record
            colours.append(PhotoColour(read.portion, read.outline, 0.0, read.lab, Grade(read.grade), read.reasons))
        elif isinstance(entry.record, PhotoNote):
            why = entry.record.why_no_colour
        elif isinstance(entry.record, AlkaliTest):
            why, tested = f"{describe(entry.record)}.", True
    state: State = "placed" if colours or tested else "no colour"
    code, at = filed[0][0], filed[0][1].at
    seen = tuple(surface) if colours else ()
    return InboxItem(sha256, facts.original_name, state, code, at, why, (), tuple(colours), seen)


# --- the case ------------------------------------------------------------------------------


def _case(analysis: PhotoAnalysis, context: PhotoContext, answers: Answers) -> Case:
    code, batch_asked = batch_of(analysis, context, answers)
    batch = context.batches[code] if code else None
    at = answers.at or context.facts.taken_at
    expected = _expected(batch, at or context.now) if batch else []
    portions = tuple(portion.name for portion in expected)
    pour_day = batch is not None and at is not None and _on_pour_day(batch, at)
    named = _named(analysis, answers, expected if batch is not None and at is not None else None, pour_day)
    why = _why_no_colour(analysis, context.facts, answers)
    return Case(analysis, context, answers, batch, batch_asked, at, named, portions, why)


def _why_no_colour(analysis: PhotoAnalysis, facts: PhotoFacts, answers: Answers) -> str:
    if answers.colour is False:
        return "Kept for the story: the maker wants no colour from it."
    original = no_original(facts)
    if original:
        return f"It looks like {original}, whose colours mean nothing. Take in the photo as it was taken."
    return "" if analysis.measurement.usable else why_no_colour(analysis.measurement)


def _on_pour_day(batch: Batch, at: datetime) -> bool:
    """Whether a time is within a day of the pour, before soda ash can show."""
    return batch.poured_at is not None and abs(at - batch.poured_at) < timedelta(days=1)


def _named(analysis: PhotoAnalysis, answers: Answers, expected: Sequence[Expected] | None, pour_day: bool) -> Match:
    """Which portion each area shows: as it was marked, as the maker said, or by order and earlier colours."""
    count = len(analysis.measurement.areas)
    if answers.areas:
        return Match(tuple(answers.areas), 1.0)
    if answers.window:
        return Match((answers.window,) * count, 1.0)
    if answers.portions is not None and len(answers.portions) == count:
        return Match(answers.portions, 1.0)
    if expected is None or analysis.layers is None or len(analysis.layers.layers) != count:
        return Match(("",) * count, 0.0)
    return match(analysis.layers, expected, pour_day=pour_day)


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


def _item(case: Case, questions: tuple[Question, ...]) -> InboxItem:
    answers, facts = case.answers, case.context.facts
    pour_day = case.batch is not None and case.at is not None and _on_pour_day(case.batch, case.at)
    text = " ".join([*([case.why] if case.why else []), *(question.text for question in questions)])
    state: State = "set aside" if answers.aside else "needs you" if questions else "no colour" if case.why else "placed"
    return InboxItem(
        case.analysis.sha256,
        facts.original_name,
        state,
        case.batch.code if case.batch else "",
        case.at,
        answers.aside or text,
        questions,
        _colours(case),
        tuple(finding for finding in case.analysis.surface if not (pour_day and finding.kind == "white film")),
        case.why,
    )


def _colours(case: Case) -> tuple[PhotoColour, ...]:
    areas = case.analysis.measurement.areas
    layers = case.analysis.layers.layers if case.analysis.layers else ()
    shares = [layer.share for layer in layers] if len(layers) == len(areas) else [0.0] * len(areas)
    return tuple(
        PhotoColour(name, area.outline, share, area.sample.lab if area.sample else None, area.grade)
        for name, area, share in zip(case.match.names, areas, shares, strict=True)
    )


# --- records and entries -------------------------------------------------------------------


def _records(case: Case) -> tuple[Record, ...]:
    """The note of the photo, and a reading of each named area that has a colour; one without a name is left out."""
    measurement = case.analysis.measurement
    pairs = [] if case.why else list(zip(measurement.areas, case.match.names, strict=True))
    readings = [colour_reading(measurement, area, name) for area, name in pairs if area.sample is not None and name]
    return (_note(case, bool(readings)), *readings)


def _note(case: Case, coloured: bool) -> PhotoNote:
    """The note that files a photo; with the misfits of the card's patches, if it was measured."""
    earlier = (entry.record.caption for _, entry in case.context.filed if isinstance(entry.record, PhotoNote))
    caption = next(earlier, "") if case.answers.caption is None else case.answers.caption
    if not coloured:
        return PhotoNote(caption, case.why)
    measurement = case.analysis.measurement
    errors = tuple((patch.id, round(patch.error, 2)) for patch in measurement.patches if patch.error is not None)
    return PhotoNote(caption, "", measurement.card, errors)


def colour_reading(measurement: Measurement, area: AreaColour, portion: str) -> ColourReading:
    """The record of an area that has a colour."""
    assert area.sample is not None
    return ColourReading(
        portion=portion,
        lab=area.sample.lab,
        covariance=area.sample.covariance,
        grade=area.grade.value,
        reasons=tuple(reason.text for reason in area.sample.reasons),
        pixels=area.pixels,
        spread=area.sample.spread,
        card=measurement.card,
        area=json.dumps([[round(v, 1) for v in point] for point in area.outline]),
        corners=tuple((round(x, 1), round(y, 1)) for x, y in measurement.corners),
        model=measurement.model,
        software=SOFTWARE,
    )


def _entries(
    sha256: str, context: PhotoContext, batch: str, at: datetime, records: Sequence[Record]
) -> tuple[tuple[str, NewEntry], ...]:
    """What brings the entries of a photo to these records: corrections that stay in the history.

    What the maker noted by it, its surface or a strip, goes with it.
    """
    left, changes = list(records), []
    by_itself = [entry for _, entry in context.filed if isinstance(entry.record, (PhotoNote, ColourReading))]
    for code, entry in context.filed:
        new: Record | None = entry.record
        when = at if entry.at in {one.at for one in by_itself} else entry.at
        if entry in by_itself:
            new = next((record for record in left if code == batch and _same_thing(record, entry.record)), None)
            left = [record for record in left if record is not new]
        if new is None or code != batch:
            why = f"corrected: the photo shows {batch} otherwise"
            changes.append((code, NewEntry(Withdrawn(why), context.now, entry.id)))
        if new is not None and (code, new, when) != (batch, entry.record, entry.at):
            changes.append((batch, NewEntry(new, when, entry.id if code == batch else None, sha256)))
    return (*changes, *((batch, NewEntry(record, at, photo=sha256)) for record in left))


def _same_thing(new: Record, old: Record) -> bool:
    """Whether one record can correct the other: the note of the photo, or the colour of one area."""
    return type(new) is type(old) and getattr(new, "area", None) == getattr(old, "area", None)
