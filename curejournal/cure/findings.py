"""What a gauge says: its finding, with the evidence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Literal


class Verdict(StrEnum):
    """What a gauge says, best first. *Not known* lets nothing pass that needs knowing."""

    PASS = "pass"
    UNKNOWN = "not known"
    PENDING = "pending"
    HOLD = "hold"


Gauge = Literal["age", "drying", "alkali", "colour", "surface", "lye margin", "record complete"]


@dataclass(frozen=True)
class Finding:
    """What one gauge says, with its evidence.

    `figures` maps a name to (value, unit). `rule` is the rule as applied and
    `source` where its limit comes from. `until` is when it may turn to *go*,
    `until_interval` its 95% interval (None is unknown). `advice` is the useful
    thing to do, and `needs` what the maker has to supply, where time alone does not help.
    """

    gauge: Gauge
    verdict: Verdict
    words: str
    rule: str
    source: str
    figures: Mapping[str, tuple[float, str]] = field(default_factory=dict)
    until: datetime | None = None
    until_interval: tuple[datetime | None, datetime | None] = (None, None)
    advice: str = ""
    needs: str = ""
