"""The check of alkali: the chance that more free lye is left than may be, by all evidence together."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from curejournal.base.counting import digits
from curejournal.base.messages import join, msg, msg_n
from curejournal.base.normal import HALF_WIDTHS_A_SD
from curejournal.batch.records import Event, SurfaceNote, WeighingCheck
from curejournal.judging.alkali import GROSS_PCT, STRENGTH, TITRATIONS_TO_LIFT, AlkaliReading, Outcome, packet_biases
from curejournal.judging.context import Context, batter_agrees, weighed_by_two
from curejournal.judging.findings import Check, Finding, Verdict
from curejournal.judging.limits import source_of

DAY = timedelta(days=1)

HOLD_CHANCE = 0.95
"""Chance of too much free alkali from which a batch is held though no reading lies wholly above a limit. Ours."""
STRIP_BARS, STRIP_DAYS, STRIP_AGE, STRIP_PH = 3, 21.0, 28.0, 11.0
"""What the rule for strips asks: bars, from which day on they are tested, the batch's least age, and the pH at 1% that
the bars stay below. 0.5% free NaOH, which irritates, gives 11.1 (arithmetic); the rest is ours."""
UPPER = 1.645
"""One-sided 95%."""
TROUBLE = ("separation", "seizing", "ricing")
NOT_TITRATED = msg("not titrated")


def alkali(context: Context) -> Finding:
    """Too little free alkali to matter, as far as all evidence together can tell.

    Parameters
    ----------
    context : Context
        What is known of the batch at that time.

    Returns
    -------
    Finding
        The verdict of this check, with its words and advice.
    """
    rules = context.rules
    rule = msg(
        "chance of more than {free_alkali_pct:g}% free NaOH at most {alkali_chance_pct:g}% where "
        "titrated; "
        "at most {untitrated_chance_pct:g}% by meter where the recipe proves a margin, or by strips with all "
        "that their rule asks; a reading wholly above a limit holds",
        free_alkali_pct=rules.free_alkali_pct,
        alkali_chance_pct=rules.alkali_chance_pct,
        untitrated_chance_pct=rules.untitrated_chance_pct,
    )
    summary, figures = context.alkali, _figures(context)

    def finding(verdict: Verdict, words: str, advice: str = "", needs: str = "", qualifier: str = "") -> Finding:
        return Finding(
            "alkali", verdict, words, rule, _SOURCE, figures, advice=advice, needs=needs, qualifier=qualifier
        )

    if summary.holding:
        high = max(summary.holding, key=lambda test: (test.never_for_sale, test.at))
        return finding(
            Verdict.HOLD,
            msg("{method} of {at}: {words}", method=high.method, at=_day(high.at), words=high.words),
            msg("Keep it apart and do not sell it. {high}", high=_lift(context, high)),
        )
    chance = _chance(context)
    if summary.tests and summary.left is not None and chance >= HOLD_CHANCE:
        words = msg(
            "more than {free_alkali_pct:g}% free NaOH is nearly certain, by all readings together",
            free_alkali_pct=rules.free_alkali_pct,
        )
        return finding(Verdict.HOLD, words, msg("Keep it apart and do not sell it. Titrate several bars."))
    if context.titrated_good:
        titrated = summary.usable("titration", context.tests_from or context.on)
        last = [test for test in titrated if test.outcome is Outcome.GOOD][-1]
        return finding(
            Verdict.PASS,
            msg("by titration of {at}: {words}{chance}", at=_day(last.at), words=last.words, chance=_so(chance)),
        )
    passed = _untitrated(context, chance)
    if passed:
        return finding(
            Verdict.PASS,
            msg("{passed}; not titrated{chance}", passed=passed, chance=_so(chance)),
            qualifier=msg("{passed}; {not_titrated}", passed=passed, not_titrated=NOT_TITRATED),
        )
    words, advice = _open(context)
    return finding(
        Verdict.UNKNOWN,
        words,
        advice,
        msg("an alkali test") if not _late(context) else msg("an alkali test that settles it"),
    )


def _figures(context: Context) -> dict[str, tuple[float, str]]:
    figures: dict[str, tuple[float, str]] = {}
    left = context.alkali.left
    if left is not None:
        figures[msg("chance of more than {limit:g}%", limit=context.rules.free_alkali_pct)] = (100 * left.chance, "%")
        figures[msg("the same by the recipe and age alone")] = (100 * left.by_recipe, "%")
        figures[msg("free alkali now, at most (97.5%)")] = (left.interval_pct[1], "% NaOH")
    for test in context.alkali.tests:
        if test.titration is not None:
            figures[msg("free alkali")] = (test.titration.free_alkali_pct, "% NaOH")
            figures[msg("free alkali, high")] = (test.titration.interval_pct[1], "% NaOH")
        if test.ph is not None:
            figures[msg("pH, low")], figures[msg("pH, high")] = ((end, msg("at 1%")) for end in test.ph.interval)
    return figures


def _lift(context: Context, high: AlkaliReading) -> str:
    late = context.tests_from is not None and high.at >= context.tests_from
    if late and high.never_for_sale:
        return msg("No later test lifts this. If the reading was wrong, undo it with your reason, and titrate.")
    if late and high.titration is not None and high.titration.interval_pct[0] > GROSS_PCT:
        return msg(
            "Only {titrations_to_lift} later good titrations, of several bars, lift this.",
            titrations_to_lift=TITRATIONS_TO_LIFT,
        )
    kinds = {"strip": msg("strip or meter at 1%, or titration,"), "meter": msg("meter at 1%, or titration,")}
    return msg(
        "Only a later good {method} lifts this.", method="titration" if late else kinds.get(high.method, "titration")
    )


def _so(chance: float) -> str:
    pct = 100 * chance
    return msg(" (chance of too much: {pct}%)", pct="below 0.01" if pct < 0.01 else digits(pct, 2))


def _chance(context: Context) -> float:
    """The chance of too much free alkali, by all evidence; certain where nothing is known."""
    return context.alkali.left.chance if context.alkali.left else 1.0


def _late(context: Context) -> tuple[AlkaliReading, ...]:
    """Usable tests from the age at which one can tell."""
    since = context.tests_from
    if since is None:
        return ()
    return tuple(test for method in STRENGTH for test in context.alkali.usable(method, since))


def _untitrated(context: Context, chance: float) -> str:
    """By what it passes without a titration; empty if it does not."""
    small = chance <= context.rules.untitrated_chance_pct / 100
    if not (small and context.margin_proven):
        return ""
    usual = context.rules.ph_usual_to
    meters = [test for test in _late(context) if test.method == "meter"]
    if meters and all(test.ph is not None and test.ph.interval[1] <= usual + 1e-9 for test in meters):
        return msg("by recipe and meter")
    return "" if next(_missing_for_strips(context), None) else msg("by recipe and strips")


def _missing_for_strips(context: Context) -> Iterator[str]:
    """What the rule for strips still asks for."""
    poured = context.poured_at
    if poured is None:
        yield msg("the time of the pour")
        return
    if not context.margin_proven:
        yield msg("superfat above zero over the whole interval")
    if not _weighed_twice(context):
        yield msg("lye and oils weighed twice, or a batter that weighs what the recipe sums up to")
    if context.on < poured + STRIP_AGE * DAY:
        yield msg("an age of {strip_age:g} days", strip_age=STRIP_AGE)
    yield from _missing_strips(context, poured)
    faces = [at for at, note in context.batch.records(SurfaceNote) if not note.outside_only]
    if not any(at >= (context.batch.event_at("cut") or poured) for at in faces):
        yield msg("a surface check of cut faces")
    trouble = [event.kind for _, event in context.batch.records(Event) if event.kind in TROUBLE]
    looks = [note.look for _, note in context.batch.records(SurfaceNote) if note.look in ("lye pocket", "weeping")]
    for what in dict.fromkeys([*trouble, *looks]):
        yield msg("a titration, as {what} was noted", what=what)
    if any(test.outcome is Outcome.HIGH for test in context.alkali.tests):
        yield msg("a titration, as an earlier test was high")
    if context.parent_held:
        yield msg(
            "a titration, as batch {parent_held}, which is in it, was once held for alkali",
            parent_held=context.parent_held,
        )


def _missing_strips(context: Context, poured: datetime) -> Iterator[str]:
    strips = [t for t in context.alkali.usable("strip", poured + STRIP_DAYS * DAY) if t.ph is not None]
    bars = {test.bar for test in strips if test.bar}
    if len(bars) < STRIP_BARS:
        more = (
            msg_n("{number} more bar", "{number} more bars", STRIP_BARS - len(bars))
            if bars
            else msg("{strip_bars} named bars", strip_bars=STRIP_BARS)
        )
        yield msg("strips of {more} from day {strip_days:g} on", more=more, strip_days=STRIP_DAYS)
    for packet in dict.fromkeys(test.packet for test in strips):
        known = packet_biases(context.packets).get(packet)
        name = msg("packet {packet}", packet=packet) if packet else msg("a named packet of strips")
        if known is None:
            yield msg("{name} tried once in soap beside a calibrated meter", name=name)
            continue
        ends = [test.ph.interval for test in strips if test.packet == packet and test.ph is not None]
        middle = sum(low + high for low, high in ends) / (2 * len(ends)) - known[0]
        step = sum((high - low) ** 2 for low, high in ends) ** 0.5 / (2 * HALF_WIDTHS_A_SD) / len(ends)
        upper = middle + UPPER * (step**2 + known[1] ** 2) ** 0.5
        if upper >= STRIP_PH:
            yield msg(
                "a pH below {strip_ph:g} at 1% (what {name} shows may mean {upper:.1f})",
                strip_ph=STRIP_PH,
                name=name,
                upper=upper,
            )


def _weighed_twice(context: Context) -> bool:
    checks = [check for _, check in context.batch.records(WeighingCheck)]
    covered: set[str] = set()
    for check in checks:
        if check.how in ("weighed twice", "weighed by two people"):
            covered |= {"lye", "oils"} if check.covers == "lye and oils" else {check.covers}
    return (
        covered >= {"lye", "oils"}
        or weighed_by_two(context.batch)
        or any(batter_agrees(context.batch, check) for check in checks)
    )


def _open(context: Context) -> tuple[str, str]:
    """Why it is not known, and what would settle it."""
    tests, late = context.alkali.tests, _late(context)
    if not tests:
        return (
            msg("no alkali test yet"),
            msg(
                "Titrate; or measure the pH of a 1% solution with a calibrated meter; or test {bars} bars with strips "
                "from day {days:g} on.",
                bars=STRIP_BARS,
                days=STRIP_DAYS,
            ),
        )
    last = tests[-1]
    said = msg("{method} of {at}: {words}", method=last.method, at=_day(last.at), words=last.words)
    if not late and context.tests_from is not None and last.at >= context.tests_from:
        return said, msg("Test again at 1%, by a calibrated meter, or titrate.")
    if not late:
        days = f"{context.rules.alkali_test_days:g}"
        return msg("{said}; too early to tell (before day {days})", said=said, days=days), msg(
            "Test again from day {days} on.", days=days
        )
    if not context.margin_proven and not any(test.method == "titration" for test in tests):
        return (
            msg("a normal pH does not prove that no lye is left, and the recipe's margin is not proven"),
            msg("Titrate, or complete the recipe."),
        )
    return _open_late(context, last, said)


def _open_late(context: Context, last: AlkaliReading, said: str) -> tuple[str, str]:
    """The same, where tests were late enough and the recipe's margin, or a titration, could carry them."""
    if any(test.outcome is Outcome.HIGH for test in context.alkali.tests):
        return msg("{said}; but an earlier test was high, and the two contradict each other", said=said), msg(
            "Titrate several bars."
        )
    if last.method == "titration":
        near = last.outcome is Outcome.GOOD
        return msg(
            "{said}; too near the limit{chance}", said=said, chance=_so(_chance(context))
        ) if near else said, msg("Titrate again with more soap, two or three times.")
    if last.method == "strip":
        missing = list(_missing_for_strips(context))
        if missing and last.ph is not None:
            read = msg("strip of {at}: pH {ends} at 1%", at=_day(last.at), ends=last.ph.ends)
            return msg(
                "{read}; still missing before strips can pass: {missing}", read=read, missing=join("; ", missing)
            ), msg("Titrate, or see to what is missing.")
    guarded = any(context.batch.records(WeighingCheck))
    advice = (
        "Titrate."
        if guarded
        else msg("Titrate. (Next time: weigh lye and oils twice and note it, and less is left to doubt.)")
    )
    return msg(
        "{said}; the recipe's margin is too small for that to settle it{chance}",
        said=said,
        chance=_so(_chance(context)),
    ), advice


def _day(at: datetime) -> str:
    return f"{at.day} {at:%B}"


_SOURCE = msg(
    "limit: {limit_source}; chances: {chance_source}",
    limit_source=source_of("free_alkali_pct"),
    chance_source=source_of("alkali_chance_pct"),
)

CHECK = Check(
    "alkali",
    alkali,
    msg("How sure it is that no more free lye is left than may be."),
    needed=True,
    safety=True,
    source=_SOURCE,
    rank=10,
)
