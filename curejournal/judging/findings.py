"""What a check says: its finding, with the evidence; and what a check is."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import TYPE_CHECKING

from curejournal.base.messages import join, msg

if TYPE_CHECKING:
    from curejournal.judging.context import Context


class Verdict(StrEnum):
    """What a check says, best first. *Not known* lets nothing pass that needs knowing."""

    PASS = "pass"
    UNKNOWN = "not known"
    PENDING = "pending"
    HOLD = "hold"


CheckName = str
"""A check's name."""


@dataclass(frozen=True)
class Finding:
    """What one check says, with its evidence.

    `figures` maps a name to (value, unit). `rule` is the rule as applied and
    `source` where its limit comes from. `until` is when it may turn to *pass*,
    `until_interval` its 95% interval (None is unknown). `advice` is the useful
    thing to do, and `needs` what the maker has to supply, where time alone does not help.
    `qualifier` goes into the batch's verdict where this check passes with a reservation.
    """

    check: CheckName
    verdict: Verdict
    words: str
    rule: str
    source: str
    figures: Mapping[str, tuple[float, str]] = field(default_factory=dict)
    until: datetime | None = None
    until_interval: tuple[datetime | None, datetime | None] = (None, None)
    advice: str = ""
    needs: str = ""
    qualifier: str = ""


@dataclass(frozen=True)
class Check:
    """One check: its name, the function that looks at a batch, and what the glossary says of it.

    `needed` says that *not known* there is never *ready*; `safety` that a hold there is one of safety, not of looks.
    `rank` orders the list, those of safety first. `source` is where its rule comes from.
    """

    name: CheckName
    function: Callable[[Context], Finding]
    glossary: str
    needed: bool
    safety: bool
    source: str
    rank: int


def passed_untitrated(findings: Iterable[Finding]) -> bool:
    """Whether the alkali passes without a titration, which every paper and label says.

    Parameters
    ----------
    findings : iterable of Finding

    Returns
    -------
    bool
    """
    return any(finding.check == "alkali" and bool(finding.qualifier) for finding in findings)


def what_passed(findings: Iterable[Finding]) -> str:
    """Say that all checks passed, or which are not known, of a batch that nothing holds.

    Parameters
    ----------
    findings : iterable of Finding
        One of each check.

    Returns
    -------
    str
    """
    unknown = [finding.check for finding in findings if finding.verdict is not Verdict.PASS]
    if unknown:
        return msg("all needed checks passed; not known: {unknown}", unknown=join(", ", unknown))
    return msg("all checks passed")
