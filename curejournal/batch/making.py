"""How a batch was made and kept: its kind, where it lies, its own rules, who made it, what went wrong."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from curejournal.base.messages import join

KindOfBatch = Literal["soap", "rebatch", "test pour", "earlier stock"]
Disposition = Literal["under review", "accepted", "reworked", "rejected"]


@dataclass(frozen=True)
class BatchKind:
    """What kind of batch it is, and why.

    A *test pour* is made to find something out and is not for sale. *Earlier stock* was made before the journal: its
    bars can be counted and called back, but it is not judged here. A *rebatch* says so by its recipe. `beside` is the
    code of the batch that a test pour is compared with.
    """

    kind: Literal["soap", "test pour", "earlier stock"]
    why: str = ""
    beside: str = ""


@dataclass(frozen=True)
class Place:
    """Where the batch, or one marked bar or tray of it, lies from now on."""

    rack: str
    tray: str = ""
    subject: str = ""

    @property
    def words(self) -> str:
        """The place as it is said: “rack A, tray 3”."""
        return join(", ", (part for part in (self.rack, self.tray) if part))


@dataclass(frozen=True)
class OwnRules:
    """Limits of this batch alone, each stricter than the workshop's; `why` is kept with them. The last entry counts."""

    limits: tuple[tuple[str, float], ...]
    why: str


@dataclass(frozen=True)
class MakingDetails:
    """Who weighed and who checked, with which instruments, by which instruction; where it is stored and until when.

    `scale_checked` and `meter_checked` are the days of their last calibration, `planned_bars` how many bars the recipe
    and mould should give. The last entry counts.
    """

    weighed_by: str = ""
    checked_by: str = ""
    scale: str = ""
    scale_checked: date | None = None
    meter: str = ""
    meter_checked: date | None = None
    instruction: str = ""
    planned_bars: int | None = None
    storage: str = ""
    best_before: date | None = None


@dataclass(frozen=True)
class Deviation:
    """Something that was not done, or did not turn out, as it should; what was decided about it, by whom and why."""

    what: str
    disposition: Disposition = "under review"
    decided_by: str = ""
    why: str = ""
