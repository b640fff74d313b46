"""The maker's limits, each with its source and the bounds within which it makes sense."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace

from curejournal.base.errors import CureJournalError

RULES_EDITION = "3"
"""If a change can alter a verdict, increment this: a kept judgement names the rules that made it. The judged batches in
tests/data/judged fail until it is done."""


class LimitTooLoose(CureJournalError):
    """A house rule outside the bounds within which it makes sense."""


def _limit(default: float, low: float, high: float, unit: str, words: str, source: str) -> float:
    return field(
        default=default,
        metadata={"low": low, "high": high, "unit": unit, "words": words, "source": source},
    )


@dataclass(frozen=True)
class Limits:
    """The maker's limits. Each field's metadata holds its bounds, unit, words and source.

    Raises
    ------
    LimitTooLoose
        If a limit lies outside its bounds.

    """

    min_age_days: float = _limit(
        28, 21, 365, "days", "least age", "four to six weeks is the habit [common practice, no source]"
    )
    loss_pct_week: float = _limit(
        1.0, 0.1, 1.5, "% a week", "most weight that may still be lost", "steady weight [common practice, no source]"
    )
    weighings_days_apart: float = _limit(
        7, 5, 60, "days", "two steady weighings at least this far apart", "[common practice, no source]"
    )
    free_alkali_pct: float = _limit(
        0.05, 0.01, 0.05, "% NaOH", "most free caustic alkali", "IS 2888:2004, all grades [looked up: transcriptions]"
    )
    ph_usual_to: float = _limit(
        11.0,
        9.5,
        11.0,
        "pH at 1%",
        "highest pH that may pass without a titration",
        "house rule; sound soaps read 9 to 10.7 and beyond (Tarun et al. 2014, PMC4171909; Hassan 2017), and 0.5% free "
        "NaOH alone gives 11.1 at 1% (arithmetic)",
    )
    alkali_chance_pct: float = _limit(
        0.5, 0.01, 0.5, "%", "chance of too much free alkali, where titrated", "ours: a tenth of the usual 5%"
    )
    untitrated_chance_pct: float = _limit(
        0.2,
        0.01,
        0.2,
        "%",
        "chance of too much free alkali, where not titrated",
        "ours: stricter, as nothing proves it",
    )
    alkali_test_days: float = _limit(
        14,
        14,
        60,
        "days",
        "age from which an alkali test can tell",
        "saponification goes on for one or more days [a published handbook]; two weeks are ours",
    )
    colour_days_apart: float = _limit(
        5, 3, 60, "days", "two readings within tolerance at least this far apart", "ours: longer than a turn lasts"
    )
    check_weekly_days: float = _limit(7, 2, 14, "days", "weigh and look again every", "[common practice, no source]")

    def __post_init__(self) -> None:
        for limit in fields(self):
            value, low, high = getattr(self, limit.name), limit.metadata["low"], limit.metadata["high"]
            if not low <= value <= high:
                raise LimitTooLoose(
                    f"{limit.metadata['words'].capitalize()}: {value:g} {limit.metadata['unit']} is out of bounds.",
                    f"Choose from {low:g} to {high:g} {limit.metadata['unit']}.",
                )

    @property
    def version(self) -> str:
        """Edition of the rules and a short hash of the limits: the same limits give the same version."""
        text = repr([(limit.name, float(getattr(self, limit.name))) for limit in fields(self)])
        return f"{RULES_EDITION}-{hashlib.sha256(text.encode()).hexdigest()[:8]}"


STRICTER_ABOVE = frozenset({"min_age_days", "weighings_days_apart", "colour_days_apart", "alkali_test_days"})
"""Limits that are stricter the higher they are; all others are stricter the lower they are."""


def strictest(*some: Limits) -> Limits:
    """Of several sets of limits the strictest of each limit."""
    return Limits(
        **{
            limit.name: (max if limit.name in STRICTER_ABOVE else min)(getattr(one, limit.name) for one in some)
            for limit in fields(Limits)
        }
    )


def narrowed(floor: Limits, limits: Mapping[str, float], *, strict: bool = True, of: str = "the workshop") -> Limits:
    """A set of limits with some of its own.

    Parameters
    ----------
    floor : Limits
        Those that count for what is not named.
    limits : mapping of name to float
    strict : bool
        Refuse one that is laxer than the floor's; otherwise it stays as given.
    of : str
        Whose the floor is, for the refusal.

    Raises
    ------
    LimitTooLoose
        For a limit that is not known, out of its bounds, or laxer.

    """
    known = {limit.name: limit.metadata for limit in fields(Limits)}
    for name, value in limits.items():
        if name not in known:
            raise LimitTooLoose(f"There is no limit “{name}”.", f"Choose one of: {', '.join(known)}.")
        least, above = getattr(floor, name), name in STRICTER_ABOVE
        if strict and (value < least if above else value > least):
            words, unit = known[name]["words"], known[name]["unit"]
            raise LimitTooLoose(
                f"{words.capitalize()}: {value:g} {unit} is laxer than {least:g}, the limit of {of}.",
                f"Choose {least:g} or {'more' if above else 'less'}, or change the limit of {of} first.",
            )
    return replace(floor, **limits)


def edition_of(version: str) -> str:
    """The edition in a version of the rules."""
    return version.partition("-")[0]


def source_of(name: str) -> str:
    """Where a limit comes from."""
    return str(next(limit.metadata["source"] for limit in fields(Limits) if limit.name == name))
