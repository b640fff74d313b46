"""An analysis, what the journal knows and what the maker said, to a filing: what is kept, or what is still asked.

Nothing is read or written here. Of all this only what the maker answered is stored; the rest is worked out each time.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from curejournal.base.errors import CureJournalError
from curejournal.batch.records import Record
from curejournal.batch.validation import check_record
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import NewEntry
from curejournal.photo.analysis import PhotoAnalysis
from curejournal.workflow.photos.answers import Answers, Question
from curejournal.workflow.photos.case import build_case
from curejournal.workflow.photos.context import PhotoContext
from curejournal.workflow.photos.entries import entries_for, records_of
from curejournal.workflow.photos.items import InboxItem, item_of_case
from curejournal.workflow.photos.questions import asked_about


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
    case = build_case(analysis, context, answers)
    questions = asked_about(case)
    alone = "" if context.filed or context.elsewhere else analysis.sha256
    filing = Filing(item_of_case(case, questions), context.facts, answers, unless_filed=alone)
    if questions or case.batch is None or case.at is None:
        return filing
    records = records_of(case)
    entries = entries_for(analysis.sha256, context, case.batch.code, case.at, records)
    try:
        for record in records:
            check_record(case.batch, record, case.at, now=context.now)
    except CureJournalError as refused:
        asked = Question("date", f"{refused.what} {refused.do}".strip())
        waits = replace(filing.item, state="needs you", why=asked.text, questions=(asked,))
        return replace(filing, item=waits)
    return replace(filing, records=records, entries=entries)
