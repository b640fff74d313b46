"""Acids, and how much lye each takes up: from its formula."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg
from curejournal.soap.recipe import Acid

# IUPAC abridged standard atomic weights, g/mol.
ATOMIC_WEIGHT = {"H": 1.008, "B": 10.81, "C": 12.011, "N": 14.007, "O": 15.999, "Na": 22.990, "P": 30.974, "K": 39.098}


class NoAcid(CureJournalError):
    """A substance that takes up no lye, or of which nobody knows how much, was entered as an acid."""


@dataclass(frozen=True)
class KnownAcid:
    """An acid: its molar mass, how many of its protons take up lye, and how strong it usually comes."""

    key: str
    formula: str
    protons: int
    usual_pct: float = 100.0
    half_width_pct: float = 0.0
    note: str = ""

    @property
    def molar_mass_g_mol(self) -> float:
        """From the formula."""
        return molar_mass_g_mol(self.formula)


def molar_mass_g_mol(formula: str) -> float:
    """Add up a molar mass in g/mol from a formula without brackets, such as C6H8O7.

    Parameters
    ----------
    formula : str
        Elements and counts.

    Returns
    -------
    float
        In g/mol.

    Raises
    ------
    ValueError
        If it names an element that is not in `ATOMIC_WEIGHT`.
    """
    found = re.findall(r"([A-Z][a-z]?)(\d*)", formula)
    if "".join(symbol + count for symbol, count in found) != formula or any(e not in ATOMIC_WEIGHT for e, _ in found):
        raise ValueError(formula)
    return sum(ATOMIC_WEIGHT[symbol] * int(count or 1) for symbol, count in found)


_TABLE = tomllib.loads(resources.files(__package__).joinpath("acids.toml").read_text("utf-8"))
ACIDS: Mapping[str, KnownAcid] = {entry["key"]: KnownAcid(**entry) for entry in _TABLE["acid"]}
"""Every acid by its key. A new one is an entry of `acids.toml`."""
NO_ACID: Mapping[str, str] = _TABLE["no_acid"]
"""What is taken for an acid, with why it takes up no lye."""


def acid_named(name: str) -> KnownAcid | None:
    """Find the listed acid that a material's name means: “Citric acid (anhydrous)” is citric acid.

    None if it means none; the salt of an acid is not the acid.

    Parameters
    ----------
    name : str
        As the maker wrote it.

    Returns
    -------
    KnownAcid or None
    """
    words = join(" ", re.findall(r"[a-z]+", name.casefold()))
    if any(words == join(" ", re.findall(r"[a-z]+", salt)) for salt in NO_ACID):
        return None
    found = [acid for key, acid in ACIDS.items() if re.search(rf"\b{key}\b", words)]
    return max(found, key=lambda acid: len(acid.key), default=None)


def mol_of_lye_per_g(acid: Acid) -> float:
    """Mol of NaOH or KOH that one gram of the pure acid takes up.

    Parameters
    ----------
    acid : Acid

    Returns
    -------
    float
        In mol/g.

    Raises
    ------
    NoAcid
        If it is not listed and its molar mass or protons are missing or cannot be.
    """
    known = ACIDS.get(acid.key.strip().casefold())
    mass = acid.molar_mass_g_mol or (known.molar_mass_g_mol if known else None)
    protons = acid.protons or (known.protons if known else None)
    why = NO_ACID.get(acid.key.strip().casefold())
    if why is not None:
        raise NoAcid(
            msg("“{key}” takes up no lye as an acid: {why}.", key=acid.key, why=why),
            msg("Enter it among the additives."),
        )
    if mass is None or protons is None:
        raise NoAcid(
            msg("“{key}” is not an acid that is known here.", key=acid.key),
            msg(
                "Choose one of: {acids}; or give its molar mass and how many protons of a molecule take up "
                "lye. If it is not an acid, enter it among the additives.",
                acids=join(", ", ACIDS),
            ),
        )
    # Formic acid, 46 g/mol, is the lightest with a carboxyl group; phytic acid has twelve protons and 660 g/mol.
    if not (46 <= mass <= 1000 and 1 <= protons <= 12 and mass / protons >= 33):
        raise NoAcid(
            msg("No acid has a molar mass of {mass:g} g/mol and {protons} protons.", mass=mass, protons=protons),
            msg("Look at the label or the safety data sheet again."),
        )
    return protons / mass
