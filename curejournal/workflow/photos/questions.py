"""What is asked about a photo before it is filed. A new question is one function here, listed in `RULES`.

Each rule looks at a case and asks one question or none; what it asks and how it is answered stands in the question.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

from curejournal.base.messages import msg
from curejournal.documents.formatting import moment
from curejournal.workflow.photos.answers import ALL, Question
from curejournal.workflow.photos.case import Case
from curejournal.workflow.photos.dates import no_original, plain_stem
from curejournal.workflow.photos.portions import SURE

# Batter may be photographed before the pour is noted.
BEFORE_POUR = timedelta(hours=1)
# Of a batch whose pour is not noted: a picture so much older than anything of the batch is asked about. Ours: recipes
# and tests of scent are entered days before the pour, seldom months.
BEFORE_BATCH = timedelta(days=60)
# A minute's grace: clocks of phone and computer differ.
AHEAD = timedelta(minutes=1)
ANOTHER_DATE = msg("The date is right")


def about_date(case: Case) -> Question | None:
    """No date, or one that cannot be; of a picture without a colour the maker may stand by one that is unlikely."""
    context, at = case.context, case.at
    if at is None:
        original = no_original(context.facts)
        doubt = (
            msg("It looks like {original}; take in the photo as it was taken. ", original=original) if original else ""
        )
        nothing = msg("Nothing in it says when it was taken; the file's own date proves nothing. When was it?")
        return Question("date", doubt + nothing)
    confirm = ""
    if at > context.now + AHEAD:
        wrong = msg("Its clock is plainly wrong: {when} lies in the future.", when=moment(at, context.zone))
    elif case.batch is None:
        return None
    elif case.batch.poured_at is not None:
        if at + BEFORE_POUR >= case.batch.poured_at:
            return None
        wrong = msg("Its clock is plainly wrong: {when} is before the pour.", when=moment(at, context.zone))
        confirm = ANOTHER_DATE if case.why else ""
    else:
        begun = min([context.started[case.batch.code], *(entry.at for entry in case.batch.entries)])
        if at + BEFORE_BATCH >= begun:
            return None
        wrong = msg("{when} is long before anything else of this batch.", when=moment(at, context.zone))
        confirm = ANOTHER_DATE
    return Question("date", msg("{wrong} When was it taken?", wrong=wrong), confirm=confirm)


def about_portions(case: Case) -> Question | None:
    """Colours that do not tell which portion they are, or that are unlike their portion."""
    if case.why or not case.match.question or case.batch is None or case.at is None:  # the date comes first
        return None
    outlines = tuple(area.outline for area in case.analysis.measurement.areas)
    if case.match.confidence >= SURE:
        confirm = msg("The colour is right: it is this batch")
        return Question("colour", case.match.question, case.portions, confirm, outlines)
    choices = tuple(dict.fromkeys((*(case.portions or ("soap",)), *case.parts)))
    return Question("portions", case.match.question, choices, outlines=outlines)


def about_areas(case: Case) -> Question | None:
    """A card without a window, and nothing marked beside it."""
    if case.why or case.analysis.measurement.areas or case.answers.areas:
        return None
    text = msg("Which part of the picture shows which portion?")
    return Question("areas", text, case.portions, msg("Nothing in it is to be measured"))


def about_copy(case: Case) -> Question | None:
    """A picture of the same moment and name as one that is kept is most likely the same, edited or converted."""
    facts = case.context.facts
    if case.batch is None or facts.taken_at is None:
        return None
    stem = plain_stem(facts.original_name)
    for other in case.context.photos.get(case.batch.code, ()):
        same = other.facts.taken_at == facts.taken_at and plain_stem(other.facts.original_name) == stem
        if same and other.sha256 != case.analysis.sha256:
            text = msg(
                "It looks like another copy of {original_name}, which is in the batch. Place it too?",
                original_name=other.facts.original_name,
            )
            return Question("copy", text, confirm=msg("Place this copy too"))
    return None


RULES: tuple[Callable[[Case], Question | None], ...] = (
    lambda case: case.batch_asked,
    about_date,
    about_portions,
    about_areas,
    about_copy,
)
"""In the order in which they are asked."""


def asked_about(case: Case) -> tuple[Question, ...]:
    """What is still asked; not what the maker stands by or has chosen an answer to."""
    questions = [question for rule in RULES if (question := rule(case)) is not None]
    confirmed, chosen = case.answers.confirmed, case.answers.chosen or {}
    return tuple(
        question
        for question in questions
        if not (question.confirm and (confirmed == ALL or question.kind in confirmed)) and question.kind not in chosen
    )
