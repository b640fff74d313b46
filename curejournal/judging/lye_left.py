"""How much free alkali is left: one posterior from the recipe, the age and every reading."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from itertools import groupby, pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from curejournal.soap.alkali import ph_with_lye

Array = NDArray[np.float64]

BLUNDER, BLUNDER_FLOOR = 0.03, 0.001
"""Chance that lye or an oil was misweighed by more than the scale's error, and the least that no check lowers. Ours:
no study of kitchens found; proportions of one in thirty are usual of tasks done once without a check (human error
probabilities of 0.003 to 0.03: A. D. Swain and H. E. Guttmann, NUREG/CR-1278, 1983 [from memory])."""
BLUNDER_SIZES = (0.01, 1.0)
"""Relative size of such a blunder: any power of ten as likely as the next. Ours."""
OUT_OF_RANGE = 0.1
"""Chance that a lot's saponification value may lie beyond its published range. Ours, on the safe side."""
TOO_MUCH = 0.6
"""Part of blunders that leave too much lye: too much of it, or an oil left out. Ours: an oil can be forgotten."""
REACTION_A_DAY, REACTION_SD = 12.0, 0.6
"""Rate of the second-order reaction, per day at 20 °C, and the sd of its logarithm: nine tenths within a day or two
("saponification continues for one or more days", a published handbook; see the trade notes). The spread is ours."""
PER_TEN_DEGREES = 2.0
"""Factor of the rate for ten degrees more: the usual rule of van 't Hoff [from memory]."""
SOAP_PH, SOAP_PH_SD = 10.15, 0.40
"""pH of a 1% solution of soap without free lye: most read 9 to 10, sold ones 10.3 to 10.7 and beyond (published: Tarun
2014, Hassan 2017, Onyango 2014). The normal distribution is ours."""
STRIP_BIAS, STRIP_BIAS_SD = -1.3, 0.8
"""What a packet of strips reads in soap, against the true pH: 0 to 3 units low [common practice, no source]."""
METER_BIAS_SD = 0.08
"""What a calibrated meter is off in all its readings of a batch: two buffers to 0.05 each. Ours."""
STRANGE = 0.01
"""Chance of a reading that has nothing to do with the soap: a digit mistyped, another bar. Ours."""
BARS_DIFFER = 0.02
"""Relative spread of free alkali between bars of one well mixed batch. Ours."""


@dataclass(frozen=True)
class RecipeKnown:
    """What the recipe says: superfat with its standard deviation, %, and the lye it would take to use up all fat.

    `lye_pct` is that lye as NaOH, % of the fresh batch; `worst_pct` the superfat with every range at its worst, which
    is gone beyond only by a lot out of its published range. `blunder` is the chance of a misweighed material.
    """

    superfat_pct: float
    sd_pct: float
    lye_pct: float
    blunder: float = BLUNDER
    worst_pct: tuple[float, float] = (-100.0, 100.0)


NOTHING_KNOWN = RecipeKnown(3.0, 6.0, 10.0, 0.2)
"""For a batch without a recipe: nearly anything. Ours."""


@dataclass(frozen=True)
class Read:
    """One reading: of free alkali in %, or of a pH at 25 °C and a strength.

    `dried` is by what a gram of fresh soap has shrunk that day. Readings of one `instrument` share its bias.
    """

    days: float
    value: float
    sd: float
    titration: bool
    dried: float = 1.0
    strength_pct: float = 1.0
    instrument: str = ""
    bias: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class LyeLeft:
    """What is known of free alkali in the bars: % NaOH now.

    `chance` is the chance that it exceeds the limit; `by_recipe` what it would be without any reading.
    `interval_pct` has its median and 95% interval.
    """

    chance: float
    by_recipe: float
    median_pct: float
    interval_pct: tuple[float, float]
    read: tuple[Read, ...] = field(default=())


