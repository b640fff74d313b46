"""What is asked about a photo, what the maker said about it, and how that is kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from datetime import datetime
from typing import Any

from pydantic import TypeAdapter

from curejournal.journal.store import Journal
from curejournal.photo.find.placement import Points
from curejournal.workflow.photos.analyse import Marks


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

    `portions` name the colours in their order, an empty name leaves one out; `window` is the one portion that the whole
    window shows; `colour` is False for a photo that is kept for the story alone; `confirmed` are kinds of questions
    about which the maker stands by what was found, or `ALL`; `chosen` are other answers by the kind of their question.
    `after` is the last entry that had named the photo when its batch was said: once it has been filed since, and taken
    back, that no longer counts.
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
    caption: str | None = None
    chosen: Mapping[str, str] | None = None

    @property
    def marks(self) -> Marks:
        """What of it was marked in the picture."""
        return Marks(self.areas, self.corners, self.window)

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

_ANSWERS = TypeAdapter(Answers)


def answers_to(journal: Journal, sha256: str) -> Answers:
    """Read what the maker said about a photo so far."""
    return _ANSWERS.validate_python(journal.setting(f"photo {sha256}", {}))


def as_kept(sha256: str, answers: Answers) -> dict[str, Any]:
    """Give answers the form in which a journal keeps them; earlier ones stay in the history."""
    return {f"photo {sha256}": _ANSWERS.dump_python(answers, mode="json")}
