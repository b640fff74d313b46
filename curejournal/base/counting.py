"""How many of something, and how much, as every room says it."""

from __future__ import annotations

import re


def how_many(number: int, what: str) -> str:
    """1 bar, 2 bars, 2 batches, 2 entries."""
    many = re.sub("ry$", "rie", what) + ("es" if what.endswith("ch") else "s")
    return f"{number} {what if number == 1 else many}"


def digits(value: float, decimals: int | None = None) -> str:
    """A figure with so many decimals, or as many as it needs.

    Below zero it has the minus sign, U+2212, as in the charts (d3-format): after “to” or a bracket a hyphen is
    overlooked. What rounds to zero has none.
    """
    return format(value, "zg" if decimals is None else f"z.{decimals}f").replace("-", "\u2212")