def blunder_chance(guards: Iterable[str]) -> float:
    """The chance of a blunder after what guarded against it, never below `BLUNDER_FLOOR`.

    Weighing again, alone or with another, finds about nineteen in twenty; a photo of the scale can be looked at again;
    the mass of the batter shows gross errors alone. All ours.

    Parameters
    ----------
    guards : iterable of str
        What guarded against it, as in `GUARDS`.

    Returns
    -------
    float
        From 0 to 1.
    """
    left = {"weighed twice": 0.05, "weighed by two people": 0.05, "photo of the scale": 0.2, "batter weighed": 0.3}
    chance = BLUNDER
    for guard in set(guards):
        chance *= left.get(guard, 1.0)
    return max(chance, BLUNDER_FLOOR)


def lye_left(
    recipe: RecipeKnown | None,
    readings: Sequence[Read],
    days: float,
    limit_pct: float,
    dried: float = 1.0,
    temperature_c: float = 20.0,
) -> LyeLeft:
    """Join recipe, age and readings to one posterior of the free alkali in the bars.

    Parameters
    ----------
    recipe : RecipeKnown or None
        None if it is unknown, or no soap can have it.
    readings : sequence of Read
        All of them, early ones too.
    days : float
        Age of the batch.
    limit_pct : float
        % NaOH.
    dried : float
        What a gram of fresh soap weighs now, as 1 / that.
    temperature_c : float
        Mean of the room: the reaction is slower in the cold.

    Returns
    -------
    LyeLeft

    Notes
    -----
    On a grid of superfat s, rate k and the soap's own pH h: p(s, k, h | readings) is proportional to
    p(s) p(k) p(h) times the product over instruments of their readings' likelihood, with the instrument's own bias
    integrated out (normal). p(s) is normal by the recipe's interval, mixed with blunders. Free lye after t days is that
    of a second-order reaction, d R / (1 - R) with R = (1 - d) exp(-k d t) and d = s / 100, as part of the lye that all
    fat takes up.

    """
    known = recipe or NOTHING_KNOWN
    superfat, prior = _superfat(known)
    rates = REACTION_A_DAY * np.exp(REACTION_SD * ndtri((np.arange(5) + 0.5) / 5))
    rates = rates * PER_TEN_DEGREES ** ((temperature_c - 20.0) / 10.0)
    soap_ph = SOAP_PH + SOAP_PH_SD * ndtri((np.arange(9) + 0.5) / 9)

    def free(t: float, shrunk: float) -> Array:
        return known.lye_pct * _left(superfat[:, None] / 100, rates, t) * shrunk

    log_chance = np.zeros((len(superfat), len(rates), len(soap_ph)))
    titrations = [[read] for read in readings if read.titration]
    others = sorted((read for read in readings if not read.titration), key=lambda read: read.instrument)
    by_instrument = [list(group) for _, group in groupby(others, key=lambda read: read.instrument)]
    for group in (*titrations, *by_instrument):
        log_chance = log_chance + _log_likelihood(group, free, soap_ph)
    shares = np.exp(log_chance - log_chance.max()) * prior[:, None, None]
    by_lye = (shares.sum(axis=2) / shares.sum()).ravel()
    now = free(days, dried)
    order = np.argsort(now.ravel())
    cumulative = np.cumsum(by_lye[order])
    low, median, high = now.ravel()[order][np.minimum(np.searchsorted(cumulative, (0.025, 0.5, 0.975)), now.size - 1)]
    return LyeLeft(
        chance=float(by_lye[now.ravel() > limit_pct].sum()),
        by_recipe=float((prior[:, None] / prior.sum() * (now > limit_pct)).sum() / len(rates)),
        median_pct=float(median),
        interval_pct=(float(low), float(high)),
        read=tuple(readings),
    )


_Free = Callable[[float, float], Array]


