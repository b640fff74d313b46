"""Alkali tests over time: what each says, what they say together, and whether they hold the batch."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from math import hypot

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.base.normal import HALF_WIDTHS_A_SD
from curejournal.batch.records import AlkaliMethod, AlkaliTest, PacketCheck
from curejournal.judging.lye_left import METER_BIAS_SD, STRIP_BIAS, STRIP_BIAS_SD, LyeLeft, Read
from curejournal.soap.alkali import (
    METER_HALF_WIDTH,
    PH_NOT_FOR_SALE_FROM,
    PH_PER_DEGREE,
    STRIP_HALF_WIDTH,
    USUAL_C,
    PhBand,
    PhReading,
    Titration,
    read_ph,
    titrate,
)

DAY = timedelta(days=1)

STRENGTH: dict[AlkaliMethod, int] = {"strip": 0, "meter": 1, "titration": 2}
"""How much a test proves, weakest first. Strips often read 1 to 3 units low in soap [common practice, no source]."""


NO_TEMPERATURE = msg("the solution's temperature was not noted, and 5 °C change its pH by about 0.15")
"""Why it is asked for: five times `PH_PER_DEGREE`."""


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
    bar: str = ""
    packet: str = ""

    @property
    def never_for_sale(self) -> bool:
        """Whether its pH at 1% lies wholly where soap is never for sale: read late, no other test lifts that."""
        return self.ph is not None and self.ph.interval[0] >= PH_NOT_FOR_SALE_FROM - 1e-9


@dataclass(frozen=True)
class AlkaliSummary:
    """All tests of a batch.

    `holding` are high readings that nothing later has lifted. `clearing` is the latest test that speaks for the batch,
    by meter or titration, which nothing of at least its strength has put in doubt since. `left` is what recipe, age and
    all tests together say of free alkali.
    """

    tests: tuple[AlkaliReading, ...]
    holding: tuple[AlkaliReading, ...]
    clearing: AlkaliReading | None
    left: LyeLeft | None = None

    def usable(self, method: AlkaliMethod, since: datetime) -> tuple[AlkaliReading, ...]:
        """Tests of one kind from a time on whose figures can be used."""
        return tuple(test for test in self.tests if test.method == method and test.at >= since and _figures(test))


def _figures(test: AlkaliReading) -> bool:
    return test.titration is not None or (test.ph is not None and test.ph.comparable)


def read_tests(
    tests: Sequence[tuple[datetime, AlkaliTest]],
    free_alkali_limit_pct: float,
    ph_usual_to: float,
    concentrated: Callable[[datetime], float] = lambda at: 1.0,
    late_from: datetime | None = None,
) -> AlkaliSummary:
    """Read all alkali tests of a batch.

    Parameters
    ----------
    tests : sequence of (datetime, AlkaliTest)
        In order of time.
    free_alkali_limit_pct : float
        % NaOH: a titration that lies wholly above is high, one wholly within is good.
    ph_usual_to : float
        The highest upper end of a pH at 1% that counts as good.
    concentrated : callable
        By what a share of the bar's mass at that time has grown since, as water left.
    late_from : datetime, optional
        From when the reaction is over: what is high after that is lifted by titration alone, and a gross titration by
        `TITRATIONS_TO_LIFT`; what was high before by a good test of the same or a stronger kind. A late pH from
        `PH_NOT_FOR_SALE_FROM` on is lifted by nothing: it stands, or it was wrong and is undone.

    Returns
    -------
    AlkaliSummary

    """
    read = tuple(_read(at, test, free_alkali_limit_pct, ph_usual_to, concentrated(at)) for at, test in tests)
    holding = tuple(
        high
        for i, high in enumerate(read)
        if high.outcome is Outcome.HIGH and not _lifted(high, read[i + 1 :], late_from)
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


TITRATIONS_TO_LIFT, GROSS_PCT = 3, 0.2
"""Good titrations that lift one from after the reaction that lies wholly above `GROSS_PCT`. Ours: after two weeks the
reaction takes up some hundredths of a per cent at most, so that one of them tells of another bar."""


def _lifted(high: AlkaliReading, later: Sequence[AlkaliReading], late_from: datetime | None) -> bool:
    late = late_from is not None and high.at >= late_from
    if late and high.never_for_sale:
        return False
    needed = STRENGTH["titration"] if late else STRENGTH[high.method]
    good = [test for test in later if test.outcome is Outcome.GOOD and STRENGTH[test.method] >= needed]
    gross = late and high.titration is not None and high.titration.interval_pct[0] > GROSS_PCT
    return len(good) >= (TITRATIONS_TO_LIFT if gross else 1)


def _read(at: datetime, test: AlkaliTest, limit: float, usual_to: float, factor: float) -> AlkaliReading:
    try:
        if test.method == "titration":
            return _titration(at, test, limit, factor)
        reading = read_ph(
            test.ph if test.ph is not None else float("nan"),
            _half_width(test),
            test.strength_pct,
            by_strip=test.method == "strip",
            temperature_c=test.temperature_c,
        )
    except CureJournalError as error:
        return AlkaliReading(at, test.method, Outcome.UNCLEAR, msg("not usable: {what}", what=error.what), bar=test.bar)
    if reading.band in (PhBand.HOLD, PhBand.NOT_FOR_SALE):
        outcome = Outcome.HIGH
    elif reading.interval[1] <= usual_to + 1e-9 and reading.comparable:
        outcome = Outcome.GOOD
    else:
        outcome = Outcome.UNCLEAR
    words = reading.words
    if reading.band is PhBand.USUAL and reading.interval[1] > usual_to + 1e-9:
        words += msg(", but above the {usual_to:g} of the rules in force", usual_to=usual_to)
    if test.temperature_c is None:
        words = msg("{words}; {no_temperature}", words=words, no_temperature=NO_TEMPERATURE)
    return AlkaliReading(at, test.method, outcome, words, ph=reading, bar=test.bar, packet=test.packet)


def _titration(at: datetime, test: AlkaliTest, limit: float, factor: float) -> AlkaliReading:
    result = titrate(test.soap_g or 0.0, test.acid_ml, test.acid_mol_l or 0.0, test.blank_ml)
    low, high = result.interval_pct
    words = result.words
    if low > limit:
        outcome = Outcome.HIGH
    elif max(high, 0.0 if result.detected else result.detection_limit_pct) * factor <= limit:
        outcome = Outcome.GOOD
    else:
        outcome = Outcome.UNCLEAR
        if high <= limit < high * factor:
            words += msg(", {factor:.3f}% at most now that the bar is drier", factor=high * factor)
        words += msg(": too coarse to tell whether it is at most {limit:g}%; titrate more soap", limit=limit)
    if result.disagree:
        words += msg("; the replicates differ by more than the burette explains")
    return AlkaliReading(at, test.method, outcome, words, titration=result, bar=test.bar)


def _half_width(test: AlkaliTest) -> float:
    default = STRIP_HALF_WIDTH if test.method == "strip" else METER_HALF_WIDTH
    return test.half_width if test.half_width is not None else default


SOLUTION_PH_SD = 0.05
"""What two solutions of one soap differ by in pH, however well they are read. Ours."""
PLACE_C_SD = 3.0
"""What the temperature of a solution may be off where nobody noted it: a room of 16 to 28 °C. Ours."""


def for_posterior(
    tests: Sequence[tuple[datetime, AlkaliTest]],
    packets: Iterable[PacketCheck],
    poured: datetime,
    dried: Callable[[datetime], float],
) -> tuple[Read, ...]:
    """The usable tests as readings with an error model each, for `lye_left.lye_left`.

    Strips of one packet share a bias, known where the packet was tried beside a meter; so do the readings of a meter.

    Parameters
    ----------
    tests : sequence of (datetime, AlkaliTest)
    packets : iterable of PacketCheck
        Packets of strips that were tried beside a meter.
    poured : datetime
        Time zero.
    dried : callable
        Gives the share of the fresh weight that is left at a time.

    Returns
    -------
    tuple of Read
    """
    known = packet_biases(packets)
    found = []
    for at, test in tests:
        days = max((at - poured) / DAY, 0.0)
        try:
            if test.method == "titration":
                result = titrate(test.soap_g or 0.0, test.acid_ml, test.acid_mol_l or 0.0, test.blank_ml)
                found.append(Read(days, result.estimate_pct, result.sd_pct, True, dried(at)))
                continue
            half_width = _half_width(test)
            read_ph(test.ph if test.ph is not None else float("nan"), half_width, test.strength_pct)
        except CureJournalError:
            continue
        if test.ph is None or test.strength_pct is None:
            continue
        strip = test.method == "strip"
        warm = test.temperature_c
        value = test.ph - PH_PER_DEGREE * ((USUAL_C if warm is None else warm) - USUAL_C)
        sd = hypot(
            half_width / HALF_WIDTHS_A_SD if strip else half_width / 2,
            SOLUTION_PH_SD,
            PH_PER_DEGREE * PLACE_C_SD if warm is None else 0,
        )
        bias = known.get(test.packet, (STRIP_BIAS, STRIP_BIAS_SD)) if strip else (0.0, METER_BIAS_SD)
        name = msg("strips {packet}", packet=test.packet) if strip else "meter"
        found.append(Read(days, value, sd, False, dried(at), test.strength_pct, name, bias))
    return tuple(found)


def packet_biases(packets: Iterable[PacketCheck]) -> dict[str, tuple[float, float]]:
    """What the strips of each packet that was tried beside a meter read too much, and its standard deviation.

    Parameters
    ----------
    packets : iterable of PacketCheck

    Returns
    -------
    dict of str to (float, float)
        By packet: bias and standard deviation, in pH.
    """
    by_name: dict[str, list[PacketCheck]] = {}
    for check in packets:
        by_name.setdefault(check.packet, []).append(check)
    found = {}
    for name, checks in by_name.items():
        sds = [hypot(one.half_width / HALF_WIDTHS_A_SD, one.reference_half_width / 2) for one in checks]
        weights = [sd**-2 for sd in sds]
        middle = sum(w * (c.strip_ph - c.reference_ph) for w, c in zip(weights, checks, strict=True)) / sum(weights)
        # Half a step: strips are read in steps, so trying the same soap again and again tells no more than that.
        found[name] = (middle, hypot(sum(weights) ** -0.5, 0.1))
    return found
