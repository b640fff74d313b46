"""The gauges of safety: whether lye is over, by tests and by the recipe, and what the surface shows."""

from __future__ import annotations

from datetime import datetime
from itertools import groupby

from curejournal.counting import digits
from curejournal.cure.context import MOST_SUPERFAT_PCT, Context
from curejournal.cure.findings import Finding, Verdict
from curejournal.cure.house import source_of
from curejournal.cure.records import SurfaceNote


def alkali(context: Context) -> Finding:
    """No free alkali, as far as tests can tell."""
    limit, usual = context.rules.free_alkali_pct, context.rules.ph_usual_to
    rule = (
        f"free alkali at most {limit:g}% NaOH by titration; or by meter at most pH {usual:g} at 1% where the "
        "recipe leaves fat over; a high reading holds until a later good test of the same or a stronger kind"
    )
    source, summary = source_of("free_alkali_pct"), context.alkali
    figures: dict[str, tuple[float, str]] = {}
    for test in summary.tests:
        if test.titration is not None:
            figures["free alkali"] = (test.titration.free_alkali_pct, "% NaOH")
            figures["free alkali, high"] = (test.titration.interval_pct[1], "% NaOH")
        if test.ph is not None:
            figures["pH, low"], figures["pH, high"] = ((end, "at 1%") for end in test.ph.interval)

    def finding(verdict: Verdict, words: str, advice: str = "") -> Finding:
        needs = "an alkali test by meter or titration" if verdict is Verdict.UNKNOWN else ""
        return Finding("alkali", verdict, words, rule, source, figures, advice=advice, needs=needs)

    if summary.holding:
        high = max(summary.holding, key=lambda test: test.at)
        lift = {"strip": "strip or meter at 1%, or titration,", "meter": "meter at 1%, or titration,"}.get(
            high.method, "titration"
        )
        return finding(
            Verdict.HOLD,
            f"{high.method} of {_day(high.at)}: {high.words}",
            f"Keep it apart and do not sell it. Only a later good {lift} lifts this.",
        )
    if summary.clearing is not None and (context.titrated_good or context.margin_proven):
        words = f"{summary.clearing.method} of {_day(summary.clearing.at)}: {summary.clearing.words}"
        if not context.titrated_good:
            words += "; free alkali itself not known (not titrated)"
        return finding(Verdict.PASS, words)
    if summary.clearing is not None:
        return finding(
            Verdict.UNKNOWN,
            "a usual pH alone does not show that no lye is over, and the recipe's margin is not proven",
            "Titrate, or complete the recipe.",
        )
    if not summary.tests:
        return finding(
            Verdict.UNKNOWN, "no alkali test yet", "Measure the pH of a 1% solution by meter at least; better, titrate."
        )
    last = summary.tests[-1]
    if last.method == "strip":
        advice = "Measure a 1% solution with a calibrated meter, or titrate: a strip can hold a batch, not clear it."
    else:
        advice = "Test again in a week at 1% by calibrated meter, or titrate."
    return finding(Verdict.UNKNOWN, f"{last.method} of {_day(last.at)}: {last.words}", advice)


def lye_margin(context: Context) -> Finding:
    """Fat left over at the low end of what is published."""
    rule = (
        "superfat above zero over the whole interval of published saponification values, and no more than "
        f"{MOST_SUPERFAT_PCT:g}%, or a good titration"
    )
    source = "ranges in the list of oils, each with its source"
    if context.lye is None:
        words = context.lye_problem or "no recipe"
        return Finding("lye margin", Verdict.UNKNOWN, words, rule, source, advice="Enter the recipe as weighed.")
    low, high = context.lye.superfat_interval_pct
    figures = {
        "superfat": (context.lye.superfat_nominal_pct, "%"),
        "superfat, low": (low, "%"),
        "superfat, high": (high, "%"),
        "superfat, worst case": (context.lye.superfat_worst_pct[0], "%"),
    }
    words = f"superfat {digits(low, 1)} to {digits(high, 1)}%"
    if context.lye.lye_g <= 0:
        return Finding("lye margin", Verdict.UNKNOWN, "the recipe has no alkali", rule, source, figures)
    if context.margin_proven or context.titrated_good:
        more = "" if context.margin_proven else ", and titrated good"
        return Finding("lye margin", Verdict.PASS, words + more, rule, source, figures)
    if context.margin_absurd:
        return Finding(
            "lye margin",
            Verdict.PENDING,
            f"{words}: no soap has that much, so a weight in the recipe is wrong",
            rule,
            source,
            figures,
            advice="Correct the recipe, or titrate.",
            needs="the recipe as weighed",
        )
    verdict = Verdict.HOLD if context.lye.superfat_nominal_pct < 0 else Verdict.PENDING
    return Finding(
        "lye margin",
        verdict,
        f"{words}: lye may be over",
        rule,
        source,
        figures,
        advice="Titrate before selling. If the recipe was mistyped, correct it.",
        needs="a titration",
    )


_SURFACE: dict[str, tuple[Verdict, str, str]] = {
    "clear": (Verdict.PASS, "clear", ""),
    "ash": (Verdict.PASS, "soda ash: a matter of looks, it can be washed or planed off", ""),
    "sweat": (Verdict.PENDING, "beads of moisture", "Dry the room's air; look again in a few days."),
    "orange spots": (
        Verdict.HOLD,
        "orange spots: often the fat going rancid",
        "Set the bars aside; smell them, and look at the others.",
    ),
    "lye pocket": (
        Verdict.HOLD,
        "a lye pocket: caustic",
        "Wear gloves and keep it apart; do not sell it. Enter “clear” only for bars without any.",
    ),
    "weeping": (Verdict.HOLD, "oil or lye weeps out", "Wear gloves and keep it apart; test what comes out."),
}


def surface(context: Context) -> Finding:
    """Nothing on the surface that speaks against it."""
    rule = "no orange spots, lye pockets or weeping since the bars were last noted as clear; no beads at the last look"
    source = "[common practice, no source]"
    looks = context.batch.records(SurfaceNote)
    if not looks:
        return Finding(
            "surface", Verdict.UNKNOWN, "nobody noted a look", rule, source, advice="Look at the bars and note it."
        )
    # A pocket seen in one bar is undone neither by another bar on the same day nor by ash later: only by “clear”.
    standing: list[tuple[datetime, SurfaceNote]] = []
    for _, group in groupby(looks, key=lambda look: look[0].date()):
        today = list(group)
        bad = [look for look in today if _SURFACE[look[1].look][0] is Verdict.HOLD]
        cleared = not bad and any(note.look == "clear" for _, note in today)
        standing = [] if cleared else [*standing, *bad]
    at, note = max([*reversed(standing), *today], key=lambda look: list(Verdict).index(_SURFACE[look[1].look][0]))
    verdict, words, advice = _SURFACE[note.look]
    return Finding("surface", verdict, f"{words} ({_day(at)})", rule, source, advice=advice)


def _day(at: datetime) -> str:
    return f"{at.day} {at:%B}"
