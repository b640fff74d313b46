"""Use cases of judging: rules, verdict, what is due, signed acts."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

import numpy as np

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.batch.records import (
    Act,
    AlkaliTest,
    Batch,
    ColourAccepted,
    ColourReading,
    Decision,
    Entry,
    PacketCheck,
)
from curejournal.batch.validation import check_record
from curejournal.colour.difference import Interval, difference_interval
from curejournal.journal.store import Journal
from curejournal.judging import traceability
from curejournal.judging.alkali import Outcome
from curejournal.judging.judgement import Judgement, OtherEdition, judge, other_edition
from curejournal.judging.rebatch import why_held
from curejournal.judging.tasks import Task
from curejournal.judging.traceability import Recall
from curejournal.workflow.json_output import as_json
from curejournal.workflow.room import with_room
from curejournal.workflow.rules import limits_of


class NotReady(CureJournalError):
    """A release was asked for that the evidence does not carry."""


def judge_batch(journal: Journal, code: str, on: datetime) -> Judgement:
    """The verdict on a batch as it stood at a time, with its evidence; a recall names all that it reaches."""
    batch = journal.batch(code)
    around = surroundings(journal, batch, lambda parent: judge_alone(journal, parent, on))
    judgement = judge_alone(journal, batch, on, around)
    if batch.kind == "earlier stock":
        said = msg("not judged here: stock from before this journal")
        return replace(judgement, verdict="not yet", headline=said, due=(), next_step="Nothing is due.")
    if not judgement.recall:
        return judgement
    return replace(judgement, recall=traceability.recall(journal.all_batches(), code, judgement.recall).words)


Around = tuple[str, tuple[PacketCheck, ...], str]
"""What other batches say of one: see `surroundings`."""


def judge_alone(journal: Journal, batch: Batch, on: datetime, around: Around = ("", (), "")) -> Judgement:
    """The verdict on a batch in the workshop's room and under its rules, with what other batches say of it."""
    return judge(with_room(journal, batch), on, limits_of(journal, batch), *around)


def released_under(journal: Journal, code: str, on: datetime) -> OtherEdition | None:
    """What today's rules say of a release that was signed under another edition of them; None if there is none."""
    return other_edition(journal.batch(code), on, lambda at: judge_batch(journal, code, at))


def recall(journal: Journal, code: str, on: datetime) -> tuple[Recall, ...]:
    """The recall questions that concern a batch: its own, and those of batches that have pieces in it.

    Each names every batch that it reaches, and the bars that others have. Empty if nothing raises one.
    """
    batch = journal.batch(code)
    every = journal.all_batches()
    found = []
    for one in (batch, *traceability.ancestors(every, batch.code)):
        questions = judge_alone(journal, one, on).recall
        if questions:
            found.append(traceability.recall(every, one.code, questions))
    return tuple(found)


def due_now(journal: Journal, on: datetime) -> list[tuple[Batch, Task]]:
    """What is due in all batches, most pressing first."""
    every = [batch for batch in journal.all_batches() if batch.kind != "earlier stock"]
    found = {batch.code: judge_alone(journal, batch, on) for batch in every}
    for batch in every:
        around = surroundings(journal, batch, lambda parent: found[parent.code])
        if any(around):
            found[batch.code] = judge_alone(journal, batch, on, around)
    due = [(batch, item) for batch in every for item in found[batch.code].due]
    return sorted(due, key=lambda pair: pair[1].when)


def decide(
    journal: Journal,
    code: str,
    act: Act,
    *,
    signed_by: str,
    statement: str,
    on: datetime,
) -> Entry:
    """Sign a release, a hold, a withdrawal, or that a hold is lifted; the judgement as it stands is frozen with it.

    Raises
    ------
    NotReady
        A release when not every needed check passed, or when pieces in it are of a batch that is held, withdrawn or
        under a recall question; a withdrawal of what was not released; a lifted hold where none stands; staying on
        sale where nothing asks that.
    ImpossibleRecord
        Without a name or a statement.
    """
    judgement = judge_batch(journal, code, on)
    if act == "release" and not judgement.releasable:
        raise NotReady(msg("This batch is not ready: {headline}.", headline=judgement.headline), judgement.next_step)
    batch = journal.batch(code)
    if act == "withdraw" and not any(earlier.act == "release" for _, earlier in batch.records(Decision)):
        raise NotReady(
            msg("This batch was never released, so nothing can be withdrawn."), msg("Sign a hold to keep it back.")
        )
    standing = batch.last_act[1]
    if act == "lift hold" and (standing is None or standing.act != "hold"):
        raise NotReady(
            msg("No hold stands for this batch, so none can be lifted."), msg("Look at what was signed last.")
        )
    if act == "keep on sale" and not judgement.due:
        raise NotReady(
            msg("Nothing asks whether this batch stays on sale."), msg("Sign this where a later reading was bad.")
        )
    decision = Decision(
        act, signed_by, statement, judgement.rules_version, json.dumps(as_json(judgement), ensure_ascii=False)
    )
    check_record(batch, decision, on, now=on)
    return journal.add(code, decision, at=on, by=signed_by)


def accepted_colour(journal: Journal, code: str, portion: str, why: str, on: datetime) -> ColourAccepted:
    """The act that accepts a portion's colour as it is now; the target stays.

    Raises
    ------
    NotReady
        If nothing was read of that portion.
    """
    series = judge_batch(journal, code, on).journeys.get(portion)
    if series is None or series.lab_now is None:
        raise NotReady(
            msg("No colour of “{portion}” was read, so none can be accepted.", portion=portion),
            msg("Photograph it with the card."),
        )
    return ColourAccepted(portion, why, series.lab_now)


def surroundings(journal: Journal, batch: Batch, judged: Callable[[Batch], Judgement]) -> Around:
    """What other batches say of one: why pieces keep it back, its packets of strips, and a parent once held for lye.

    `judged` gives the verdict on each of those others, without regard to what is in it in turn.
    """
    used = {test.packet for _, test in batch.records(AlkaliTest) if test.packet}
    packets = tuple(
        check
        for one in (journal.all_batches() if used else ())
        for _, check in one.records(PacketCheck)
        if one.code != batch.code and check.packet in used
    )
    held = ""
    if traceability.parents(batch.recipe):
        before = traceability.ancestors([*journal.all_batches(), batch], batch.code)
        once = (one.code for one in before if any(t.outcome is Outcome.HIGH for t in judged(one).alkali.tests))
        held = next(once, "")
    return pieces_held(journal, batch, judged), packets, held


def pieces_held(journal: Journal, batch: Batch, judged: Callable[[Batch], Judgement]) -> str:
    """Why the pieces of other batches in a batch keep it back; empty if they do not.

    `judged` gives the verdict on each of those others, without regard to what is in it in turn.
    """
    if batch.kind in NOT_FOR_SALE:
        return NOT_FOR_SALE[batch.kind]
    if not traceability.parents(batch.recipe):
        return ""
    every = {known.code: known for known in (*journal.all_batches(), batch)}
    return why_held(batch, every, judged)


NOT_FOR_SALE = {
    "test pour": msg("it is a test pour, which is not for sale"),
    "earlier stock": msg("it is stock from before this journal, which is not judged here"),
}
"""Kinds of batches that are never released, and why."""


def difference(first: ColourReading, second: ColourReading) -> Interval:
    """How far two kept colours lie apart, ΔE00; their errors count as independent."""
    covariance = np.add(first.covariance, second.covariance)
    return difference_interval(first.lab, second.lab, covariance)
