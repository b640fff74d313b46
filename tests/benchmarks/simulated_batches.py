"""Batches that never were: their truth is known at every moment, and their readings err as real ones do.

The true curves are not only those that the program fits: changes are stretched or compressed exponentials, browning
has an onset, bars dry by two terms with rates of their own, rooms turn damp, errors have heavy tails, strips read low.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from curejournal.batch.records import (
    AlkaliTest,
    Batch,
    ColourReading,
    Entry,
    Event,
    Portion,
    Record,
    SurfaceNote,
    Weighing,
)
from curejournal.colour.difference import ciede2000
from curejournal.judging.sessions import OTHER_INSTRUMENT_SD
from curejournal.soap.alkali import NAOH_G_MOL
from curejournal.soap.recipe import Alkali, Liquid, Oil, Recipe

POURED = datetime(2026, 1, 5, 9, 0, tzinfo=UTC)
TOLERANCE = 3.0
LIMIT_PCT_WEEK = 1.0
FREE_ALKALI_LIMIT = 0.05
JOURNEYS = ("recovers", "settles off", "browns", "steady")
DRYINGS = ("fast", "slow", "rewetted")
ALKALIS = ("normal", "high", "falling")


@dataclass(frozen=True)
class Truth:
    """A batch as it really is. Functions take days since the pour."""

    journey: str
    drying: str
    alkali: str
    target: np.ndarray
    lab: Callable[[np.ndarray], np.ndarray]
    part: Callable[..., np.ndarray]
    free_alkali_pct: Callable[[float], float]
    rewet_day: float

    def away(self, days):
        """ΔE00 to the target colour."""
        return ciede2000(self.target, self.lab(np.atleast_1d(np.asarray(days, dtype=float))))

    def loss_next_week(self, days, before=0.0):
        """Loss over the next seven days, % of the weight, if the room stays as it was `before` days ago."""
        days = np.atleast_1d(np.asarray(days, dtype=float))
        now, later = (self.part(days + ahead, known_until=days - before) for ahead in (0, 7))
        return 100 * (now - later) / now


@dataclass(frozen=True)
class Simulated:
    """A batch's truth, its entries and the days of its visits."""

    truth: Truth
    batch: Batch
    visits: tuple[float, ...]


def simulate(rng: np.random.Generator, number: int, within: float = 0.55) -> Simulated:
    """One batch with its visits and everything noted at them.

    What comes back, or stays, ends up to `within` tolerances from its aim; above 1 it may be out.
    """
    truth = _truth(rng, within)
    return Simulated(truth, *_kept(rng, truth, number))


def by_another_instrument(simulated: Simulated, rng: np.random.Generator, sd: float) -> Simulated:
    """The same, its target colour from another instrument: all readings share an error of `sd` per coordinate.

    What goes beyond the error of a card is the target colour's own, and said to be.
    """
    own_sd = max(sd**2 - OTHER_INSTRUMENT_SD**2, 0.0) ** 0.5
    shared = rng.normal(0, sd, 3)

    def changed(entry: Entry) -> Entry:
        record = entry.record
        if isinstance(record, ColourReading):
            lab = np.add(record.lab, shared)
            return replace(entry, record=replace(record, lab=tuple(map(float, lab))))
        if isinstance(record, Portion):
            return replace(entry, record=replace(record, target_source="swatch", target_sd=own_sd))
        return entry

    batch = simulated.batch
    return replace(simulated, batch=replace(batch, entries=tuple(map(changed, batch.entries))))


def _stretched(t, rate, power):
    return np.exp(-((rate * np.maximum(t, 0.0)) ** power))


