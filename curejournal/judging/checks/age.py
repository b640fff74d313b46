"""The check of age: old enough."""

from __future__ import annotations

from datetime import timedelta

from curejournal.base.messages import msg
from curejournal.judging.context import Context
from curejournal.judging.findings import Check, Finding, Verdict
from curejournal.judging.limits import source_of

DAY = timedelta(days=1)


def age(context: Context) -> Finding:
    """Old enough.

    Parameters
    ----------
    context : Context
        What is known of the batch at that time.

    Returns
    -------
    Finding
        The verdict of this check, with its words and advice.
    """
    least = context.rules.min_age_days
    rule, source = msg("at least {least:g} days since the pour", least=least), source_of("min_age_days")
    if context.poured_at is None:
        return Finding(
            "age",
            Verdict.UNKNOWN,
            msg("the pour is not on record"),
            rule,
            source,
            advice=msg("Enter when it was poured."),
            needs=msg("the time of the pour"),
        )
    days = (context.on - context.poured_at) / DAY
    figures = {"age": (days, "days")}
    if days >= least:
        return Finding("age", Verdict.PASS, msg("{days} days old", days=int(days)), rule, source, figures)
    until = context.poured_at + least * DAY
    return Finding(
        "age",
        Verdict.PENDING,
        msg("{days} of {least:g} days", days=int(days), least=least),
        rule,
        source,
        figures,
        until,
        (until, until),
    )


CHECK = Check(
    "age", age, msg("Days since the pour."), needed=True, safety=False, source=source_of("min_age_days"), rank=40
)
