"""What a batch asks for: something to do, from when, and why."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal

from curejournal.base.messages import join, msg
from curejournal.batch.records import SurfaceNote, Weighing
from curejournal.judging.alkali import AlkaliReading, Outcome
from curejournal.judging.browning import FRESH_DAYS, may_brown, out_of_date
from curejournal.judging.checks import SAFETY
from curejournal.judging.colour_series import ColourSeries
from curejournal.judging.colour_states import State
from curejournal.judging.context import Context
from curejournal.judging.drying import Drying
from curejournal.judging.findings import CheckName, Finding, Verdict, what_passed

DAY = timedelta(days=1)


@dataclass(frozen=True)
class Task:
    """Something to do for a batch, from when, and why; `portion` says of which, if not of the whole batch."""

    what: Literal["weigh", "photograph", "test", "look", "release", "decide", "complete"]
    when: datetime
    words: str
    why: str
    portion: str = ""


def list_tasks(context: Context, all_go: bool, held: str, findings: Mapping[CheckName, Finding]) -> tuple[Task, ...]:
    """What a batch that is not released asks for, soonest first.

    Parameters
    ----------
    context : Context
    all_go : bool
        Whether every check passed.
    held : str
        By whose signature it is held; empty if it is not.
    findings : mapping of CheckName to Finding
        One of each check.

    Returns
    -------
    tuple of Task
    """
    poured, on = context.poured_at, context.on
    if poured is None:
        return (Task("complete", on, msg("Enter when it was poured"), msg("age counts from there")),)
    things = [*_at_the_rack(context, poured, findings), *_at_the_desk(on, all_go, held, findings)]
    if context.batch.none_left:
        things = [thing for thing in things if thing.what not in AT_THE_RACK]
    place = context.batch.place
    if place:
        things = [
            replace(thing, words=f"{thing.words} ({place})") if thing.what in AT_THE_RACK else thing for thing in things
        ]
    return tuple(sorted(things, key=lambda thing: (thing.when, thing.what)))


AT_THE_RACK = ("weigh", "photograph", "test", "look")
"""What is done with the bars in hand."""


def _at_the_rack(context: Context, poured: datetime, findings: Mapping[CheckName, Finding]) -> Iterator[Task]:
    """Weigh, photograph, test, look."""
    rules = context.rules
    if context.drying.state is not Drying.STEADY:
        last = max((entry.at for entry in context.batch.of(Weighing)), default=None)
        # The first weight belongs to cut day, about two days after the pour [common practice, no source].
        when = poured + 2 * DAY if last is None else last + rules.check_weekly_days * DAY
        why = msg("all loss is counted from the first weight") if last is None else context.drying.words
        yield Task("weigh", when, msg("Weigh the marked bars"), why)
    photos = (_photo_due(name, journey, context) for name, journey in context.journeys.items())
    yield from (photo for photo in photos if photo is not None)
    if findings["alkali"].verdict is not Verdict.PASS:
        yield _test_due(context, poured, findings)
    surface = findings["surface"]
    if surface.verdict is not Verdict.PASS:
        last = context.batch.of(SurfaceNote)[-1].at if surface.verdict is Verdict.HOLD else None
        when = poured + rules.min_age_days * DAY if last is None else last + rules.check_weekly_days * DAY
        yield Task("look", when, msg("Look at the cut faces of the bars and note it"), surface.words)


def _at_the_desk(on: datetime, all_go: bool, held: str, findings: Mapping[CheckName, Finding]) -> Iterator[Task]:
    """Complete, decide, release."""
    if findings["record complete"].verdict is Verdict.PENDING:
        yield Task("complete", on, msg("Complete the record"), findings["record complete"].words)
    for finding in findings.values():
        if finding.verdict is Verdict.HOLD and finding.check not in SAFETY:
            yield Task("decide", on, msg("Decide whether to sell it as it is"), finding.words)
    if all_go and held:
        why = msg("{held}; nothing else keeps it back", held=held)
        yield Task("decide", on, msg("Decide whether it stays on hold"), why)
    elif all_go:
        yield Task("release", on, msg("Review and release"), _why_release(findings))


def _why_release(findings: Mapping[CheckName, Finding]) -> str:
    """“All checks passed” stands only over checks that all passed."""
    reserved = [finding.qualifier for finding in findings.values() if finding.qualifier]
    return join("; ", [what_passed(findings.values()), *reserved])


def _test_due(context: Context, poured: datetime, findings: Mapping[CheckName, Finding]) -> Task:
    """The test that would tell: a week after one that asks for time; at once, if a stronger kind is what is missing."""
    summary, rules, margin = context.alkali, context.rules, findings["lye margin"]
    later = [test.at for test in summary.holding or summary.tests[-1:] if test.outcome is not Outcome.GOOD]
    early = poured + max(rules.min_age_days - 7, 0) * DAY
    if later:
        when = max(later) + rules.check_weekly_days * DAY
    else:
        when = max([early, *(test.at for test in summary.tests[-1:])])
    over = margin.verdict in (Verdict.PENDING, Verdict.HOLD)
    if over or _needs_titration(context):
        words = "Titrate"
    elif _late_tests(context)[-1:] and _late_tests(context)[-1].method == "strip":
        words = msg("Titrate, or see to what is missing")
    else:
        words = msg("Test for alkali by meter or titration") if summary.tests else msg("Test for alkali")
    if context.batch.recipe is not None and context.batch.recipe.rebatch:
        words = msg("Titrate three of its bars, each under its name")
    alkali = findings["alkali"].words
    why = margin.words if over else alkali
    if summary.holding:
        why = msg("a test holds it: {alkali}", alkali=alkali)
    return Task("test", when, words, why)


def _needs_titration(context: Context) -> bool:
    """Whether no other test would settle it: one held it or was high, or a good one was not enough."""
    summary, late = context.alkali, _late_tests(context)
    held = any(test.method == "titration" or test in late for test in summary.holding)
    contradicted = not summary.holding and any(test.outcome is Outcome.HIGH for test in summary.tests)
    return held or (bool(late) and (contradicted or summary.clearing is not None))


def _late_tests(context: Context) -> list[AlkaliReading]:
    since = context.tests_from
    return [test for test in context.alkali.tests if since is not None and test.at >= since]


def _photo_due(name: str, journey: ColourSeries, context: Context) -> Task | None:
    label = msg("Photograph {name} with the card", name=name) if name else msg("Photograph it with the card")
    done = journey.proven_within or journey.target_lab is None
    at_rest = journey.state in (State.RECOVERED, State.STABLE_OFF) or (journey.state is State.STABLE and done)
    settled = at_rest and journey.state is not State.STABLE_OFF and bool(journey.points)
    watched = settled and may_brown(context)
    if settled and not watched and out_of_date(context, journey):
        why = msg("its last photo is too old to tell its colour now")
        return Task("photograph", context.on, label, why, name)
    if at_rest and not watched:
        return None
    if journey.target_lab is None and not journey.moments:
        return None
    if not journey.points or context.poured_at is None:
        return Task("photograph", context.on, label, msg("no colour was measured yet"), name)
    last = journey.points[-1]
    if watched:
        return Task("photograph", last.at + FRESH_DAYS * DAY, label, msg("later browning cannot be excluded"), name)
    # Visits that follow the change: close while a turn may run, weekly later. Ours.
    wait = min(max(0.5, 0.4 * last.days), context.rules.check_weekly_days)
    why = msg("it is darkening to its target; the next photo will tell whether it has got there")
    return Task("photograph", last.at + wait * DAY, label, why if journey.darkens else _WHY_PHOTO[journey.state], name)


_WHY_PHOTO = {
    State.DISCOLOURING: msg("its colour is changing; the next days will tell where it goes"),
    State.RECOVERING: msg("its colour is recovering; the next photo will tell whether it has recovered"),
    State.BROWNING: msg("it is still browning"),
    State.STABLE: msg("its colour is stable; one more photo can prove that it is the target colour"),
    State.TOO_FEW: msg("there are too few photos to say what its colour does"),
}
"""Why a portion is photographed again; a colour that is back, or settled elsewhere, needs no photo."""
