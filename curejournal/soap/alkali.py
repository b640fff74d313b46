"""Free alkali by titration, and the little that a pH can tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.base.normal import Z95
from curejournal.soap.lye import NAOH_G_MOL

Array = NDArray[np.float64]

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
    it is reported as below that limit, never as zero. `estimate_pct` is the net result, below zero where the soap took
    less acid than the blank, and `sd_pct` its standard deviation. `disagree` says that the replicates differ by more
    than the burette explains.
    """

    free_alkali_pct: float
    interval_pct: tuple[float, float]
    detection_limit_pct: float
    detected: bool
    replicates: int
    estimate_pct: float = 0.0
    sd_pct: float = 0.0
    disagree: bool = False

    @property
    def words(self) -> str:
        """The result as one says it."""
        if not self.detected:
            return msg(
                "not detected (below {detection_limit_pct:.3f}% NaOH)", detection_limit_pct=self.detection_limit_pct
            )
        low, high = self.interval_pct
        return msg(
            "{free_alkali_pct:.3f}% NaOH ({low:.3f} to {high:.3f})",
            free_alkali_pct=self.free_alkali_pct,
            low=low,
            high=high,
        )


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
    Appleton, The Handbook of Soap Manufacture, 1908. The error of one drop is known beforehand (uniform), so n
    replicates have 1 / sqrt(n) of it, and two are never worse than one, unless they differ by more than it explains
    (99.9% point of chi-squared): then the interval grows by the Birge ratio (R. T. Birge, Phys. Rev. 40, 1932, 207).
    Blank, acid and balance join it. Detection limit after Currie, Anal. Chem. 40 (1968) 586: 3.29 standard deviations
    of the net volume.

    """
    volumes = [float(volume) for volume in acid_ml]
    _require(_positive(soap_g), msg("The weight of soap titrated has to be above zero."))
    _require(_positive(acid_mol_l), msg("The strength of the acid has to be above zero."))
    _require(bool(volumes), msg("No volume of acid was entered."))
    _require(
        all(math.isfinite(v) and v >= 0 for v in (*volumes, blank_ml)), msg("A volume of acid cannot be negative.")
    )

    count = len(volumes)
    net_ml = sum(volumes) / count - blank_ml
    drop_sd = DROP_ML / math.sqrt(3)
    mean_sd, disagree = drop_sd / math.sqrt(count), False
    if count > 1:
        chi2 = sum((v - sum(volumes) / count) ** 2 for v in volumes) / drop_sd**2
        disagree = chi2 > float(chdtri(count - 1, 0.001))
        mean_sd *= math.sqrt(chi2 / (count - 1)) if disagree else 1.0
    net_sd = math.hypot(mean_sd, drop_sd)
    per_ml = acid_mol_l * NAOH_G_MOL / (10 * soap_g)
    pct = net_ml * per_ml
    pct_sd = math.hypot(net_sd * per_ml, pct * math.hypot(ACID_RELATIVE_SD, BALANCE_SD_G / soap_g))
    limit = 3.29 * net_sd * per_ml
    return Titration(
        free_alkali_pct=max(pct, 0.0),
        interval_pct=(max(pct - Z95 * pct_sd, 0.0), max(pct + Z95 * pct_sd, 0.0)),
        detection_limit_pct=limit,
        detected=pct >= limit,
        replicates=count,
        estimate_pct=pct,
        sd_pct=pct_sd,
        disagree=disagree,
    )


def ph_with_lye(soap_ph: Array, free_pct: Array, strength_pct: float = 1.0) -> Array:
    """The pH of a solution of soap that holds free lye.

    Parameters
    ----------
    soap_ph : ndarray of any shape
        What the soap's own hydrolysis gives in this solution.
    free_pct : ndarray of any shape
        Free caustic alkali, % NaOH of the soap; broadcast against `soap_ph`.
    strength_pct : float
        Grams of soap in 100 ml.

    Returns
    -------
    ndarray of the same shape
        pH at 25 °C.

    Notes
    -----
    [OH] = F + (sqrt(F^2 + 4 h^2) - F) / 2, with F the lye's hydroxide, mol/l, and h that of the hydrolysis alone, which
    F holds back (mass action). Activities are ignored. With h near 0 it gives the table in the trade notes: 0.05% at
    1% is pH 10.1, 0.5% is 11.1.
    """
    own, free = 10.0 ** (soap_ph - 14.0), np.maximum(free_pct, 0.0) / 10.0 * strength_pct / NAOH_G_MOL
    return np.asarray(14.0 + np.log10(free + (np.sqrt(free**2 + 4 * own**2) - free) / 2))


PH_PER_DEGREE = -0.03
"""How the pH of an alkaline solution changes with its temperature, per °C: water's own pKw is 14.17 at 20 °C, 14.00 at
25, 13.83 at 30 [from memory: CRC Handbook]."""
USUAL_C = 25.0


class PhBand(StrEnum):
    """Steps of the ladder for a 1% solution."""

    USUAL = "usual"
    AGAIN = "test again"
    HOLD = "hold and titrate"
    NOT_FOR_SALE = "not for sale"


PH_USUAL_TO = 10.5
PH_AGAIN_TO = 11.0
PH_NOT_FOR_SALE_FROM = 11.5
"""House rule: a 1% solution to 10.5 is usual, above it is tested again, and held if it lies wholly above 11. At and
above 11.5 a mixture is presumed corrosive (CLP, Regulation 1272/2008, Annex I 3.2.3.1.2) [looked up]."""

STRIP_HALF_WIDTH = 0.5
METER_HALF_WIDTH = 0.1
"""A reading's own doubt where none was entered: strips 0.5 to 1, meters 0.1 [common practice, no source]."""


