"""The inbox: photos that wait for the maker, and one call to place or correct each.

A photo waits as a kept photo that no entry names; why it waits is worked out each time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

import cv2
import numpy as np

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg, msg_n
from curejournal.batch.records import Batch, ColourReading
from curejournal.journal.store import Journal, KeptPhoto
from curejournal.photo.analysis import PhotoAnalysis
from curejournal.photo.card import Card
from curejournal.photo.placement import Points, as_points
from curejournal.photo.read.picture_file import taken_from_name
from curejournal.workflow.cards import find_card
from curejournal.workflow.photos.answers import Answers, answers_to
from curejournal.workflow.photos.commit import commit, kept_analysis
from curejournal.workflow.photos.context import context_of
from curejournal.workflow.photos.dates import Clock
from curejournal.workflow.photos.items import InboxItem, filed_item
from curejournal.workflow.photos.propose import Filing, propose


class PhotoWaits(CureJournalError):
    """A photo that cannot be placed yet: something about it is still asked."""


def inbox_items(journal: Journal, card: Card, now: datetime) -> tuple[InboxItem, ...]:
    """Every photo that waits for the maker or was set aside, in the order in which they came."""
    items = [_proposed(journal, photo, card, now).item for photo in journal.unfiled_photos()]
    unfinished = msg("Its import was interrupted: import the photos again, or place it.")
    return tuple(
        item if item.questions or item.state == "set aside" else replace(item, state="needs you", why=unfinished)
        for item in items
    )


def item_of(journal: Journal, sha256: str, card: Card, now: datetime) -> InboxItem:
    """What became of one photo.

    Raises
    ------
    NotInJournal
    """
    photo = journal.photo(sha256)
    filed = journal.entries_of_photo(sha256)
    if filed:
        return filed_item(sha256, photo.facts, filed, kept_analysis(journal, sha256, card).surface)
    return _proposed(journal, photo, card, now).item


def file_if_clear(
    journal: Journal,
    sha256: str,
    card: Card,
    *,
    by: str,
    now: datetime,
    analysis: PhotoAnalysis | None = None,
    at: datetime | None = None,
) -> InboxItem:
    """File a photo under its batch if nothing about it needs to be asked; safe to call any number of times.

    `analysis` is its analysis, if it is at hand; `at` is when it was taken, if that is known better than it was kept.
    """
    answers = answers_to(journal, sha256)
    if at is not None and answers.at is None:
        answers = replace(answers, at=at, by=by)
    analysis = analysis or kept_analysis(journal, sha256, card, answers.marks_for(card))
    photo = journal.photo(sha256)
    filing = propose(analysis, context_of(journal, analysis, photo.facts, answers, now), answers)
    if not filing.unless_filed or filing.item.state == "set aside":  # filed, or not to be
        return item_of(journal, sha256, card, now)
    if not filing.entries and at is None:
        return filing.item
    commit(journal, filing, by=by)
    filed = journal.entries_of_photo(sha256)
    return filed_item(sha256, photo.facts, filed, analysis.surface) if filed else filing.item


def _proposed(journal: Journal, photo: KeptPhoto, card: Card, now: datetime, answers: Answers | None = None) -> Filing:
    """What a kept photo needs, by answers that are not kept yet or by those that are."""
    answers = answers or answers_to(journal, photo.sha256)
    analysis = kept_analysis(journal, photo.sha256, card, answers.marks_for(card))
    return propose(analysis, context_of(journal, analysis, photo.facts, answers, now), answers)


# --- placing and correcting ----------------------------------------------------------------


def place(
    journal: Journal, sha256: str, new: Answers, *, card: Card, by: str, now: datetime, whole: bool = False
) -> InboxItem:
    """Answer what is asked about a photo, or correct what was placed; the same call twice changes nothing.

    Parameters
    ----------
    new : Answers
        What the maker says now; what it leaves unsaid stays as it was.
    whole : bool
        Keep no answer that a placed photo cannot follow.

    Returns
    -------
    InboxItem
        With what is still asked, if anything is.

    Raises
    ------
    NotInJournal
    PhotoWaits
        If a placed photo cannot follow: it stays as it was, and the answers are kept, unless `whole`.
    """
    photo = journal.photo(sha256)
    if new.batch is not None:
        new = replace(new, batch=journal.batch(new.batch).code)
    filed = journal.entries_of_photo(sha256)
    said = answers_to(journal, sha256)
    if filed and said.batch is None:
        said = replace(said, batch=filed[0][0])
    if new.corners:
        new = replace(new, corners_of=card.name)
    if (new.portions is not None or new.window) and not new.areas:
        said = replace(said, areas=None, window="")
    after = said.after if new.batch is None and not filed else journal.last_naming(sha256)
    filing = _proposed(journal, photo, card, now, replace(said.with_these(new), aside="", by=by, after=after))
    if filed and (filing.questions or filing.item.at is None):
        if not whole:
            commit(journal, filing, by=by)
        why, kept = filing.item.why, msg("It stays placed as it was; your answers are kept.")
        raise PhotoWaits(why, msg("Answer it, and the photo is corrected."), kept)
    commit(journal, filing, by=by)
    return item_of(journal, sha256, card, now) if filing.records else filing.item


def set_aside(journal: Journal, sha256: str, *, why: str, by: str) -> None:
    """Say that a waiting photo is none of the journal's; it stays kept, and `place` takes it up again.

    Raises
    ------
    PhotoWaits
        If it is placed: that has to be taken back first.
    """
    if journal.entries_of_photo(sha256):
        raise PhotoWaits(msg("This photo is placed in a batch."), msg("Take its entries back first."))
    facts = journal.photo(sha256).facts
    answers = replace(answers_to(journal, sha256), aside=why or "set aside", by=by)
    item = InboxItem(sha256, facts.original_name, "set aside", "", facts.taken_at, answers.aside)
    commit(journal, Filing(item, facts, answers), by=by)


def set_clock(
    journal: Journal, photos: Sequence[str], clock: Clock, *, card: Card, by: str, now: datetime
) -> tuple[InboxItem, ...]:
    """Read the clock of the camera otherwise for a whole set; the same call twice changes nothing.

    Photos whose date comes from nowhere but the maker keep it.

    Raises
    ------
    NotInJournal
    PhotoWaits
        If some of the placed ones cannot have been taken then; these stay as they were, the others are set.
    """
    items: list[InboxItem] = []
    left: list[str] = []
    for sha256 in photos:
        try:
            kept = journal.photo(sha256)
            taken = kept_analysis(journal, sha256, card).taken or taken_from_name(kept.facts.original_name)
            new = Answers(at=clock.moment(taken)) if taken else Answers()
            items.append(place(journal, sha256, new, card=card, by=by, now=now, whole=True))
        except PhotoWaits as waits:
            left.append(msg("{original_name}: {what}", original_name=kept.facts.original_name, what=waits.what))
        except CureJournalError as fault:
            if not items:
                raise
            raise fault.after(
                msg("The clock of {items} is set.", items=msg_n("{number} other", "{number} others", len(items)))
            ) from fault
    if left:
        others = (
            msg("; the clock of {items} is set", items=msg_n("{number} other", "{number} others", len(items)))
            if items
            else ""
        )
        safe = msg("{left} placed as before{others}.", left="They stay" if len(left) > 1 else "It stays", others=others)
        raise PhotoWaits(join(" ", left), msg("Check how far the clock was off, or date each by itself."), safe)
    return tuple(items)


# --- areas to begin with -------------------------------------------------------------------


def proposed_areas(journal: Journal, batch: Batch, card: Card, corners: Points, but: str = "") -> dict[str, Points]:
    """The areas of the batch's latest photo, where they would lie in one whose card has these corners; a proposal.

    Only from a photo of the same kind of card: the window of one card is a patch of another.

    Parameters
    ----------
    corners : Points
        Of the card, clockwise from its own top left, in full-size pixels; none gives no proposal.
    but : str, optional
        The hash of a photo to be left out: the one that is asked about.
    """
    earlier = [entry for entry in batch.of(ColourReading) if entry.photo and entry.photo != but]
    if len(corners) != 4 or not earlier:
        return {}
    last = [entry.record for entry in earlier if entry.photo == earlier[-1].photo]
    areas: dict[str, Points] = {}
    for record in last:
        if not record.outline or len(record.corners) != 4:
            continue
        if _same_kind(journal, record.card, card):
            turn = cv2.getPerspectiveTransform(np.array(record.corners, np.float32), np.array(corners, np.float32))
            moved = cv2.perspectiveTransform(np.array([record.outline]), turn)[0]
            areas[record.subject] = as_points(moved.astype(float))
    return areas


def _same_kind(journal: Journal, name: str, card: Card) -> bool:
    """Whether the card of a name is laid out as this one, be it another copy of it."""
    try:
        other = find_card(name, journal)
    except CureJournalError:  # a card from a file that was never the journal's own
        return name == card.name
    return (other.size_mm, other.window, other.markers) == (card.size_mm, card.window, card.markers)


def card_corners(journal: Journal, sha256: str, card: Card) -> Points:
    """The corners of the card in a kept photo; none if it was not found."""
    return kept_analysis(journal, sha256, card).measurement.corners
