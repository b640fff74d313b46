"""What is to be kept at once: all that one press of a form says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from curejournal.batch.records import Record
from curejournal.journal.photos import PhotoFacts

NEW_CONTACT = 0
"""In a record of `Changes`, the number of the contact that is kept with it."""


@dataclass(frozen=True)
class NewEntry:
    """A record to be entered: when it happened, which entry it corrects, which photo it came from.

    `batch` is the code of its batch; empty for one of the workshop itself. It is only asked for in `Changes`.
    """

    record: Record
    at: datetime
    supersedes: int | None = None
    photo: str | None = None
    batch: str = ""


@dataclass(frozen=True)
class NewBatch:
    """A batch to be started: its code (at most 40 characters), its name (120), and when."""

    code: str
    name: str
    at: datetime


@dataclass(frozen=True)
class NewContact:
    """Somebody to be known by a number: a name (120 characters), and how to reach them (2,000).

    `corrects` is the number of a contact whose words these replace.
    """

    name: str
    details: str = ""
    corrects: int | None = None


@dataclass(frozen=True)
class Press:
    """One press of a button: a key of its own (at most 80 characters), and when, by the clock of whoever pressed.

    A press that comes again, since its answer was lost on the way, is kept once. So are two presses of one record that
    are not further apart than `once_within`: a finger that slipped, or two people who saw the same. Zero, the usual,
    tells them apart by their keys alone.
    """

    key: str
    at: datetime
    once_within: timedelta = timedelta(0)


@dataclass(frozen=True)
class Changes:
    """All that one press keeps: in one transaction, all of it or nothing.

    Parameters
    ----------
    entries : sequence of NewEntry
        In their order; of any kinds and batches.
    photos : sequence of (bytes, PhotoFacts)
        Originals that they name, or that are kept for later.
    settings : mapping of name to value
        Anything that JSON can hold.
    start : NewBatch, optional
        A batch that is started before the entries.
    contact : NewContact, optional
        Somebody whom records name as `NEW_CONTACT`.
    press : Press, optional
        What it came from.
    unless_filed : str
        The hash of a photo: if an entry of a batch names it already, entries of batches are left out.
    """

    entries: Sequence[NewEntry] = ()
    photos: Sequence[tuple[bytes, PhotoFacts]] = ()
    settings: Mapping[str, Any] = field(default_factory=dict)
    start: NewBatch | None = None
    contact: NewContact | None = None
    press: Press | None = None
    unless_filed: str = ""
