"""The check of age: old enough."""

from __future__ import annotations

from datetime import timedelta

from curejournal.judging.context import Context
from curejournal.judging.findings import Check, Finding, Verdict
from curejournal.judging.limits import source_of

DAY = timedelta(days=1)


def age(context: Context) -> Finding:
    """Old enough."""
    least = context.rules.min_age_days
    rule, source = f"at least {least:g} days since the pour", source_of("min_age_days")
    if context.poured_at is None:
        return Finding(
            "age",
            Verdict.UNKNOWN,
            "the pour is not on record",
            rule,
            source,
            advice="Enter when it was poured.",
            needs="the time of the pour",
        )
    days = (context.on - context.poured_at) / DAY
    figures = {"age": (days, "days")}
    if days >= least:
        return Finding("age", Verdict.PASS, f"{int(days)} days old", rule, source, figures)
    until = context.poured_at + least * DAY
    return Finding(
        "age", Verdict.PENDING, f"{int(days)} of {least:g} days", rule, source, figures, until, (until, until)
    )


CHECK = Check("age", age, "Days since the pour.", needed=True, safety=False, source=source_of("min_age_days"), rank=40)
