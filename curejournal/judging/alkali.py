"""Alkali tests over time: what they say together, and whether they hold the batch."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from curejournal.base.errors import CureJournalError
from curejournal.batch.records import AlkaliMethod, AlkaliTest
from curejournal.soap.alkali import (
    METER_HALF_WIDTH,
    STRIP_HALF_WIDTH,
    PhBand,
    PhReading,
    Titration,
    read_ph,
    titrate,
)

STRENGTH: dict[AlkaliMethod, int] = {"strip": 0, "meter": 1, "titration": 2}
"""How much a test proves, weakest first. Strips often read 1 to 3 units low in soap [common practice, no source]."""


class Outcome(StrEnum):
    """What one test says."""

    GOOD = "good"
    UNCLEAR = "unclear"
    HIGH = "high"


@dataclass(frozen=True)
class AlkaliReading:
    """One test read: `titration` or `ph` holds its figures, unless they could not be used."""

    at: datetime
    method: AlkaliMethod
    outcome: Outcome
    words: str
    titration: Titration | None = None
    ph: PhReading | None = None


@dataclass(frozen=True)
class AlkaliSummary:
    """All tests of a batch.

    `holding` are high readings that no later good test of the same or a
    stronger kind has lifted. `clearing` is the latest test that speaks for the
    batch, by meter or titration, which nothing of at least its strength has put in doubt since.
    """

    tests: tuple[AlkaliReading, ...]
    holding: tuple[AlkaliReading, ...]
    clearing: AlkaliReading | None


def read_tests(
    tests: Sequence[tuple[datetime, AlkaliTest]],
    free_alkali_limit_pct: float,
    ph_usual_to: float,
    concentrated: Callable[[datetime], float] = lambda at: 1.0,
) -> AlkaliSummary:
    """Read all alkali tests of a batch.

    Parameters
    ----------
    tests : sequence of (datetime, AlkaliTest)
        In order of time.
    free_alkali_limit_pct : float
        % NaOH above which, at the interval's upper end, a titration is high.
    ph_usual_to : float
        The highest upper end of a pH at 1% that counts as usual.
    concentrated : callable
        By what a share of the bar's mass at that time has grown since, as water left.

    Returns
    -------
    AlkaliSummary

    """
    read = tuple(_read(at, test, free_alkali_limit_pct, ph_usual_to, concentrated(at)) for at, test in tests)
    holding = tuple(
        high
        for i, high in enumerate(read)
        if high.outcome is Outcome.HIGH and not any(_lifts(later, high) for later in read[i + 1 :])
    )
    clearing = None
    for i, good in enumerate(read):
        proves = good.outcome is Outcome.GOOD and STRENGTH[good.method] >= STRENGTH["meter"]
        doubted = any(
            later.outcome is not Outcome.GOOD and STRENGTH[later.method] >= STRENGTH[good.method]
            for later in read[i + 1 :]
        )
        if proves and not doubted and (clearing is None or STRENGTH[good.method] >= STRENGTH[clearing.method]):
            clearing = good
    return AlkaliSummary(read, holding, clearing)


def _lifts(later: AlkaliReading, high: AlkaliReading) -> bool:
    return later.outcome is Outcome.GOOD and STRENGTH[later.method] >= STRENGTH[high.method]


def _read(at: datetime, test: AlkaliTest, limit: float, usual_to: float, factor: float) -> AlkaliReading:
    try:
        if test.method == "titration":
            result = titrate(test.soap_g or 0.0, test.acid_ml, test.acid_mol_l or 0.0, test.blank_ml)
            upper = max(result.interval_pct[1], 0.0 if result.detected else result.detection_limit_pct) * factor
            outcome = Outcome.HIGH if upper > limit else Outcome.GOOD
            words = result.words
            if factor > 1.005 and upper > limit >= upper / factor:
                words += f", {upper:.3f}% at most now that the bar is drier"
            elif upper > limit and not result.detected:
                words += f": too coarse to show that it is at most {limit:g}%; titrate more soap"
            return AlkaliReading(at, test.method, outcome, words, titration=result)
        strip = test.method == "strip"
        doubt = test.half_width if test.half_width is not None else (STRIP_HALF_WIDTH if strip else METER_HALF_WIDTH)
        reading = read_ph(test.ph if test.ph is not None else float("nan"), doubt, test.strength_pct, by_strip=strip)
    except CureJournalError as error:
        return AlkaliReading(at, test.method, Outcome.UNCLEAR, f"not usable: {error.what}")
    if reading.band in (PhBand.HOLD, PhBand.NOT_FOR_SALE):
        outcome = Outcome.HIGH
    elif reading.interval[1] <= usual_to + 1e-9 and reading.comparable:
        outcome = Outcome.GOOD
    else:
        outcome = Outcome.UNCLEAR
    words = reading.words
    if reading.band is PhBand.USUAL and reading.interval[1] > usual_to + 1e-9:
        words += f", but above the {usual_to:g} of the house rules"
    return AlkaliReading(at, test.method, outcome, words, ph=reading)
