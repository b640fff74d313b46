"""Where a rule comes from, as a paper may say it: a citation or nothing, without our drafting notes."""

from __future__ import annotations

import re

from curejournal.base.messages import join, msg

_NOTE = re.compile(r"\s*\[(?:looked up|from memory|common practice|unverified|arithmetic|house rule)[^\]]*\]")
_UNCHECKED = re.compile(r"\[(?:from memory|common practice|unverified|house rule)")
_OURS = re.compile(r"^\s*(?:ours|house rule|chosen by us|tolerance: the maker's|days apart)\b", re.IGNORECASE)

OWN_RULE = msg("maker's own rule")


def citation(source: str) -> str:
    """A source without our drafting notes.

    Of its clauses those stay that name something published; one that rests on memory or on practice, or is ours, is
    left out.

    Examples
    --------
    >>> citation("IS 2888:2004, all grades [looked up: transcriptions]")
    'IS 2888:2004, all grades'
    >>> citation("four to six weeks is the habit [common practice, no source]")
    ''
    """
    kept = [
        _NOTE.sub("", clause).strip(" .")
        for clause in source.split(";")
        if not _UNCHECKED.search(clause) and not _OURS.search(clause) and _NOTE.sub("", clause).strip()
    ]
    return join("; ", kept)


def rule_and_source(rule: str, source: str) -> str:
    """A rule with its citation; without one it stands by itself."""
    found = citation(source)
    return msg("{rule} ({found})", rule=rule, found=found) if found else rule
