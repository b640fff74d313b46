"""Free alkali by titration, and the little that a pH can tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from scipy.special import stdtrit

from curejournal.base.errors import CureJournalError
from curejournal.soap.lye import NAOH_G_MOL

DROP_ML = 0.05
"""One drop of a burette or syringe, the step of a hand titration [common practice, no source]."""

ACID_RELATIVE_SD = 0.005
"""Doubt of a bought 0.1 mol/l acid: ours, half a per cent."""

BALANCE_SD_G = 0.01
"""Doubt of the soap's weight: ours, the step of a 0.01 g balance."""


class ImpossibleTest(CureJournalError):
    """A test whose figures cannot be."""


@dataclass(frozen=True)
class Titration:
    """Free caustic alkali in % NaOH by mass of soap, with its 95% interval.

    `detected` is false if the result lies below `detection_limit_pct`: then
    it is reported as below that limit, never as zero.
    """

    free_alkali_pct: float
    interval_pct: tuple[float, float]
    detection_limit_pct: float
    detected: bool
    replicates: int

    @property
    def words(self) -> str:
        """The result as one says it."""
        if not self.detected:
            return f"not detected (below {self.detection_limit_pct:.3f}% NaOH)"
        low, high = self.interval_pct
        return f"{self.free_alkali_pct:.3f}% NaOH ({low:.3f} to {high:.3f})"


def titrate(soap_g: float, acid_ml: Sequence[float], acid_mol_l: float, blank_ml: float = 0.0) -> Titration:
    """Free caustic alkali from titrations in neutral ethanol.

    Parameters
    ----------
    soap_g : float
        Soap taken for each titration, g.
    acid_ml : sequence of float
        Hydrochloric acid used by each replicate, ml.
    acid_mol_l : float
        Its strength, mol/l.
    blank_ml : float
        Acid used by the solvent alone, ml.

    Returns
    -------
    Titration
        Mean, 95% interval and detection limit.

    Raises
    ------
    ImpossibleTest
        If an amount is negative, zero where it may not be, or missing.

    Notes
    -----
    % NaOH = (V - blank) c M / (10 m), ISO 456 and AOCS Da 4a [from memory]; the factor agrees with Simmons &
    Appleton, The Handbook of Soap Manufacture, 1908. The interval joins one drop of doubt in sample and blank
    (uniform) or the replicates' own spread (Student's t), whichever is larger, with acid and balance.
    Detection limit after Currie, Anal. Chem. 40 (1968) 586: 3.29 standard deviations of the net volume.

    """
    volumes = [float(volume) for volume in acid_ml]
    _require(_positive(soap_g), "The weight of soap titrated has to be above zero.")
    _require(_positive(acid_mol_l), "The strength of the acid has to be above zero.")
    _require(bool(volumes), "No volume of acid was entered.")
    _require(all(math.isfinite(v) and v >= 0 for v in (*volumes, blank_ml)), "A volume of acid cannot be negative.")

    count = len(volumes)
    net_ml = sum(volumes) / count - blank_ml
    drop_sd = DROP_ML / math.sqrt(3)
    mean_sd = drop_sd / math.sqrt(count)
    if count > 1:
        spread = math.sqrt(sum((v - sum(volumes) / count) ** 2 for v in volumes) / (count - 1))
        mean_sd = max(mean_sd, spread / math.sqrt(count) * float(stdtrit(count - 1, 0.975)) / 1.96)
    net_sd = math.hypot(mean_sd, drop_sd)
    per_ml = acid_mol_l * NAOH_G_MOL / (10 * soap_g)
    pct = net_ml * per_ml
    pct_sd = math.hypot(net_sd * per_ml, pct * math.hypot(ACID_RELATIVE_SD, BALANCE_SD_G / soap_g))
    limit = 3.29 * net_sd * per_ml
    return Titration(
        free_alkali_pct=max(pct, 0.0),
        interval_pct=(max(pct - 1.96 * pct_sd, 0.0), max(pct + 1.96 * pct_sd, 0.0)),
        detection_limit_pct=limit,
        detected=pct >= limit,
        replicates=count,
    )


