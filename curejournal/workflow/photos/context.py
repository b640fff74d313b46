"""What a journal knows that bears on one photo, as a value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo

from curejournal.batch.records import Batch, Entry
from curejournal.journal.photos import KeptPhoto, PhotoFacts
from curejournal.journal.store import Journal
from curejournal.photo.analysis import PhotoAnalysis
from curejournal.workflow.photos.answers import Answers
from curejournal.workflow.photos.tags import kept_journal_id
from curejournal.workflow.settings import time_zone


@dataclass(frozen=True)
class PhotoContext:
    """What bears on one photo, read at one time.

    `batches` are those that its tags, its entries and the maker's answers name, by their codes; `photos` are theirs,
    `started` is when each was begun.
    `filed` are its current entries, each with the code of its batch; `elsewhere` are further batches that it is in and
    stays in; `last_naming` is the last entry that ever named it, 0 if none did.
    """

    facts: PhotoFacts
    now: datetime
    zone: tzinfo
    tag_id: str
    batches: Mapping[str, Batch]
    started: Mapping[str, datetime]
    photos: Mapping[str, tuple[KeptPhoto, ...]]
    filed: tuple[tuple[str, Entry], ...] = ()
    elsewhere: tuple[str, ...] = ()
    last_naming: int = 0


def context_of(
    journal: Journal, analysis: PhotoAnalysis, facts: PhotoFacts, answers: Answers, now: datetime
) -> PhotoContext:
    """Read what bears on a photo.

    Raises
    ------
    NotInJournal
        If the maker named a batch that there is not.
    """
    filed = journal.entries_of_photo(analysis.sha256)
    tag_id = kept_journal_id(journal) or ""
    started = {head.code: head.started_at for head in journal.batches()}
    tagged = {tag.code for tag in analysis.tags if tag.journal == tag_id} & started.keys()
    named = tagged | {code for code, _ in filed} | ({answers.batch} if answers.batch is not None else set())
    batches = {code: journal.batch(code) for code in named}
    return PhotoContext(
        facts,
        now,
        time_zone(journal),
        tag_id,
        batches,
        started,
        {code: journal.photos_of(code) for code in batches},
        filed,
        (),
        journal.last_naming(analysis.sha256),
    )
