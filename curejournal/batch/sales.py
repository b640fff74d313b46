"""Records of bars that left the workshop, came back, or were complained of; people are named by number only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

WhyOut = Literal["sold", "sample", "retained", "given", "scrapped"]


@dataclass(frozen=True)
class BarsOut:
    """Bars that left the rack: to whom (a market, a shop, a laboratory, the shelf of retained samples), and why.

    `order` is the name of the order that they are part of, which may take bars of several batches; `contact` the number
    of the person who has them, whose name is kept apart from the ledger.
    """

    bars: int
    to: str
    why: WhyOut
    note: str = ""
    order: str = ""
    contact: int | None = None

    @property
    def left_the_house(self) -> bool:
        """Whether others have them: a recall has to reach them."""
        return self.why in ("sold", "sample", "given")


@dataclass(frozen=True)
class BarsBack:
    """Bars that came back, from whom and why; `sellable` if they may go out again."""

    bars: int
    why: str
    to: str = ""
    contact: int | None = None
    sellable: bool = False


@dataclass(frozen=True)
class Complaint:
    """What somebody complained of, of how many bars, and what became of it; a photo may be filed with it."""

    what: str
    outcome: str = ""
    bars: int | None = None
    contact: int | None = None
