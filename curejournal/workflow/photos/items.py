"""A photo as the inbox and the pages show it: waiting, or as its entries have it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from curejournal.base.messages import join, msg
from curejournal.batch.descriptions import describe
from curejournal.batch.records import AlkaliTest, ColourReading, Entry, PhotoNote
from curejournal.colour.sample import Grade, Lab
from curejournal.journal.photos import PhotoFacts
from curejournal.photo.placement import Points
from curejournal.photo.window.surface import Finding
from curejournal.workflow.photos.answers import Question
from curejournal.workflow.photos.case import Case

State = Literal["placed", "no colour", "needs you", "set aside"]


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


def item_of_case(case: Case, questions: tuple[Question, ...]) -> InboxItem:
    """Show a photo that is not filed, or as it would be."""
    answers, facts = case.answers, case.context.facts
    text = join(" ", [*([case.why] if case.why else []), *(question.text for question in questions)])
    found: State = "no colour" if case.why else "placed"
    asked: State = "needs you" if questions else found
    state: State = "set aside" if answers.aside else asked
    return InboxItem(
        case.analysis.sha256,
        facts.original_name,
        state,
        case.batch.code if case.batch else "",
        case.at,
        answers.aside or text,
        questions,
        _colours(case),
        tuple(finding for finding in case.analysis.surface if not (case.on_pour_day and finding.kind == "white film")),
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


def filed_item(
    sha256: str, facts: PhotoFacts, filed: Sequence[tuple[str, Entry]], surface: Sequence[Finding]
) -> InboxItem:
    """A photo as its entries have it."""
    colours, why, tested = [], "", False
    for _, entry in filed:
        if isinstance(entry.record, ColourReading):
            read = entry.record
            colours.append(PhotoColour(read.subject, read.outline, 0.0, read.lab, Grade(read.grade), read.reasons))
        elif isinstance(entry.record, PhotoNote):
            why = entry.record.why_no_colour
        elif isinstance(entry.record, AlkaliTest):
            why, tested = msg("{record}.", record=describe(entry.record)), True
    state: State = "placed" if colours or tested else "no colour"
    code, at = filed[0][0], filed[0][1].at
    seen = tuple(surface) if colours else ()
    return InboxItem(sha256, facts.original_name, state, code, at, why, (), tuple(colours), seen)
