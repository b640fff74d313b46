"""All findings together: ready, not yet, or hold; and what to do next."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import Literal

from curejournal.base.messages import Day, join, msg, msg_n
from curejournal.batch.records import AlkaliTest, BarsOut, Batch, Decision, PacketCheck, SurfaceNote
from curejournal.judging.alkali import AlkaliSummary, Outcome
from curejournal.judging.checks import CHECKS, NEEDED, SAFETY
from curejournal.judging.colour_series import ColourSeries
from curejournal.judging.colour_states import State
from curejournal.judging.context import Context, build_context
from curejournal.judging.drying import DryingReport
from curejournal.judging.findings import CheckName, Finding, Verdict, what_passed
from curejournal.judging.limits import RULES_EDITION, Limits, edition_of
from curejournal.judging.tasks import Task, list_tasks
from curejournal.judging.traceability import describe_bars_out, gone_out
from curejournal.soap.lye import LyeCheck
from curejournal.soap.recipe import Recipe

DAY = timedelta(days=1)

LOCAL_CODES = msg(
    "This supports a maker's judgement. Cosmetics law, labels and safety assessment follow local codes and "
    "licensed practice."
)
STRIPS = msg("pH strips and meters do not prove safety: a normal pH does not prove that no lye is left.")
LYE = msg(
    "Lye burns: goggles and gloves; lye into water, never water into lye; fresh air; children and animals away. "
    "Rinse skin with much water and get help."
)


@dataclass(frozen=True)
class Judgement:
    """A batch's verdict with all its evidence.

    `releasable` says that all checks passed that are needed, and no pieces in it are of a batch that is held back: so
    does the verdict, unless somebody signed a hold or a withdrawal. `hold_for` tells a hold for safety from one for the
    colour or another rule, which is the maker's to decide, and from a signed one. `reservations` stand in the verdict
    where it is *ready*: that it was not titrated, say.
    `from_about` is when it may be ready: earliest, middle and latest (95%;
    None is unknown). `recall` holds the one question that readings after a release raise, until a later act answers it:
    *withdraw*, or *keep on sale*.
    `rules_version` names the rules that made it.
    """

    on: datetime
    verdict: Literal["ready", "not yet", "hold"]
    releasable: bool
    headline: str
    from_about: tuple[datetime | None, datetime | None, datetime | None]
    findings: tuple[Finding, ...]
    next_step: str
    due: tuple[Task, ...]
    journeys: Mapping[str, ColourSeries]
    drying: DryingReport
    lye: LyeCheck | None
    alkali: AlkaliSummary
    recall: tuple[str, ...]
    released_at: datetime | None
    cautions: tuple[str, ...]
    rules_version: str
    hold_for: Literal["", "safety", "colour", "rule", "signature"] = ""
    reservations: tuple[str, ...] = ()

    @property
    def word(self) -> str:
        """The one word for the batch: *released* once somebody signed it; *decide* where no hold is one of safety."""
        if self.verdict == "hold":
            return "decide" if self.hold_for in ("colour", "rule") else msg("on hold")
        return "released" if self.released_at and self.verdict == "ready" else self.verdict

    @property
    def why(self) -> str:
        """What stands behind the word: nothing that a check under it contradicts."""
        if self.verdict != "ready":
            return self.headline.partition(": ")[2]
        return join("; ", [what_passed(self.findings), *self.reservations])


@dataclass(frozen=True)
class OtherEdition:
    """A release that stands and was signed under another edition of the rules.

    `releasable` is whether the rules of today, with the limits of today, would let the batch be released as it was
    then, and `said` what they say of it.
    """

    released_at: datetime
    edition: str
    releasable: bool
    said: str

    @property
    def words(self) -> str:
        """The same in sentences."""
        under = msg(
            "Released under edition {edition} of the rules; today's are edition {rules_edition}.",
            edition=self.edition,
            rules_edition=RULES_EDITION,
        )
        if self.releasable:
            return msg("{under} By these rules too it could have been released then.", under=under)
        return msg(
            "{under} By them it could not have been released then: {said}. Decide whether it stays on sale.",
            under=under,
            said=self.said,
        )


def judge(
    batch: Batch,
    on: datetime,
    rules: Limits | None = None,
    pieces: str = "",
    packets: Iterable[PacketCheck] = (),
    parent_held: str = "",
) -> Judgement:
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
    packets : iterable of PacketCheck
        Packets of strips that were tried beside a meter, in whichever batch.
    parent_held : str
        The batch whose pieces are in it that was once held for alkali; empty if none was.

    Returns
    -------
    Judgement
        The same for the same entries, time and rules.

    """
    packets = tuple(packets)
    context = build_context(batch, on, rules or Limits(), packets, parent_held)
    findings = tuple(check.function(context) for check in CHECKS)
    holds = [finding for finding in findings if finding.verdict is Verdict.HOLD]
    waits = [finding for finding in findings if _keeps_back(finding) and finding not in holds]
    held = join("; ", filter(None, (_held(context.batch), pieces)))
    unsafe = pieces or any(finding.check in SAFETY for finding in holds)
    # A colour that is the maker's to decide hides nothing that is still missing.
    on_hold = bool(held or unsafe or (holds and not waits))
    open_verdict: Literal["ready", "not yet"] = "not yet" if waits else "ready"
    verdict: Literal["ready", "not yet", "hold"] = "hold" if on_hold else open_verdict
    from_about = _from_about(waits) if waits and not holds else (None, None, None)
    released_at = context.batch.released_at
    by_check = {finding.check: finding for finding in findings}
    releasable = not (holds or waits or pieces)
    reservations = tuple(finding.qualifier for finding in findings if finding.qualifier)
    hold_for = _hold_for(holds, unsafe=bool(unsafe), held=bool(held))
    recall = _recall(context, by_check)
    if released_at is not None:
        again = partial(judge, batch, rules=context.rules, pieces=pieces, packets=packets, parent_held=parent_held)
        questions = (*recall, pieces, _not_by_these_rules(batch, on, again))
        things = tuple(Task("decide", on, msg("Decide whether it stays on sale"), why) for why in questions if why)
    else:
        things = list_tasks(context, not holds and not waits, held, by_check)
    return Judgement(
        on=on,
        verdict=verdict,
        releasable=releasable,
        headline=_headline(held, holds, waits, reservations, from_about[1], on),
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
        hold_for=hold_for,
        reservations=reservations,
    )


