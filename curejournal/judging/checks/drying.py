"""The check of drying: the weight is steady."""

from __future__ import annotations

from datetime import timedelta

from curejournal.base.messages import msg
from curejournal.batch.kinds import KINDS
from curejournal.batch.records import ScalarReading
from curejournal.judging.context import Context
from curejournal.judging.drying import Drying
from curejournal.judging.findings import Check, Finding, Verdict
from curejournal.judging.limits import source_of

DAY = timedelta(days=1)


def drying(context: Context) -> Finding:
    """Weight steady.

    Parameters
    ----------
    context : Context
        What is known of the batch at that time.

    Returns
    -------
    Finding
        The verdict of this check, with its words and advice.
    """
    limit, apart = context.rules.loss_pct_week, context.rules.weighings_days_apart
    rule = msg(
        "change below {limit:g}% in 7 days: by the curves, interval and all, at two weighings {apart:g} days apart or "
        "more, and by the scale itself between the last two such",
        limit=limit,
        apart=apart,
    )
    source, report = source_of("loss_pct_week"), context.drying
    figures: dict[str, tuple[float, str]] = {}
    if report.loss_pct_week is not None:
        figures = {
            msg("loss a week"): (report.loss_pct_week.estimate, "%"),
            msg("loss a week, low"): (report.loss_pct_week.low, "%"),
            msg("loss a week, high"): (report.loss_pct_week.high, "%"),
        }
    if report.measured_pct_week is not None:
        figures[msg("loss a week by the last weighings")] = (report.measured_pct_week, "%")
    if report.loss_pct is not None:
        figures[msg("lost so far")] = (report.loss_pct, "%")
    if report.most_loss_pct is not None:
        figures[msg("water that went in")] = (report.most_loss_pct, "%")
    figures |= _room(context)
    if report.state is Drying.UNKNOWN:
        return Finding(
            "drying",
            Verdict.UNKNOWN,
            report.words,
            rule,
            source,
            figures,
            advice=msg("Weigh the same marked bars each week."),
            needs=msg("weights {apart:g} days apart", apart=apart),
        )
    if report.state is Drying.STEADY:
        return Finding("drying", Verdict.PASS, msg("steady: {words}", words=report.words), rule, source, figures)
    damp = figures.get("room humidity, two weeks", (0.0, ""))[0] > DAMP_PCT or report.state is Drying.GAINING
    advice = msg("Dry the room; weigh again in a week.") if damp else msg("Weigh again in a week.")
    low, high = (None if at is None else max(context.on, at) for at in report.shown_interval)
    until = None if report.shown_at is None else max(context.on, report.shown_at)
    return Finding("drying", Verdict.PENDING, report.words, rule, source, figures, until, (low, high), advice)


DAMP_PCT = 60.0
"""Relative humidity above which drying may reverse [common practice, no source]."""


def _room(context: Context) -> dict[str, tuple[float, str]]:
    """Mean temperature and humidity of the last two weeks, where they were noted."""
    noted: dict[str, list[float]] = {}
    for at, reading in context.batch.records(ScalarReading):
        if reading.kind.startswith("room ") and at >= context.on - 14 * DAY:
            noted.setdefault(reading.kind, []).append(reading.value)
    return {
        msg("{kind}, two weeks", kind=kind): (sum(v) / len(v), KINDS[kind].unit)
        for kind, v in noted.items()
        if kind in KINDS
    }


CHECK = Check(
    "drying",
    drying,
    msg("Whether the weight is steady."),
    needed=True,
    safety=False,
    source=source_of("loss_pct_week"),
    rank=50,
)
