"""Commit a filing to the journal in one write; and the analyses that are cached beside it."""

from __future__ import annotations

import hashlib
from dataclasses import replace

from pydantic import TypeAdapter

from curejournal.batch.records import Entry
from curejournal.batch.workshop import PhotoAnswers
from curejournal.journal.store import Changes, Journal
from curejournal.photo.analysis import ANALYSIS_VERSION, Cards, Marks, PhotoAnalysis, analyse
from curejournal.photo.card import Card
from curejournal.workflow.cards import find_card
from curejournal.workflow.corrections import refuse_while_asked
from curejournal.workflow.photos.answers import answers_to, as_entries
from curejournal.workflow.photos.propose import Filing
from curejournal.workflow.software import SOFTWARE

_ANALYSIS = TypeAdapter(PhotoAnalysis)


def commit(journal: Journal, filing: Filing, *, by: str, original: bytes | None = None) -> tuple[Entry, ...]:
    """Keep what the maker said about a photo and enter its records, all of it or nothing.

    Parameters
    ----------
    original : bytes, optional
        The file itself, if it is not in the journal yet.

    Returns
    -------
    tuple of Entry
        Empty if something is still asked, or if another window has filed the photo meanwhile.

    Raises
    ------
    QuestionStands
        If a recall question rests on a colour that would be corrected.
    """
    said = as_entries(journal, filing.item.sha256, filing.answers)
    entries = [replace(new, batch=code) for code, new in filing.entries]
    for code in {code for code, new in filing.entries if new.supersedes is not None}:
        news = [new for of, new in filing.entries if of == code]
        refuse_while_asked(journal, code, [new.supersedes for new in news if new.supersedes is not None], news)
    photos = [(original, filing.facts)] if original is not None else []
    made = journal.commit(Changes([*said, *entries], photos, unless_filed=filing.unless_filed), by=by)
    return tuple(entry for entry in made if not isinstance(entry.record, PhotoAnswers))


def cards_for(journal: Journal, card: Card | None) -> Cards:
    """A card to look for, with its enrolled copies by their ids."""
    if card is None:
        return Cards(None)
    kept = {copy.copy_id: find_card(copy.name, journal) for copy in journal.cards() if copy.copy_id}
    return Cards(card, {copy_id: copy for copy_id, copy in kept.items() if copy.markers == card.markers})


def kept_analysis(journal: Journal, sha256: str, card: Card | None, marks: Marks | None = None) -> PhotoAnalysis:
    """The analysis of a kept photo: made once, then read.

    `marks` are what the maker marked in it; those that are kept if it is left out.
    """
    cards = cards_for(journal, card)
    marks = answers_to(journal, sha256).marks_for(card) if marks is None else marks

    def make() -> bytes:
        return _ANALYSIS.dump_json(analyse(journal.photo_bytes(sha256), cards, marks))

    return _ANALYSIS.validate_json(journal.derived(sha256, _name(cards.fingerprint, marks), make))


def keep_analysis(journal: Journal, analysis: PhotoAnalysis) -> None:
    """Put an analysis by, so that it need not be made again."""
    name = _name(analysis.cards, analysis.marks)
    journal.derived(analysis.sha256, name, lambda: _ANALYSIS.dump_json(analysis))


def _name(cards: str, marks: Marks) -> str:
    """The name under which analyses are kept: another version, other cards or marks make another analysis."""
    of = hashlib.sha256("\n".join([SOFTWARE, cards, repr(marks)]).encode()).hexdigest()[:16]
    return f"analysis-{ANALYSIS_VERSION}-{of}.json"