class PhBand(StrEnum):
    """Steps of the ladder for a 1% solution."""

    USUAL = "usual"
    AGAIN = "test again"
    HOLD = "hold and titrate"
    NOT_FOR_SALE = "not for sale"


PH_USUAL_TO = 10.5
PH_AGAIN_TO = 11.0
PH_NOT_FOR_SALE_FROM = 11.5
"""House rule: a 1% solution to 10.5 is usual, to 11 tested again, above held. At and above 11.5 a mixture is
presumed corrosive (CLP, Regulation 1272/2008, Annex I 3.2.3.1.2) [looked up]."""

STRIP_HALF_WIDTH = 0.5
METER_HALF_WIDTH = 0.1
"""A reading's own doubt where none was entered: strips 0.5 to 1, meters 0.1 [common practice, no source]."""


@dataclass(frozen=True)
class PhReading:
    """A pH as it would be at 1%, with its interval; its upper end sets the step on the ladder.

    `comparable` is false if the strength is unknown or far from 1%: such a
    reading can raise a hold but never clear one.
    """

    interval: tuple[float, float]
    band: PhBand
    comparable: bool
    words: str


def read_ph(ph: float, half_width: float, strength_pct: float | None, *, by_strip: bool = False) -> PhReading:
    """Place a pH on the ladder for a 1% solution.

    Parameters
    ----------
    ph, half_width : float
        As read, and the step or doubt of strip or meter.
    strength_pct : float or None
        Grams of soap in 100 ml of water; None if it was not noted.
    by_strip : bool
        Strips often read low in soap solution, so a low one proves nothing.

    Returns
    -------
    PhReading
        Interval at 1%, step and words.

    Raises
    ------
    ImpossibleTest
        If the pH lies outside 0 to 14, or doubt or strength cannot be.

    Notes
    -----
    Ten times the strength raises the pH by 0 (buffered) to 1 (free alkali alone). So a strength other than 1%
    widens the interval by the whole of log10(strength) to the side where the 1% value may lie.

    """
    _require(math.isfinite(ph) and 0 <= ph <= 14, f"A pH of {ph:g} cannot be: the scale runs from 0 to 14.")
    _require(math.isfinite(half_width) and 0 <= half_width <= 5, "The doubt of a pH has to be from 0 to 5.")
    _require(strength_pct is None or _positive(strength_pct), "The strength of the solution has to be above zero.")
    shift = math.log10(strength_pct) if strength_pct else 0.0
    low, high = ph - half_width - max(shift, 0.0), ph + half_width + max(-shift, 0.0)
    comparable = strength_pct is not None and 0.5 <= strength_pct <= 5.0
    # 1e-9 keeps a reading of 10.4 ± 0.1 on the step its figures say.
    if high <= PH_USUAL_TO + 1e-9:
        band = PhBand.USUAL
    elif high <= PH_AGAIN_TO + 1e-9:
        band = PhBand.AGAIN
    elif max(ph, low) >= PH_NOT_FOR_SALE_FROM - 1e-9:
        band = PhBand.NOT_FOR_SALE
    else:
        band = PhBand.HOLD
    # To a hundredth where it is read so: a tenth could put it on another step than it is on.
    decimals = 1 if all(abs(end - round(end, 1)) < 0.005 for end in (low, high)) else 2
    words = f"pH {low:.{decimals}f} to {high:.{decimals}f} at 1%: {band.value}"
    if not comparable:
        words += "; the solution was not near 1%, so it compares badly"
    if by_strip and band is PhBand.USUAL:
        words += "; strips often read low in soap, so this proves little"
    return PhReading((low, high), band, comparable, words)


def _positive(value: float) -> bool:
    return math.isfinite(value) and value > 0


def _require(holds: bool, sentence: str) -> None:
    if not holds:
        raise ImpossibleTest(sentence, "Correct it and try again.")
