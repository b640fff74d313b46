"""What every refusal of an impossible record has in common."""

from __future__ import annotations

import math

from curejournal.base.counting import digits
from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg


class ImpossibleRecord(CureJournalError):
    """A record that cannot be true."""


def require_amount(value: float, what: str) -> None:
    """Refuse an amount that is not above zero."""
    if not (math.isfinite(value) and value > 0):
        raise ImpossibleRecord(
            msg("{what} of {value} is not possible: it has to be above zero.", what=what, value=digits(value)),
            msg("Enter it again."),
        )


def require_name(value: str, what: str) -> None:
    """Refuse an empty name."""
    if not value.strip():
        raise ImpossibleRecord(msg("The {what} is empty.", what=what), msg("Give the {what}.", what=what))
