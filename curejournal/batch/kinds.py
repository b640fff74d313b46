"""Every other measured quantity of a batch: its unit, range and words.

A new quantity is one entry here; form, store and chart pick it up.
"""

from __future__ import annotations

from dataclasses import dataclass

from curejournal.base.messages import msg


@dataclass(frozen=True)
class Kind:
    """A measured quantity. Values outside [low, high] are refused as impossible."""

    name: str
    unit: str
    low: float
    high: float
    words: str


GRAMS_IN_OUNCE = 28.349523125
"""The avoirdupois ounce (international yard and pound agreement of 1959)."""

KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind(msg("room temperature"), "°C", -20.0, 50.0, msg("temperature of the cure room")),
        Kind(msg("room humidity"), "% RH", 0.0, 100.0, msg("relative humidity of the cure room")),
        Kind(msg("batter temperature"), "°C", 0.0, 110.0, msg("temperature of the batter or loaf")),
    )
}
