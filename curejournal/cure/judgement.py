"""All findings together: ready, not yet, or hold; and what to do next."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

import numpy as np

from curejournal.counting import how_many
from curejournal.cure.alkali_course import AlkaliSummary, Outcome, read_tests
from curejournal.cure.house import HouseRules
from curejournal.cure.intended import aim_sd
from curejournal.cure.journey import Journey, follow
from curejournal.cure.lineage import gone_out, gone_words
from curejournal.cure.records import (
    AlkaliTest,
    BarsOut,
    Batch,
    ColourReading,
    Decision,
    Entry,
    SurfaceNote,
    Weighing,
)
from curejournal.cure.rules import RULES, Context, Finding, Gauge, Verdict
from curejournal.cure.states import State
from curejournal.cure.weight import Drying, DryingReport, weigh_up
from curejournal.errors import CureJournalError
from curejournal.soap.lye import LyeCheck, check_lye
from curejournal.soap.recipe import Recipe

DAY = timedelta(days=1)

NEEDED = ("alkali", "age", "drying")
"""Gauges without which nobody can know: *not known* there is never *ready*."""

LOCAL_CODES = (
    "This supports a maker's judgement. Cosmetics law, labels and safety assessment follow local codes and "
    "licensed practice."
)
STRIPS = "pH strips do not prove safety, and a usual pH does not show that no lye is over."
LYE = (
    "Lye burns: goggles and gloves; lye into water, never water into lye; fresh air; children and animals away. "
    "Rinse skin with much water and get help."
)


@dataclass(frozen=True)
class DueThing:
    """Something to do for a batch, from when, and why; `portion` says of which, if not of the whole batch."""

    what: Literal["weigh", "photograph", "test", "look", "release", "decide", "complete"]
    when: datetime
    words: str
    why: str
    portion: str = ""


@dataclass(frozen=True)
class Judgement:
    """A batch's verdict with all its evidence.

    `releasable` says that every gauge says go, and no pieces in it are of a batch that is held back: so does the
    verdict, unless somebody signed a hold or a withdrawal.
    `from_about` is when it may be ready: earliest, middle and latest (95%;
    None is unknown). `recall` are questions raised by readings after a release.
    `rules_version` names the rules that made it.
    """

    on: datetime
    verdict: Literal["ready", "not yet", "hold"]
    releasable: bool
    headline: str
    from_about: tuple[datetime | None, datetime | None, datetime | None]
    findings: tuple[Finding, ...]
    next_step: str
    due: tuple[DueThing, ...]
    journeys: Mapping[str, Journey]
    drying: DryingReport
    lye: LyeCheck | None
    alkali: AlkaliSummary
    recall: tuple[str, ...]
    released_at: datetime | None
    cautions: tuple[str, ...]
    rules_version: str


def judge(batch: Batch, on: datetime, rules: HouseRules | None = None, pieces: str = "") -> Judgement:
    """Judge a batch as it was known at one time.

    Parameters
    ----------
    batch : Batch
        Its current entries; those after `on` are left aside.
    on : datetime
        With its offset.
    rules : HouseRules, optional
        The maker's limits; by default those of the trade.
    pieces : str
        Why the pieces of other batches in it keep it back; empty if they do not.

    Returns
    -------
    Judgement
        The same for the same entries, time and rules.

    """
    context = look_at(batch, on, rules or HouseRules())
    findings = tuple(rule(context) for rule in RULES)
    holds = [finding for finding in findings if finding.verdict is Verdict.HOLD]
    waits = [
        finding
        for finding in findings
        if finding.verdict is Verdict.WAIT or (finding.verdict is Verdict.UNKNOWN and finding.gauge in NEEDED)
    ]
    held = "; ".join(filter(None, (_held(context.batch), pieces)))
    verdict: Literal["ready", "not yet", "hold"] = "hold" if holds or held else ("not yet" if waits else "ready")
    from_about = _from_about(waits) if waits and not holds else (None, None, None)
    released_at = context.batch.released_at
    by_gauge = {finding.gauge: finding for finding in findings}
    releasable = not (holds or waits or pieces)
    recall = _recall(context, by_gauge)
    if released_at is not None:
        things = tuple(
            DueThing("decide", on, "Decide whether it stays on sale", why) for why in (*recall, pieces) if why
        )
    else:
        things = _due(context, not holds and not waits, held, by_gauge)
    return Judgement(
        on=on,
        verdict=verdict,
        releasable=releasable,
        headline=_headline(held, holds, waits, from_about[1], on),
        from_about=from_about,
        findings=findings,
        next_step=_next_step(holds, things, on),
        due=things,
        journeys=context.journeys,
        drying=context.drying,
        lye=context.lye,
        alkali=context.alkali,
        recall=recall,
        released_at=released_at,
        cautions=_cautions(context, findings),
        rules_version=context.rules.version,
    )


def look_at(batch: Batch, on: datetime, rules: HouseRules) -> Context:
    """Work out what the rules look at, from the entries up to `on`."""
    batch = batch.as_of(on)
    lye, problem = None, ""
    if batch.recipe is not None:
        try:
            lye = check_lye(batch.recipe)
        except CureJournalError as error:
            problem = error.what
    poured = batch.poured_at
    drying = weigh_up(
        batch.of(Weighing),
        poured,
        water_share=lye.water_share if lye is not None and lye.water_g > 0 else None,
        limit_pct_week=rules.loss_pct_week,
        days_apart=rules.weighings_days_apart,
    )
    return Context(
        batch=batch,
        on=on,
        rules=rules,
        poured_at=poured,
        lye=lye,
        lye_problem=problem,
        drying=drying,
        alkali=read_tests(
            batch.records(AlkaliTest), rules.free_alkali_pct, rules.ph_usual_to, _concentrated(drying, poured)
        ),
        journeys=journeys(batch, on, rules),
    )


def journeys(batch: Batch, on: datetime, rules: HouseRules) -> dict[str, Journey]:
    """What the colour of each portion does, by its entries up to `on`."""
    batch = batch.as_of(on)
    readings: dict[str, list[Entry]] = {}
    for entry in batch.of(ColourReading):
        assert isinstance(entry.record, ColourReading)
        readings.setdefault(entry.record.portion, []).append(entry)
    portions = {portion.name: portion for portion in batch.portions}
    controls = [entry for p in portions.values() if p.control for entry in readings.get(p.name, [])]
    found = {}
    for name in dict.fromkeys([*portions, *readings]):
        portion = portions.get(name)
        beside = portion is not None and not portion.control and portion.intended_source == "control portion"
        found[name] = follow(
            readings.get(name, []),
            batch.event_at("poured", name) or batch.poured_at,
            portion.intended_lab if portion else None,
            portion.tolerance if portion else 3.0,
            control=controls if beside else (),
            aim_sd=aim_sd(portion, readings.get(name, [])) if portion else 0.0,
            back_days_apart=rules.colour_days_apart,
            curve_until=on,
        )
    return found


def _concentrated(drying: DryingReport, poured: datetime | None) -> Callable[[datetime], float]:
    curve = drying.curve
    start = poured or (drying.points[0].at if drying.points else None)
    if curve is None or start is None:
        return lambda at: 1.0
    now = float(np.interp(drying.points[-1].days, curve.days, curve.part))
    return lambda at: max(1.0, float(np.interp((at - start) / DAY, curve.days, curve.part)) / now)


def _from_about(
    waits: list[Finding],
) -> tuple[datetime | None, datetime | None, datetime | None]:
    """Earliest, middle and latest date by which time alone may have done its part."""
    timed = [f for f in waits if not f.needs]
    if not timed or any(f.until is None for f in timed):
        return None, None, None
    columns = zip(*((f.until_interval[0], f.until, f.until_interval[1]) for f in timed), strict=True)
    low, middle, high = (
        None if any(end is None for end in column) else max(end for end in column if end is not None)
        for column in columns
    )
    return low, middle, high


def _held(batch: Batch) -> str:
    """By whose signature the batch is kept back, and since when; empty if it is not."""
    at, act = batch.last_act
    if at is None or act is None or act.act == "release":
        return ""
    return f"{'held' if act.act == 'hold' else 'withdrawn'} by {act.signed_by} since {at.day} {at:%B} {at.year}"


def _headline(held: str, holds: list[Finding], waits: list[Finding], middle: datetime | None, on: datetime) -> str:
    parts = [held] if held else []
    if holds:
        parts.append(f"because of {' and '.join(f'{f.gauge} ({f.words})' for f in holds)}")
    else:
        parts += [f"{f.gauge}: {f.words}" for f in waits if f.until is None and not f.needs]
        if middle is not None and middle <= on:
            parts.append("perhaps ready now: what is due would show it")
        elif middle is not None:
            parts.append(f"from about {middle.day} {middle:%B}{f' {middle.year}' if middle.year != on.year else ''}")
        needs = ", ".join(dict.fromkeys(need for f in waits if f.needs for need in f.needs.split(", ")))
        if needs:
            parts.append(f"still needed: {needs}")
    verdict = "hold" if held or holds else "not yet"
    return f"{verdict}: {'; '.join(parts)}" if parts else "ready"


def _next_step(holds: list[Finding], things: tuple[DueThing, ...], on: datetime) -> str:
    if holds and holds[0].advice:
        return holds[0].advice
    if not things:
        return "Nothing is due."
    first = things[0]
    when = "now" if first.when <= on else f"on {first.when.day} {first.when:%B}"
    return f"{first.words} ({when}): {first.why}."


def _due(context: Context, all_go: bool, held: str, findings: Mapping[Gauge, Finding]) -> tuple[DueThing, ...]:
    """What a batch that is not released asks for, soonest first."""
    poured, on, rules = context.poured_at, context.on, context.rules
    things: list[DueThing] = []
    if poured is None:
        return (DueThing("complete", on, "Enter when it was poured", "age counts from there"),)
    if context.drying.state is not Drying.STEADY:
        last = max((entry.at for entry in context.batch.of(Weighing)), default=None)
        # The first weight belongs to cut day, about two days after the pour [common practice, no source].
        when = poured + 2 * DAY if last is None else last + rules.check_weekly_days * DAY
        why = "the first weight is what all loss is counted from" if last is None else context.drying.words
        things.append(DueThing("weigh", when, "Weigh the marked bars", why))
    for name, journey in context.journeys.items():
        thing = _photo_due(name, journey, context)
        if thing is not None:
            things.append(thing)
    if findings["alkali"].verdict is not Verdict.GO:
        things.append(_test_due(context, poured, findings))
    surface = findings["surface"]
    if surface.verdict is not Verdict.GO:
        last = context.batch.of(SurfaceNote)[-1].at if surface.verdict is Verdict.HOLD else None
        when = poured + rules.min_age_days * DAY if last is None else last + rules.check_weekly_days * DAY
        things.append(DueThing("look", when, "Look at the bars and note it", surface.words))
    if findings["record complete"].verdict is Verdict.WAIT:
        things.append(DueThing("complete", on, "Complete the record", findings["record complete"].words))
    if findings["colour"].verdict is Verdict.HOLD:
        things.append(DueThing("decide", on, "Decide whether to sell it as it is", findings["colour"].words))
    if all_go and held:
        things.append(DueThing("decide", on, "Decide whether it stays on hold", f"{held}; every gauge says go"))
    elif all_go:
        things.append(DueThing("release", on, "Release it, if you agree", "every gauge says go"))
    if context.batch.none_left:
        things = [thing for thing in things if thing.what in ("complete", "decide", "release")]
    return tuple(sorted(things, key=lambda thing: (thing.when, thing.what)))


def _test_due(context: Context, poured: datetime, findings: Mapping[Gauge, Finding]) -> DueThing:
    """The test that would tell: a week after one that asks for time; at once, if a stronger kind is what is missing."""
    summary, rules, margin = context.alkali, context.rules, findings["lye margin"]
    later = [test.at for test in summary.holding or summary.tests[-1:] if test.outcome is not Outcome.GOOD]
    early = poured + max(rules.min_age_days - 7, 0) * DAY
    if later:
        when = max(later) + rules.check_weekly_days * DAY
    else:
        when = max([early, *(test.at for test in summary.tests[-1:])])
    over = margin.verdict in (Verdict.WAIT, Verdict.HOLD)
    if over or summary.clearing is not None or any(test.method == "titration" for test in summary.holding):
        words = "Titrate"
    else:
        words = "Test for alkali by meter or titration" if summary.tests else "Test for alkali"
    alkali = findings["alkali"].words
    why = f"a test holds it: {alkali}" if summary.holding else (margin.words if over else alkali)
    return DueThing("test", when, words, why)


def _photo_due(name: str, journey: Journey, context: Context) -> DueThing | None:
    done = journey.proven_within or journey.intended_lab is None
    if journey.state in (State.BACK, State.SETTLED_OFF) or (journey.state is State.STEADY and done):
        return None
    if journey.intended_lab is None and not journey.moments:
        return None
    label = f"Photograph {name} with the card" if name else "Photograph it with the card"
    if not journey.points or context.poured_at is None:
        return DueThing("photograph", context.on, label, "no colour was measured yet", name)
    last = journey.points[-1]
    # Visits that follow the change: close while a turn may run, weekly later. Ours.
    wait = min(max(0.5, 0.4 * last.days), context.rules.check_weekly_days)
    why = "it is darkening to its colour; the next photo tells whether it is there"
    return DueThing(
        "photograph", last.at + wait * DAY, label, why if journey.darkens else _WHY_PHOTO[journey.state], name
    )


_WHY_PHOTO = {
    State.TURNING: "its colour is changing; the next days tell where it goes",
    State.COMING_BACK: "its colour is coming back; the next photo tells whether it is there",
    State.BROWNING: "it still grows darker",
    State.STEADY: "its colour keeps still; one more photo can prove that it is the intended one",
    State.TOO_FEW: "there are too few photos to say what its colour does",
}
"""Why a portion is photographed again; a colour that is back, or settled elsewhere, needs no photo."""


def _recall(context: Context, findings: Mapping[Gauge, Finding]) -> tuple[str, ...]:
    """Questions raised by what was read, or entered, after a release or a sale, until a later act answers them."""
    batch = context.batch
    acts = [(entry, act) for entry in batch.of(Decision) if isinstance(act := entry.record, Decision)]
    gone = gone_out(batch)
    first_out = min((entry for entry in batch.of(BarsOut)), key=lambda entry: entry.at, default=None) if gone else None
    bars = f" ({how_many(batch.bars_cut, 'bar')})" if batch.bars_cut else ""
    questions = []
    for at, number, what in _bad(context, findings):
        if any(entry.at >= at and entry.id > number for entry, _ in acts):
            continue
        released = [entry for entry, act in acts if act.act == "release" and (entry.at < at or entry.id < number)]
        if released:
            since = f"After the release of {batch.code}{bars} on {released[-1].at:%Y-%m-%d}"
        elif first_out is not None and (first_out.at < at or first_out.id < number):
            since = f"After bars of {batch.code}{bars} went out unreleased"
        else:
            continue
        told = gone_words(gone)
        asked = f"{since}: {what}. Should bars that have gone out be called back? "
        questions.append(f"{asked}{told[0].upper()}{told[1:]}.")
    return tuple(questions)


def _bad(context: Context, findings: Mapping[Gauge, Finding]) -> Iterator[tuple[datetime, int, str]]:
    """What speaks against a batch that has gone out: when, the number of the entry, and what it is."""
    batch = context.batch
    released = max(
        (e.at for e in batch.of(Decision) if isinstance(e.record, Decision) and e.record.act == "release"), default=None
    )
    for entry, test in zip(batch.of(AlkaliTest), context.alkali.tests, strict=True):
        # One from before the release that was entered late counts too, unless a later test lifted it.
        late = released is not None and test.at <= released
        if test.outcome is Outcome.HIGH and (not late or test in context.alkali.holding):
            yield test.at, entry.id, f"{test.method} of {test.at:%Y-%m-%d}: {test.words}"
    for entry in batch.of(SurfaceNote):
        if isinstance(entry.record, SurfaceNote) and entry.record.look in ("orange spots", "lye pocket", "weeping"):
            yield entry.at, entry.id, f"{entry.record.look} seen on {entry.at:%Y-%m-%d}"
    if findings["lye margin"].verdict is Verdict.HOLD:
        entry = batch.of(Recipe)[-1]
        yield entry.at, entry.id, f"recipe as it was entered then: {findings['lye margin'].words}"
    if any(journey.state in (State.SETTLED_OFF, State.BROWNING) for journey in context.journeys.values()):
        last = max((j.points[-1] for j in context.journeys.values() if j.points), key=lambda point: point.at)
        yield last.at, max(last.entries), f"colour: {findings['colour'].words}"


def _cautions(context: Context, findings: tuple[Finding, ...]) -> tuple[str, ...]:
    young = context.poured_at is None or context.on - context.poured_at < 7 * DAY
    held = any(f.verdict is Verdict.HOLD and f.gauge in ("alkali", "lye margin", "surface") for f in findings)
    strips = any(test.method == "strip" for test in context.alkali.tests)
    return (*((LYE,) if young or held else ()), *((STRIPS,) if strips else ()), LOCAL_CODES)
