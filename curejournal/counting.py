"""How many of something, as every room says it."""

from __future__ import annotations

import re


def how_many(number: int, what: str) -> str:
    """1 bar, 2 bars, 2 batches, 2 entries."""
    many = re.sub("ry$", "rie", what) + ("es" if what.endswith("ch") else "s")
    return f"{number} {what if number == 1 else many}"