def _truth(rng, within) -> Truth:
    journey = str(rng.choice(JOURNEYS))
    drying = str(rng.choice(DRYINGS, p=(0.45, 0.4, 0.15)))
    alkali = str(rng.choice(ALKALIS, p=(0.7, 0.15, 0.15)))
    target = np.array([rng.uniform(55, 92), rng.uniform(-8, 14), rng.uniform(-4, 26)])
    turn = _direction(rng) * rng.uniform(8, 26)
    slow, power = np.exp(rng.uniform(np.log(0.08), np.log(0.6))), rng.uniform(0.75, 1.2)
    quick = rng.uniform(2.0, 10.0)
    # Where it ends: near its aim, or off by one and a half to four tolerances.
    end = target + _away(rng, target, rng.uniform(0.0, within) * TOLERANCE)
    off = target + _away(rng, target, rng.uniform(1.4, 4.0) * TOLERANCE)
    brown = np.array([-rng.uniform(12, 35), rng.uniform(2, 10), rng.uniform(-4, 14)])
    brown_rate, onset = np.exp(rng.uniform(np.log(0.012), np.log(0.08))), rng.uniform(0, 4)
    first_turn = rng.random() < 0.5

    def lab(days):
        t = np.asarray(days, dtype=float)[:, None]
        if journey == "steady":
            return np.broadcast_to(end, (len(t), 3))
        if journey == "browns":
            fade = turn * _stretched(t, slow, power) if first_turn else 0.0
            return end + fade + brown * (1 - np.exp(-brown_rate * np.maximum(t - onset, 0)))
        goal = end if journey == "recovers" else off
        return goal + turn * _stretched(t, slow, power) * (1 - np.exp(-quick * t))

    loss = rng.uniform(0.06, 0.18)
    rate = rng.uniform(0.08, 0.25) if drying != "slow" else np.exp(rng.uniform(np.log(0.02), np.log(0.07)))
    skin, skin_rate = rng.uniform(0.1, 0.4), rng.uniform(0.3, 0.6)
    rewet_day = float(rng.uniform(18, 35)) if drying == "rewetted" else np.inf
    rewet, rewet_rate = rng.uniform(0.01, 0.03), rng.uniform(0.1, 0.3)

    def part(days, known_until=np.inf):
        t = np.asarray(days, dtype=float)
        gone = (1 - skin) * np.exp(-rate * t) + skin * np.exp(-skin_rate * t)
        damp = np.zeros_like(t)
        if np.isfinite(rewet_day):
            # The room turns damp, and dry again three weeks later.
            up = np.where(known_until >= rewet_day, np.maximum(t - rewet_day, 0), 0)
            down = np.where(known_until >= rewet_day + 21, np.maximum(t - rewet_day - 21, 0), 0)
            damp = rewet * (np.exp(-rewet_rate * down) - np.exp(-rewet_rate * up))
        return 1 - loss * (1 - gone) + damp

    level = {
        "normal": rng.uniform(0, 0.03),
        "high": np.exp(rng.uniform(np.log(0.1), np.log(1.5))),
        "falling": rng.uniform(0.2, 1.2),
    }[alkali]
    half_life = rng.uniform(1.0, 7.0)

    def free_alkali_pct(days):
        fresh = level * 0.5 ** (days / half_life) if alkali == "falling" else level
        # Free alkali in % rises as the water leaves; the level is that of the fresh bar.
        return float(fresh / part(np.array([days]))[0])

    return Truth(journey, drying, alkali, target, lab, part, free_alkali_pct, rewet_day)


def _direction(rng) -> np.ndarray:
    """Turns go darker, yellower, redder or greener."""
    step = np.array([-abs(rng.normal(0.7, 0.4)), rng.normal(0.1, 0.5), rng.normal(0.7, 0.5)])
    return step / np.linalg.norm(step)


def _away(rng, target, difference) -> np.ndarray:
    """A step of this ΔE00 in a random direction."""
    step = rng.normal(size=3)
    step /= np.linalg.norm(step)
    low, high = 0.0, 60.0
    for _ in range(40):
        middle = (low + high) / 2
        if ciede2000(target, target + middle * step) < difference:
            low = middle
        else:
            high = middle
    return low * step


def _visits(rng) -> np.ndarray:
    """3 to 12 visits, close at first and then about weekly, for five to ten weeks."""
    count = int(rng.integers(3, 13))
    end = rng.uniform(32, 75)
    early = count // 3
    first = np.sort(np.exp(rng.uniform(np.log(0.15), np.log(6), early)))
    later = np.linspace(7, end, count - early) + rng.normal(0, 0.7, count - early)
    return np.unique(np.round(np.concatenate([first, np.clip(later, 6.2, None)]), 3))


