"""A photo that the maker files under a batch: an import of one, in which nothing waits."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg
from curejournal.batch.records import Entry
from curejournal.journal.store import Journal
from curejournal.photo.analysis import PhotoAnalysis, analyse
from curejournal.photo.card import Card
from curejournal.workflow.photos.answers import Answers
from curejournal.workflow.photos.commit import cards_for, commit, keep_analysis
from curejournal.workflow.photos.context import context_of
from curejournal.workflow.photos.dates import facts_of
from curejournal.workflow.photos.inbox import PhotoWaits
from curejournal.workflow.photos.items import InboxItem, State, filed_item
from curejournal.workflow.photos.propose import Filing, propose
from curejournal.workflow.settings import time_zone

Outcome = State | Literal["already there", "left out", "not a photo"]

ANSWER = msg("Say it with the photo.")


@dataclass(frozen=True)
class Source:
    """A file to take in: its name and how to read it."""

    name: str
    read: Callable[[], bytes]


@dataclass(frozen=True)
class Arrival:
    """What became of one file. `item` is what is known of it as a photo; None where nothing was kept."""

    name: str
    outcome: Outcome
    why: str
    item: InboxItem | None = None
    entries: tuple[Entry, ...] = ()
    analysis: PhotoAnalysis | None = None


def preview(journal: Journal, code: str, analysis: PhotoAnalysis, name: str, answers: Answers, now: datetime) -> Filing:
    """What a photo would make in a batch, or what is asked first; keeps nothing.

    Raises
    ------
    NotInJournal
    """
    batch = journal.batch(code)
    facts = facts_of(analysis, name, time_zone(journal))
    if answers.at is not None:
        facts = replace(facts, taken_at=answers.at, taken_from="maker")
    context = context_of(journal, analysis, facts, replace(answers, batch=batch.code), now)
    elsewhere = tuple(dict.fromkeys(other for other, _ in context.filed if other != batch.code))
    filed = tuple((other, entry) for other, entry in context.filed if other == batch.code)
    said = replace(answers, batch=batch.code, after=context.last_naming)
    return propose(analysis, replace(context, filed=filed, elsewhere=elsewhere), said)


def add_photo(
    journal: Journal,
    code: str,
    source: Source,
    card: Card | None,
    answers: Answers | None = None,
    *,
    by: str,
    now: datetime,
    story: bool = False,
) -> Arrival:
    """File a photo under a batch with its readings, in one write.

    Parameters
    ----------
    card : Card, optional
        None keeps the picture for the story alone.
    answers : Answers, optional
        What the maker says with it: when it was taken, what shows which portion, a caption.
    story : bool
        Keep a photo without a colour too, for the story, as one in which nothing was marked; otherwise it is left out.

    Raises
    ------
    PhotoWaits
        If something is asked that the answers do not tell.
    ImpossibleRecord, NotAPicture, PictureDamaged, PictureTooLarge, CornersInvalid, NotInJournal
        Nothing is kept then.
    """
    journal.batch(code)
    answers, data = answers or Answers(), source.read()
    if card is not None and answers.corners:
        answers = replace(answers, corners_of=card.name)
    analysis = analyse(data, cards_for(journal, card), answers.marks_for(card))
    return add_analysed(
        journal, code, Source(source.name, lambda: data), analysis, answers, by=by, now=now, story=story
    )


def add_analysed(
    journal: Journal,
    code: str,
    source: Source,
    analysis: PhotoAnalysis,
    answers: Answers,
    *,
    by: str,
    now: datetime,
    story: bool = False,
) -> Arrival:
    """File a photo whose analysis was made already, with the marks of these answers; see `add_photo`."""
    known = journal.entries_of_photo(analysis.sha256)
    if code in {filed for filed, _ in known}:
        item = filed_item(analysis.sha256, journal.photo(analysis.sha256).facts, known, analysis.surface)
        return Arrival(source.name, "already there", msg("This photo is already in this batch."), item)
    filing = preview(journal, code, analysis, source.name, replace(answers, by=by), now)
    if story and {question.kind for question in filing.questions} == {"areas"}:
        filing = preview(journal, code, analysis, source.name, replace(answers, by=by, colour=False), now)
    if filing.questions:
        do = join(
            " ",
            (question.confirm and msg("If so: {confirm}.", confirm=question.confirm) for question in filing.questions),
        )
        raise PhotoWaits(join(" ", (question.text for question in filing.questions)), do.strip() or ANSWER)
    if filing.item.no_colour and not story:
        return Arrival(source.name, "left out", filing.item.no_colour, analysis=analysis)
    entries = commit(journal, filing, by=by, original=source.read())
    keep_analysis(journal, analysis)
    also = join(", ", dict.fromkeys(other for other, _ in known))
    why = join(" ", filter(None, (filing.item.why, also and msg("The same photo is in batch {also} too.", also=also))))
    return Arrival(source.name, filing.item.state, why, filing.item, entries, analysis)


def add_photos(
    journal: Journal,
    code: str,
    sources: Sequence[Source],
    card: Card | None,
    answers: Answers,
    *,
    by: str,
    now: datetime,
    story: bool = False,
) -> list[Arrival]:
    """File photos under a batch, one after the other; a refusal says which it is of, and which were kept before it.

    Raises
    ------
    CureJournalError
        See `add_photo`.
    """
    arrivals: list[Arrival] = []
    for source in sources:
        try:
            arrivals.append(add_photo(journal, code, source, card, answers, by=by, now=now, story=story))
        except CureJournalError as fault:
            if not arrivals:
                raise
            kept = join(", ", (arrival.name for arrival in arrivals if arrival.entries))
            safe = msg("Kept before it: {kept}.", kept=kept) if kept else fault.safe
            raise CureJournalError(
                msg("{name}: {what}", name=source.name, what=fault.what),
                msg("{do} Then take in the rest.", do=fault.do),
                safe,
            ) from fault
    return arrivals
