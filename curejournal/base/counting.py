"""Figures, as every room writes them."""

from __future__ import annotations


def digits(value: float, decimals: int | None = None) -> str:
    """A figure with so many decimals, or as many as it needs.

    Below zero it has the minus sign, U+2212, as in the charts (d3-format): after “to” or a bracket a hyphen is
    overlooked. What rounds to zero has none.
    """
    return format(value, "zg" if decimals is None else f"z.{decimals}f").replace("-", "\u2212")
