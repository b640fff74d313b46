"""What is known of milk and other liquids: which part of them is water, and which is fat."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from importlib import resources


@dataclass(frozen=True)
class KnownLiquid:
    """A liquid's water and fat as parts of 1 by mass."""

    names: tuple[str, ...]
    water: float
    fat: float
    note: str = ""


def _read() -> tuple[KnownLiquid, ...]:
    table = tomllib.loads(resources.files(__package__).joinpath("liquids.toml").read_text("utf-8"))
    return tuple(KnownLiquid(**{**entry, "names": tuple(entry["names"])}) for entry in table["liquid"])


LIQUIDS = _read()
"""Every known liquid. A new one is an entry of `liquids.toml`."""

NOT_WATER = ("milk", "cream", "yoghurt", "yogurt", "kefir", "beer", "wine", "puree", "purée", "whey")
"""A liquid whose name has one of these in it is not water alone, whatever it is."""


def liquid_named(name: str) -> KnownLiquid | None:
    """Find what is known of a liquid by its name, None if nothing is; of two names that fit, the longer counts.

    Parameters
    ----------
    name : str
        As the maker wrote it.

    Returns
    -------
    KnownLiquid or None
    """
    asked = name.casefold().replace("\u2019", "'")
    fits = [(len(known), one) for one in LIQUIDS for known in one.names if known in asked]
    return max(fits, key=lambda pair: pair[0])[1] if fits else None


def more_than_water(name: str) -> bool:
    """Whether a liquid's name says that it is not water alone.

    Parameters
    ----------
    name : str
        As the maker wrote it.

    Returns
    -------
    bool
    """
    return any(word in name.casefold() for word in NOT_WATER)