def _superfat(known: RecipeKnown) -> tuple[Array, Array]:
    """A grid of superfats, fine about zero, and the weight of each: the recipe's own spread, and blunders."""
    ends, steps = (-99.0, -12.0, -2.0, 1.0, 12.0, 90.0), (30, 60, 300, 90, 50)
    grid = np.concatenate(
        [np.linspace(a, b, n, endpoint=False) for (a, b), n in zip(pairwise(ends), steps, strict=True)]
    )
    width = np.gradient(grid)
    sd = max(known.sd_pct, 0.3)
    normal = np.exp(-0.5 * ((grid - known.superfat_pct) / sd) ** 2)
    within = normal * ((grid >= known.worst_pct[0] - 0.3) & (grid <= known.worst_pct[1] + 0.3))
    usual = (1 - OUT_OF_RANGE) * within / (within * width).sum() + OUT_OF_RANGE * normal / (normal * width).sum()
    # What a blunder does, smeared by the recipe's own spread.
    low, high = np.log(BLUNDER_SIZES)
    blunder = np.zeros_like(grid)
    for centre in known.superfat_pct + sd * ndtri((np.arange(7) + 0.5) / 7):
        relative = (100 - grid) / max(100 - centre, 1.0) - 1
        size = np.clip(np.abs(relative), 1e-9, None)
        inside = (size >= BLUNDER_SIZES[0]) & (size <= BLUNDER_SIZES[1])
        part = np.where(relative > 0, TOO_MUCH, 1 - TOO_MUCH)
        blunder += np.where(inside, part / size / (high - low), 0.0) / max(100 - centre, 1.0) / 7
    blunder /= max(float((blunder * width).sum()), 1e-12)
    density = (1 - known.blunder) * usual + known.blunder * blunder
    weight = density * width
    return grid, np.asarray(weight / weight.sum())


def _left(margin: Array, rates: Array, days: float) -> Array:
    """Lye that is left after so many days, as a part of what all fat takes up: second order."""
    margin = np.where(np.abs(margin) < 1e-4, 1e-4, margin)
    ratio = (1 - margin) * np.exp(np.clip(-rates * margin * max(days, 0.0), -700, 500))
    with np.errstate(over="ignore"):
        return np.asarray(np.where(ratio > 1e8, -margin, margin * ratio / (1 - ratio)))


def _log_likelihood(group: list[Read], free: _Free, soap_ph: Array) -> Array:
    """Of the readings of one instrument, its bias integrated out: shape (superfats, rates, pHs)."""
    rests, sds, spans = [], [], []
    for read in group:
        pct = free(read.days, read.dried)
        if read.titration:
            spread = np.hypot(read.sd, BARS_DIFFER * pct)[:, :, None]
            rests.append(np.broadcast_to((read.value - pct)[:, :, None], (*pct.shape, len(soap_ph))))
            sds.append(np.broadcast_to(spread, (*pct.shape, len(soap_ph))))
            spans.append(2.0)
        else:
            expected = ph_with_lye(soap_ph, pct[:, :, None], read.strength_pct)
            rests.append(read.value - expected - read.bias[0])
            sds.append(np.full(expected.shape, read.sd))
            spans.append(6.0)
    rest, sd, span = np.array(rests), np.array(sds), np.array(spans)[:, None, None, None]
    precise = sd**-2.0
    shared = group[0].bias[1]
    total = precise.sum(axis=0)
    pulled = (rest * precise).sum(axis=0)
    squares = (rest**2 * precise).sum(axis=0)
    if shared > 0:
        squares = squares - pulled**2 / (total + shared**-2.0)
        log_norm = -0.5 * np.log1p(total * shared**2)
    else:
        log_norm = 0.0
    fits = -0.5 * squares - np.log(sd).sum(axis=0) - len(group) / 2 * np.log(2 * np.pi) + log_norm
    # One strange reading must not outweigh all else, nor make a bad batch impossible.
    strange = len(group) * np.log(STRANGE) - np.log(span).sum(axis=0)
    return np.asarray(np.logaddexp(fits, strange))