def other_edition(batch: Batch, on: datetime, judged: Callable[[datetime], Judgement]) -> OtherEdition | None:
    """Whether the release that stands was signed under another edition of the rules, and what these say of it.

    `judged` gives the batch's judgement as it stood at a time; what was corrected since counts as corrected.

    Parameters
    ----------
    batch : Batch
    on : datetime
        The time at which it is judged.
    judged : callable
        Gives the judgement as it stood at a time.

    Returns
    -------
    OtherEdition or None
    """
    at, act = batch.as_of(on).last_act
    if at is None or act is None or act.act != "release" or edition_of(act.rules_version) == RULES_EDITION:
        return None
    then = judged(at)
    against = (
        msg("{check}: {words}", check=finding.check, words=finding.words)
        for finding in then.findings
        if _keeps_back(finding)
    )
    return OtherEdition(at, edition_of(act.rules_version), then.releasable, join("; ", against) or then.headline)


def _not_by_these_rules(batch: Batch, on: datetime, judged: Callable[[datetime], Judgement]) -> str:
    """What speaks against a release that another edition let pass, while bars are left to decide about; else empty."""
    known = batch.as_of(on)
    if known.none_left or known.released_at == on:  # at the act itself nothing is asked yet
        return ""
    other = other_edition(batch, on, judged)
    return (
        msg("by today's rules it could not have been released: {said}", said=other.said)
        if other and not other.releasable
        else ""
    )


def _keeps_back(finding: Finding) -> bool:
    """Whether a batch cannot be ready with this: it holds, waits, or what nobody can do without is not known."""
    unknown = finding.verdict is Verdict.UNKNOWN and finding.check in NEEDED
    return unknown or finding.verdict in (Verdict.PENDING, Verdict.HOLD)


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
    return msg(
        "{act} by {signed_by} since {day}",
        act="held" if act.act == "hold" else "withdrawn",
        signed_by=act.signed_by,
        day=Day(at, long_month=True),
    )


def _hold_for(
    holds: list[Finding], *, unsafe: bool, held: bool
) -> Literal["", "safety", "colour", "rule", "signature"]:
    """What holds a batch, the gravest of several."""
    if unsafe:
        return "safety"
    if held:
        return "signature"
    if any(finding.check == "colour" for finding in holds):
        return "colour"
    return "rule" if holds else ""


def _headline(
    held: str,
    holds: list[Finding],
    waits: list[Finding],
    reservations: tuple[str, ...],
    middle: datetime | None,
    on: datetime,
) -> str:
    if not (held or holds or waits):
        return join(", ", ["ready", *reservations])
    unsafe = [f for f in holds if f.check in SAFETY]
    parts = [held] if held else []
    if unsafe:
        held_by = (msg("{check} ({words})", check=f.check, words=f.words) for f in unsafe)
        parts.append(msg("because of {unsafe}", unsafe=join(msg(" and "), held_by)))
    parts += [
        msg("{check} ({words}), which is yours to decide", check=f.check, words=f.words)
        for f in holds
        if f not in unsafe
    ]
    if not unsafe:
        parts += [
            msg("{check}: {words}", check=f.check, words=f.words) for f in waits if f.until is None and not f.needs
        ]
        if middle is not None and middle <= on:
            parts.append(msg("it may be ready; the checks below will show"))
        elif middle is not None:
            day = Day(middle, with_year=middle.year != on.year, long_month=True)
            parts.append(msg("from about {day}", day=day))
        needs = join(", ", dict.fromkeys(need for f in waits if f.needs for need in f.needs.split(", ")))
        if needs:
            parts.append(msg("still needed: {needs}", needs=needs))
    open_verdict = "not yet" if waits else "decide"
    verdict = msg("on hold") if held or unsafe else open_verdict
    return msg("{verdict}: {parts}", verdict=verdict, parts=join("; ", parts))


