"""Use cases of what was entered wrongly: take it back, undo it; and what has to be answered before."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import datetime

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.batch.records import AlkaliTest, Batch, Entry, SurfaceNote, Withdrawn
from curejournal.batch.validation import check_record
from curejournal.journal.store import Journal, NewEntry
from curejournal.soap.recipe import Recipe
from curejournal.workflow.verdicts import judge_alone, surroundings


class QuestionStands(CureJournalError):
    """What a recall question rests on was to be changed before somebody answered the question."""


RAISES_A_QUESTION = (AlkaliTest, SurfaceNote, Recipe)
"""Records that may speak against bars that have gone out: each of them is answered, not only the last."""


def take_back(journal: Journal, entry: Entry, *, why: str, by: str, now: datetime) -> Entry:
    """Take an entry back; it stays in the history with the reason.

    Raises
    ------
    ImpossibleRecord
        Without a reason.
    SignatureStays
        If it is a signed act: the next one answers it, see `decide`.
    QuestionStands
        If a recall question rests on it: that is answered first, by a signed act.
    """
    check_record(Batch("", ""), Withdrawn(why), now)
    refuse_while_asked(journal, journal.code_of(entry.id), [entry.id])
    return journal.withdraw(entry.id, why=why, by=by, at=now)


def undo(journal: Journal, *entry_ids: int, why: str, by: str, now: datetime) -> tuple[Entry, ...]:
    """Undo one act in one write: take its entries back and bring back what they corrected or took back.

    Raises
    ------
    ImpossibleRecord
        Without a reason.
    SignatureStays, QuestionStands
        As for `take_back`.
    """
    check_record(Batch("", ""), Withdrawn(why), now)
    for code in dict.fromkeys(journal.code_of(number) for number in entry_ids):
        if code:
            history = {entry.id: entry for entry in journal.history(code)}
            ours = [number for number in entry_ids if number in history]
            earlier = (history.get(history[number].supersedes or 0) for number in ours)
            back = [one for one in earlier if one is not None and not isinstance(one.record, Withdrawn)]
            refuse_while_asked(journal, code, ours, [NewEntry(one.record, one.at) for one in back])
    return journal.undo(*entry_ids, why=why, by=by, at=now)


def refuse_while_asked(journal: Journal, code: str, without: Collection[int], instead: Sequence[NewEntry] = ()) -> None:
    """Refuse a change by which a recall question would lose what it rests on before somebody signed an answer.

    Parameters
    ----------
    journal : Journal
    code : str
        Of the batch; nothing is asked of the workshop itself, whose code is empty.
    without : collection of int
        Numbers of the entries that would no longer count.
    instead : sequence of NewEntry
        What would count in their place.

    Raises
    ------
    QuestionStands
    """
    if not code:
        return
    batch = journal.batch(code)
    gone = [entry for entry in batch.entries if entry.id in without]
    # A corrected entry keeps its place in the history.
    added = (
        Entry(max(without), new.at, "", new.at, new.record) for new in instead if not isinstance(new.record, Withdrawn)
    )
    left = [entry for entry in batch.entries if entry.id not in without]
    after = replace(batch, entries=tuple(sorted([*left, *added], key=lambda entry: (entry.at, entry.id))))
    on = max((entry.at for one in (batch, after) for entry in one.entries), default=None)
    if on is None:
        return
    asked = _asked(journal, batch, on)
    if not asked:
        return
    then = _asked(journal, after, on)
    if not then or (then != asked and any(isinstance(entry.record, RAISES_A_QUESTION) for entry in gone)):
        raise QuestionStands(
            msg("A question stands about bars of {code} that have gone out, and it rests on this entry.", code=code),
            msg("Sign first whether they are withdrawn or stay on sale; then change it, with the reason."),
        )


def _asked(journal: Journal, batch: Batch, on: datetime) -> tuple[str, ...]:
    around = surroundings(journal, batch, lambda parent: judge_alone(journal, parent, on))
    return judge_alone(journal, batch, on, around).recall