@dataclass(frozen=True)
class PhReading:
    """A pH as it would be at 1% and 25 °C, with its interval.

    What lies wholly above a step of the ladder is held, however coarse; what reaches above it is to be tested again.

    `comparable` is false if the strength is unknown or far from 1%: such a
    reading can raise a hold but never clear one.
    """

    interval: tuple[float, float]
    band: PhBand
    comparable: bool
    words: str

    @property
    def ends(self) -> str:
        """The interval as one says it."""
        return _ends(*self.interval)


def read_ph(
    ph: float,
    half_width: float,
    strength_pct: float | None,
    *,
    by_strip: bool = False,
    temperature_c: float | None = None,
) -> PhReading:
    """Place a pH on the ladder for a 1% solution.

    Parameters
    ----------
    ph, half_width : float
        As read, and the step or doubt of strip or meter.
    strength_pct : float or None
        Grams of soap in 100 ml of water; None if it was not noted.
    by_strip : bool
        Strips often read low in soap solution, so a low one proves nothing.
    temperature_c : float, optional
        Of the solution: the reading is taken to `USUAL_C`.

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
    _require(
        math.isfinite(ph) and 0 <= ph <= 14, msg("A pH of {ph:g} is not possible: the scale runs from 0 to 14.", ph=ph)
    )
    _require(math.isfinite(half_width) and 0 < half_width <= 5, msg("The doubt of a pH has to be above 0 and up to 5."))
    _require(strength_pct is None or _positive(strength_pct), msg("The strength of the solution has to be above zero."))
    shift = math.log10(strength_pct) if strength_pct else 0.0
    if temperature_c is not None:
        ph -= PH_PER_DEGREE * (temperature_c - USUAL_C)
    low, high = ph - half_width - max(shift, 0.0), ph + half_width + max(-shift, 0.0)
    comparable = strength_pct is not None and 0.5 <= strength_pct <= 5.0
    # 1e-9 keeps a reading of 10.4 ± 0.1 on the step its figures say.
    if max(ph, low) >= PH_NOT_FOR_SALE_FROM - 1e-9:
        band = PhBand.NOT_FOR_SALE
    elif low > PH_AGAIN_TO + 1e-9:
        band = PhBand.HOLD
    else:
        band = PhBand.USUAL if high <= PH_USUAL_TO + 1e-9 else PhBand.AGAIN
    words = msg("pH {ends} at 1%: {band}", ends=_ends(low, high), band=band.value)
    if not comparable:
        words += msg("; the solution was not near 1%, so it compares badly")
    if by_strip and band is PhBand.USUAL:
        words += msg("; strips often read low in soap")
    return PhReading((low, high), band, comparable, words)


def _ends(low: float, high: float) -> str:
    """Both ends to a tenth, outward; to a hundredth only where a tenth would put one on another step than it is on."""
    outer = math.floor(10 * low + 1e-6) / 10, math.ceil(10 * high - 1e-6) / 10
    coarse = (_step(low), _step(high)) == (_step(outer[0]), _step(outer[1]))
    shown = [f"{end:.1f}" for end in outer] if coarse else [f"{end:.2f}" for end in (low, high)]
    return msg("{low} to {high}", low=shown[0], high=shown[1])


def _step(ph: float) -> tuple[bool, ...]:
    """On which side of each step of the ladder a pH lies, or right on it."""
    steps = (PH_USUAL_TO, PH_AGAIN_TO, PH_NOT_FOR_SALE_FROM)
    return tuple(test for step in steps for test in (ph > step + 1e-9, ph < step - 1e-9))


def _positive(value: float) -> bool:
    return math.isfinite(value) and value > 0


def _require(holds: bool, sentence: str) -> None:
    if not holds:
        raise ImpossibleTest(sentence, msg("Correct it and try again."))
