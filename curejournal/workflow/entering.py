"""All that one form says, kept in one write."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from curejournal.batch.records import Entry, Record
from curejournal.journal.changes import Changes, NewEntry
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import Journal
from curejournal.photo.read.picture_file import read_photo
from curejournal.workflow.batches import doubts_about
from curejournal.workflow.corrections import refuse_while_asked
from curejournal.workflow.photos.adding import Source
from curejournal.workflow.settings import as_kept


def enter_all(
    journal: Journal,
    code: str,
    records: Sequence[Record],
    *,
    at: datetime,
    by: str,
    now: datetime,
    supersedes: int | None = None,
    photo: Source | None = None,
    settings: Mapping[str, Any] | None = None,
) -> tuple[Entry, ...]:
    """Enter all that one form says, once its doubts were answered: in one write, all of it or nothing.

    Parameters
    ----------
    journal, code, records
        What is entered of which batch.
    supersedes : int, optional
        The entry that the one record corrects; what is corrected is still told by its photo.
    photo : Source, optional
        A photo that the records are filed with, such as that of a scale's display.
    settings : mapping, optional
        What the form remembers: fields of `Settings` by their names.

    Raises
    ------
    ImpossibleRecord, NotAPicture, QuestionStands, EntryRefused
    """
    for record in records:
        doubts_about(journal, code, record, at=at, now=now, supersedes=supersedes)
    if supersedes is not None:
        refuse_while_asked(journal, code, [supersedes], [NewEntry(record, at) for record in records])
    filed = next((entry.photo for entry in journal.batch(code).entries if entry.id == supersedes), None)
    photos = []
    if photo is not None:
        data = photo.read()
        seen = read_photo(data)
        filed = hashlib.sha256(data).hexdigest()
        photos = [(data, PhotoFacts(seen.suffix, seen.width, seen.height, at, "maker", photo.name))]
    entries = [NewEntry(record, at, supersedes, filed, code) for record in records]
    return journal.commit(Changes(entries, photos, as_kept(**(settings or {}))), by=by)