def _kept(rng, truth: Truth, number: int) -> tuple[Batch, tuple[float, ...]]:
    visits = _visits(rng)
    oils = (Oil("olive", 500, "O"), Oil("coconut", 300, "C"), Oil("palm", 200, "P"))
    recipe = Recipe(oils, (Alkali("NaOH", 146.4, lot="N"),), (Liquid("water", 300.0),))
    portion = Portion("body", target_lab=tuple(map(float, truth.target)), tolerance=TOLERANCE)
    items: list[tuple[float, Record, str | None]] = [
        (0.0, recipe, None),
        (0.0, portion, None),
        (0.0, Event("poured"), None),
        (1.0, Event("cut", bars=20), None),
    ]
    step = float(rng.choice([0.1, 0.1, 1.0]))
    bars = int(rng.integers(1, 5)) if step < 1 else int(rng.integers(3, 7))
    weights, pace = rng.uniform(90, 140, bars), 1 + rng.normal(0, 0.04, bars)
    wander = rng.normal(0, 0.0008, len(visits))
    method = str(rng.choice(["strip", "meter", "titration"], p=(0.25, 0.4, 0.35)))
    soap_ph = rng.uniform(10.0, 10.4)
    for i, day in enumerate(visits):
        if rng.random() < 0.95:
            items.append((day, _reading(rng, truth, day), f"{number}-{i}"))
        if day > 0.9 and rng.random() < 0.95:
            for bar in range(bars):
                lost = (1 - truth.part(np.array([day]))[0]) * pace[bar]
                grams = weights[bar] * (1 - lost + wander[i]) + rng.normal(0, 0.2 * step)
                items.append((day, Weighing(f"bar {bar}", round(grams / step) * step, step), None))
        if day > 14 and rng.random() < 0.7:
            items.append((day, _test(rng, truth, day, method, soap_ph), None))
        if day > 14 and rng.random() < 0.8:
            items.append((day, SurfaceNote("clear"), None))
    entries = tuple(
        Entry(n, POURED + timedelta(days=float(day)), "sim", POURED, record, photo=photo)
        for n, (day, record, photo) in enumerate(items, start=1)
    )
    return Batch(f"S-{number}", "simulated", entries), tuple(map(float, visits))


def _reading(rng, truth: Truth, day: float) -> ColourReading:
    """Setting errors of 0.5 to 1.2 per coordinate with heavy tails; one photo in fifty is far off."""
    sd = rng.uniform(0.5, 1.2)
    error = rng.standard_t(6, 3) * sd * np.sqrt(4 / 6)
    if rng.random() < 0.02:
        error += rng.normal(0, 6, 3)
    lab = truth.lab(np.array([day]))[0] + error
    # The reported covariance is near the real one, not equal to it.
    v = float((sd * rng.uniform(0.8, 1.3)) ** 2)
    return ColourReading(
        "body",
        tuple(map(float, lab)),
        ((v, 0.0, 0.0), (0.0, v, 0.0), (0.0, 0.0, v)),
        "not usable" if rng.random() < 0.03 else "measured",
        (),
        4000,
        (1.0, 1.0, 1.0),
        "window",
        "window",
        (),
        "affine",
    )


def _test(rng, truth: Truth, day: float, method: str, soap_ph: float) -> AlkaliTest:
    pct = truth.free_alkali_pct(day)
    if method == "titration":
        soap_g, blank = float(rng.choice([5.0, 10.0])), 0.05
        volume = pct * 10 * soap_g / (0.1 * NAOH_G_MOL) + blank
        reads = tuple(max(0.0, round(volume + rng.uniform(-0.05, 0.05), 2)) for _ in range(int(rng.integers(1, 4))))
        return AlkaliTest("titration", soap_g=soap_g, acid_ml=reads, acid_mol_l=0.1, blank_ml=blank)
    # Soap's own hydrolysis gives its pH; free alkali adds to it and holds the hydrolysis back.
    own, free = 10 ** (soap_ph - 14), pct / 100 * 10 / NAOH_G_MOL
    ph = 14 + np.log10(free + (np.sqrt(free**2 + 4 * own**2) - free) / 2)
    if method == "meter":
        return AlkaliTest("meter", ph=round(float(ph + rng.normal(0, 0.05)), 2), half_width=0.1, strength_pct=1.0)
    low = float(np.round((ph - rng.uniform(0, 2) + rng.normal(0, 0.2)) * 2) / 2)
    return AlkaliTest("strip", ph=low, half_width=0.5, strength_pct=1.0)
