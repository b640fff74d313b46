"""The fats whose saponification value is published, each with its range and source."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from importlib import resources

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.soap.recipe import Oil


class UnknownOil(CureJournalError):
    """A recipe names a fat for which no range is published here and no certificate is given."""


@dataclass(frozen=True)
class PublishedOil:
    """A fat's published range of saponification values, in mg KOH per g, and where it was published."""

    key: str
    name: str
    low: float
    high: float
    source: str


def _read() -> dict[str, PublishedOil]:
    table = tomllib.loads(resources.files(__package__).joinpath("oils.toml").read_text("utf-8"))
    return {entry["key"]: PublishedOil(**entry) for entry in table["oil"]}


OILS: dict[str, PublishedOil] = _read()
"""Every published fat by its key. A new one is an entry of `oils.toml`."""


def sv_range(oil: Oil) -> tuple[float, float]:
    """The range of saponification values to reckon with for one fat of a recipe.

    Parameters
    ----------
    oil : Oil
        A certificate's own value wins over the published range.

    Returns
    -------
    tuple of float
        Lowest and highest value, mg KOH per g.

    Raises
    ------
    UnknownOil
        If the key is not in `OILS` and no certificate value is given.

    """
    if oil.certificate_sv is not None:
        return (
            max(oil.certificate_sv - oil.certificate_sv_half_width, 0.0),
            oil.certificate_sv + oil.certificate_sv_half_width,
        )
    if oil.key not in OILS:
        raise UnknownOil(
            msg("No saponification value is known for “{key}”.", key=oil.key),
            msg("Enter the value of the supplier's certificate, or your own, with its spread; or choose a listed fat."),
        )
    return OILS[oil.key].low, OILS[oil.key].high
