"""What is asked about a photo, what the maker said about it, and how that is kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from datetime import datetime

from curejournal.batch.workshop import PhotoAnswers
from curejournal.journal.store import Journal, NewEntry
from curejournal.photo.analysis import Marks
from curejournal.photo.card import Card
from curejournal.photo.placement import Points


@dataclass(frozen=True)
class Question:
    """Something that only the maker knows.

    `kind` names it, and the answer to it: what is chosen from `choices`, if there are any. Where the maker may stand by
    what was found, `confirm` says so in words for a tick. `outlines` are the places in the picture that it is about.
    """

    kind: str
    text: str
    choices: tuple[str, ...] = ()
    confirm: str = ""
    outlines: tuple[Points, ...] = ()


@dataclass(frozen=True)
class Answers:
    """What the maker said about a photo; what is None or empty was not said.

    `portions` name the colours in their order, an empty name leaves one out; `corners` are those of the card
    `corners_of`; `window` is the one portion that the whole window shows; `colour` is False for a photo that is kept
    for the story alone; `confirmed` are kinds of questions about which the maker stands by what was found, or `ALL`;
    `chosen` are other answers by the kind of their question. `after` is the last entry that had named the photo when
    its batch was said: once it has been filed since, and taken back, that no longer counts.
    """

    batch: str | None = None
    at: datetime | None = None
    portions: tuple[str, ...] | None = None
    areas: Mapping[str, Points] | None = None
    colour: bool | None = None
    confirmed: tuple[str, ...] = ()
    aside: str = ""
    by: str = ""
    after: int = 0
    window: str = ""
    corners: tuple[tuple[float, float], ...] = ()
    corners_of: str = ""
    caption: str | None = None
    chosen: Mapping[str, str] | None = None

    def marks_for(self, card: Card | None) -> Marks:
        """What of it was marked in the picture; corners count for the card that they were marked of."""
        corners = self.corners if card is not None and self.corners_of in ("", card.name) else ()
        return Marks(self.areas, corners, self.window)

    def with_these(self, new: Answers) -> Answers:
        """Add newer answers: what they leave unsaid stays as it was said."""
        said = {field.name: getattr(new, field.name) for field in fields(new)}
        told = {name: value for name, value in said.items() if value not in (None, (), "", {})}
        both = tuple(dict.fromkeys(self.confirmed + new.confirmed))
        confirmed = ALL if ALL in (self.confirmed, new.confirmed) else both
        chosen = {**(self.chosen or {}), **(new.chosen or {})} or None
        return replace(self, **{**told, "confirmed": confirmed, "chosen": chosen})


ALL = ("all",)
"""Stands for every kind of question in `Answers.confirmed`."""


def answers_to(journal: Journal, sha256: str) -> Answers:
    """Read what the maker said about a photo so far."""
    said = journal.of_workshop(PhotoAnswers, sha256)
    if not said:
        return Answers()
    kept = said[-1].record
    return Answers(
        batch=kept.of_batch or None,
        at=datetime.fromisoformat(kept.taken_at) if kept.taken_at else None,
        portions=kept.portions,
        areas=None if kept.areas is None else dict(kept.areas),
        colour=kept.colour,
        confirmed=kept.confirmed,
        aside=kept.aside,
        by=said[-1].by,
        after=kept.after,
        window=kept.window,
        corners=kept.corners,
        caption=kept.caption or None,
        chosen=None if kept.chosen is None else dict(kept.chosen),
        corners_of=kept.corners_of,
    )


def as_entries(journal: Journal, sha256: str, answers: Answers) -> list[NewEntry]:
    """Give answers the entry of the workshop in which they are kept; none if they say nothing new."""
    if answers == answers_to(journal, sha256):
        return []
    record = PhotoAnswers(
        of_batch=answers.batch or "",
        taken_at=answers.at.isoformat() if answers.at else "",
        portions=answers.portions,
        areas=None if answers.areas is None else tuple(answers.areas.items()),
        colour=answers.colour,
        confirmed=answers.confirmed,
        aside=answers.aside,
        after=answers.after,
        window=answers.window,
        corners=answers.corners,
        caption=answers.caption or "",
        chosen=None if answers.chosen is None else tuple(answers.chosen.items()),
        corners_of=answers.corners_of,
    )
    return [NewEntry(record, journal.clock(), photo=sha256)]