def _next_step(holds: list[Finding], things: tuple[Task, ...], on: datetime) -> str:
    if holds and holds[0].advice:
        return holds[0].advice
    if not things:
        return msg("Nothing is due.")
    first = things[0]
    when = "now" if first.when <= on else msg("on {day}", day=Day(first.when, with_year=False, long_month=True))
    return msg("{words} ({when}): {why}.", words=first.words, when=when, why=first.why)


def _recall(context: Context, findings: Mapping[CheckName, Finding]) -> tuple[str, ...]:
    """The one question raised by what was read, or entered, after a release or a sale, until a later act answers it."""
    batch = context.batch
    acts = batch.of(Decision)
    gone = gone_out(batch)
    first_out = min((entry for entry in batch.of(BarsOut)), key=lambda entry: entry.at, default=None) if gone else None
    bars = (
        msg(" ({bars_cut})", bars_cut=msg_n("{number} bar", "{number} bars", batch.bars_cut)) if batch.bars_cut else ""
    )
    reasons: dict[str, list[str]] = {}
    for at, number, what in _bad(context, findings):
        if any(entry.at >= at and entry.id > number for entry in acts):
            continue
        released = [entry for entry in acts if entry.record.act == "release" and (entry.at < at or entry.id < number)]
        if released:
            since = msg(
                "After the release of {code}{bars} on {at}", code=batch.code, bars=bars, at=Day(released[-1].at)
            )
        elif first_out is not None and (first_out.at < at or first_out.id < number):
            since = msg("After bars of {code}{bars} went out unreleased", code=batch.code, bars=bars)
        else:
            continue
        reasons.setdefault(since, []).append(what)
    if not reasons:
        return ()
    told = describe_bars_out(gone)
    asked = join(
        "; ", (msg("{since}: {what}", since=since, what=", and ".join(what)) for since, what in reasons.items())
    )
    return (
        msg(
            "{asked}. Should bars that have gone out be called back? {upper}{told}.",
            asked=asked,
            upper=told[0].upper(),
            told=told[1:],
        ),
    )


def _bad(context: Context, findings: Mapping[CheckName, Finding]) -> Iterator[tuple[datetime, int, str]]:
    """What speaks against a batch that has gone out: when, the number of the entry, and what it is."""
    batch = context.batch
    released = max((act.at for act in batch.of(Decision) if act.record.act == "release"), default=None)
    for entry, test in zip(batch.of(AlkaliTest), context.alkali.tests, strict=True):
        # One from before the release that was entered late counts too, unless a later test lifted it.
        late = released is not None and test.at <= released
        if test.outcome is Outcome.HIGH and (not late or test in context.alkali.holding):
            yield (
                test.at,
                entry.id,
                msg("{method} of {at}: {words}", method=test.method, at=Day(test.at), words=test.words),
            )
    for seen in batch.of(SurfaceNote):
        if seen.record.look in ("orange spots", "lye pocket", "weeping"):
            yield seen.at, seen.id, msg("{look} seen on {at}", look=seen.record.look, at=Day(seen.at))
    if findings["lye margin"].verdict is Verdict.HOLD:
        recipe = batch.of(Recipe)[-1]
        yield recipe.at, recipe.id, msg("recipe as it was entered then: {words}", words=findings["lye margin"].words)
    off = [j.points[-1] for j in context.journeys.values() if j.state in (State.STABLE_OFF, State.BROWNING)]
    if off:
        last = max(off, key=lambda point: point.at)
        yield last.at, max(last.entries), msg("colour: {words}", words=findings["colour"].words)


def _cautions(context: Context, findings: tuple[Finding, ...]) -> tuple[str, ...]:
    young = context.poured_at is None or context.on - context.poured_at < 7 * DAY
    held = any(f.verdict is Verdict.HOLD and f.check in SAFETY for f in findings)
    strips = any(test.method != "titration" for test in context.alkali.tests) and not context.titrated_good
    return (*((LYE,) if young or held else ()), *((STRIPS,) if strips else ()), LOCAL_CODES)
