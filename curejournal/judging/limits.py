"""The maker's limits, each with its source and the bounds within which it makes sense."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg, sentence

RULES_EDITION = "5"
"""If a change can alter a verdict, increment this: a kept judgement names the rules that made it. The judged batches in
tests/data/judged fail until it is done."""


class LimitTooLoose(CureJournalError):
    """A house rule outside the bounds within which it makes sense."""


def _limit(
    default: float, low: float, high: float, unit: str, words: str, source: str, *, stricter_above: bool = False
) -> float:
    return field(
        default=default,
        metadata={
            "low": low,
            "high": high,
            "unit": unit,
            "words": words,
            "source": source,
            "stricter above": stricter_above,
        },
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
        28,
        21,
        365,
        "days",
        msg("least age"),
        msg("four to six weeks is the habit [common practice, no source]"),
        stricter_above=True,
    )
    loss_pct_week: float = _limit(
        1.0,
        0.1,
        1.5,
        "% a week",
        msg("most weight that may still be lost"),
        msg("steady weight [common practice, no source]"),
    )
    weighings_days_apart: float = _limit(
        7,
        5,
        60,
        "days",
        msg("two steady weighings at least this far apart"),
        msg("[common practice, no source]"),
        stricter_above=True,
    )
    free_alkali_pct: float = _limit(
        0.05,
        0.01,
        0.05,
        "% NaOH",
        msg("most free caustic alkali"),
        msg("IS 2888:2004, all grades [looked up: transcriptions]"),
    )
    ph_usual_to: float = _limit(
        11.0,
        9.5,
        11.0,
        msg("pH at 1%"),
        msg("highest pH that may pass without a titration"),
        msg(
            "house rule; sound soaps read 9 to 10.7 and beyond (Tarun et al. 2014, PMC4171909; Hassan 2017), and "
            "0.5% free "
            "NaOH alone gives 11.1 at 1% (arithmetic)"
        ),
    )
    alkali_chance_pct: float = _limit(
        0.5, 0.01, 0.5, "%", msg("chance of too much free alkali, where titrated"), msg("ours: a tenth of the usual 5%")
    )
    untitrated_chance_pct: float = _limit(
        0.2,
        0.01,
        0.2,
        "%",
        msg("chance of too much free alkali, where not titrated"),
        msg("ours: stricter, as nothing proves it"),
    )
    alkali_test_days: float = _limit(
        14,
        14,
        60,
        "days",
        msg("age from which an alkali test can tell"),
        msg("saponification goes on for one or more days (a published handbook); two weeks are ours"),
        stricter_above=True,
    )
    colour_days_apart: float = _limit(
        5,
        3,
        60,
        "days",
        msg("two readings within tolerance at least this far apart"),
        msg("ours: longer than a turn lasts"),
        stricter_above=True,
    )
    check_weekly_days: float = _limit(
        7, 2, 14, "days", msg("weigh and look again every"), msg("[common practice, no source]")
    )

    def __post_init__(self) -> None:
        for limit in fields(self):
            value, low, high = getattr(self, limit.name), limit.metadata["low"], limit.metadata["high"]
            if not low <= value <= high:
                raise LimitTooLoose(
                    msg(
                        "{capitalize}: {value:g} {metadata} is out of bounds.",
                        capitalize=sentence(limit.metadata["words"]),
                        value=value,
                        metadata=limit.metadata["unit"],
                    ),
                    msg(
                        "Choose from {low:g} to {high:g} {metadata}.",
                        low=low,
                        high=high,
                        metadata=limit.metadata["unit"],
                    ),
                )

    @property
    def version(self) -> str:
        """Edition of the rules and a short hash of the limits: the same limits give the same version."""
        text = repr([(limit.name, float(getattr(self, limit.name))) for limit in fields(self)])
        return f"{RULES_EDITION}-{hashlib.sha256(text.encode()).hexdigest()[:8]}"


STRICTER_ABOVE = frozenset(limit.name for limit in fields(Limits) if limit.metadata["stricter above"])
"""Limits that are stricter the higher they are; all others are stricter the lower they are."""


def strictest(*some: Limits) -> Limits:
    """Of several sets of limits the strictest of each limit.

    Parameters
    ----------
    *some : Limits

    Returns
    -------
    Limits
    """
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

    Returns
    -------
    Limits

    Raises
    ------
    LimitTooLoose
        For a limit that is not known, out of its bounds, or laxer.
    """
    known = {limit.name: limit.metadata for limit in fields(Limits)}
    for name, value in limits.items():
        if name not in known:
            raise LimitTooLoose(
                msg("There is no limit “{name}”.", name=name), msg("Choose one of: {known}.", known=join(", ", known))
            )
        least, above = getattr(floor, name), name in STRICTER_ABOVE
        if strict and (value < least if above else value > least):
            words, unit = known[name]["words"], known[name]["unit"]
            raise LimitTooLoose(
                msg(
                    "{capitalize}: {value:g} {unit} is laxer than {least:g}, the limit of {of}.",
                    capitalize=sentence(words),
                    value=value,
                    unit=unit,
                    least=least,
                    of=of,
                ),
                msg(
                    "Choose {least:g} or {above}, or change the limit of {of} first.",
                    least=least,
                    above="more" if above else "less",
                    of=of,
                ),
            )
    return replace(floor, **limits)


def edition_of(version: str) -> str:
    """The edition in a version of the rules.

    Parameters
    ----------
    version : str
        Edition and hash, such as "4-1a2b3c4d".

    Returns
    -------
    str
    """
    return version.partition("-")[0]


def source_of(name: str) -> str:
    """Where a limit comes from.

    Parameters
    ----------
    name : str
        Of the limit's field.

    Returns
    -------
    str
    """
    return str(next(limit.metadata["source"] for limit in fields(Limits) if limit.name == name))
