"""Batches by other equations than those of `simulated_batches`, and than those that the judgement fits.

- Drying: diffusion in a slab (J. Crank, The Mathematics of Diffusion, 2nd ed. 1975, eq. 4.18) toward the moisture of
  the room's air (isotherm of C. R. Oswin, J. Soc. Chem. Ind. 65, 1946, 419), which changes weekly (superposition).
- Reaction: second order and autocatalytic, dX/dt = k (c + X)(1 - X)(r - X), on lye and fat as really weighed.
- A turn that fades: the ionised part of a phenol as the pH falls (Henderson-Hasselbalch). Drift: a power of time.
- Browning: a logistic (E. G. Prout and F. C. Tompkins, Trans. Faraday Soc. 40, 1944, 488), late in 1 batch of 11.
- Light: three lamps a maker, each with a bias that every photo under it shares; stated errors up to 1.5 too small.
- Lye: misweighed in 1 batch of 30 unless weighed twice; lye pockets in single bars of 1 batch of 40.
- Strips: one bias for each packet, 0.2 to 2.8 units low, tried against a meter by careful makers; meters with offsets.
- Weights: bars of their own pace, 1 weighing in 150 off by some grams.

The equations are from memory of the works named; the numbers are ours, within the ranges of the trade: losses of 8 to
14% by week six, turns of hours to weeks [common practice, no source].
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
    PacketCheck,
    Portion,
    Record,
    SurfaceNote,
    Weighing,
    WeighingCheck,
)
from curejournal.colour.difference import ciede2000
from curejournal.soap.lye import NAOH_G_MOL, lye_for
from curejournal.soap.oils import sv_range
from curejournal.soap.recipe import Alkali, Liquid, Oil, Recipe

POURED = datetime(2026, 2, 2, 15, 0, tzinfo=UTC)
TOLERANCE = 3.0
LIMIT = 0.05
KOH_PER_NAOH = 56.105 / 39.997
MAKERS = ("strips", "meter", "titration")


@dataclass(frozen=True)
class Lye:
    """What the lye of a batch really does. `bulk_pct(day)` is free NaOH in % of the bar; pockets are apart."""

    recipe: Recipe
    superfat_pct: float
    misweighed: bool
    twice: bool
    pocket_bars: frozenset[int]
    pocket_pct: float
    bulk_pct: Callable[[float], float]
    soap_ph: float


@dataclass(frozen=True)
class World:
    """A batch as it really is. Functions take days since the pour."""

    maker: str
    careful: bool
    lye: Lye
    part: Callable[..., np.ndarray]
    target: np.ndarray
    journey: str
    lab: Callable[[np.ndarray], np.ndarray]
    late_brown: bool
    gains: bool

    def away(self, days):
        return ciede2000(self.target, self.lab(np.atleast_1d(np.asarray(days, float))))

    def change_next_week(self, days):
        """Loss over seven days, % of the weight, in the room as it is."""
        days = np.atleast_1d(np.asarray(days, float))
        now = self.part(days)
        return 100 * (now - np.array([self.part(np.array([d + 7.0]), known_until=d)[0] for d in days])) / now


@dataclass(frozen=True)
class Simulated:
    world: World
    batch: Batch
    visits: tuple[float, ...]


def simulate(rng: np.random.Generator, number: int, maker: str | None = None, careful: bool | None = None) -> Simulated:
    """One batch, by a maker of one kind, with everything noted at its visits."""
    maker = maker or str(rng.choice(MAKERS))
    careful = bool(rng.random() < 0.6) if careful is None else careful
    part, gains = _drying(rng)
    lye = _lye(rng, careful, part)
    target, journey, lab, late = _colour(rng)
    world = World(maker, careful, lye, part, target, journey, lab, late, gains)
    return Simulated(world, *_noted(rng, world, number))


def lye_only(rng: np.random.Generator, number: int, maker: str, careful: bool) -> Simulated:
    """The same without photos and weights: for counting releases by the thousand."""
    part, gains = _drying(rng)
    lye = _lye(rng, careful, part)
    world = World(
        maker,
        careful,
        lye,
        part,
        np.array([85.0, 1, 12]),
        "stays",
        lambda d: np.tile([85.0, 1.0, 12.0], (len(d), 1)),
        False,
        gains,
    )
    return Simulated(
        world, *_noted(rng, world, number, colour=False, visits=np.array([2.0, 14, 21, 24, 28.2, 35, 42, 50]))
    )


# --- drying


def _slab(t, k):
    """The part of the moisture that is left in a slab after a step: Crank's series, k = pi^2 D / L^2 per day."""
    odd = np.arange(1, 60, 2)
    t = np.maximum(np.asarray(t, float), 0.0)
    return (8 / np.pi**2 * np.exp(-np.multiply.outer(t * k, odd**2)) / odd**2).sum(-1)


def _drying(rng):
    k = float(np.exp(rng.uniform(np.log(0.02), np.log(0.13))))
    water = rng.uniform(0.13, 0.20)
    a, b = rng.uniform(0.02, 0.06), rng.uniform(0.3, 0.5)
    humid = np.empty(40)
    humid[0] = mean = rng.uniform(0.40, 0.62)
    for week in range(1, 40):
        humid[week] = mean + 0.6 * (humid[week - 1] - mean) + rng.normal(0, 0.05)
    if rng.random() < 0.15:  # a damp spell
        at = int(rng.integers(2, 7))
        humid[at : at + int(rng.integers(1, 4))] += 0.17
    humid = np.clip(humid, 0.2, 0.88)
    moisture = np.minimum(a * (humid / (1 - humid)) ** b, water - 0.02)
    steps = np.diff(moisture)

    def part(days, known_until=np.inf):
        t = np.asarray(days, float)
        left = moisture[0] + (water - moisture[0]) * _slab(t, k)
        for week, step in enumerate(steps[:20], start=1):
            if 7 * week <= known_until and step:
                left = left + step * np.where(t > 7 * week, 1 - _slab(t - 7 * week, k), 0.0)
        return 1 - water + left

    grid = part(np.arange(5.0, 75.0, 7.0))
    return part, bool((np.diff(grid) > 0).any())


# --- lye


def _lye(rng, careful, part) -> Lye:
    names = rng.choice(
        ["olive", "coconut", "palm", "sunflower", "castor", "tallow"], size=int(rng.integers(2, 5)), replace=False
    )
    grams = np.round(rng.dirichlet(np.full(len(names), 2.5)) * 1000 + 40)
    certified = rng.random(len(names)) < 0.25
    true_sv = []
    oils = []
    for name, g, known in zip(names, grams, certified, strict=True):
        low, high = sv_range(Oil(str(name), 1.0))
        sv = rng.triangular(low, (low + high) / 2, high)
        if rng.random() < 0.02:  # a lot beyond its published range
            sv = (
                low - rng.uniform(0, 0.3) * (high - low)
                if rng.random() < 0.5
                else high + rng.uniform(0, 0.3) * (high - low)
            )
        true_sv.append(sv)
        certificate = float(np.round(sv + rng.normal(0, 0.4), 1)) if known else None
        oils.append(Oil(str(name), float(g), "L", certificate))
    wanted = float(rng.choice([3.0, 5.0, 5.0, 6.0, 8.0]))
    purity = rng.uniform(0.97, 0.99)
    naoh = round(lye_for(tuple(oils), wanted).naoh_g)
    water = float(round(naoh * rng.uniform(1.7, 2.6)))
    recipe = Recipe(tuple(oils), (Alkali("NaOH", float(naoh), lot="N"),), (Liquid("water", water),))

    weighed, fats = naoh + rng.normal(0, 0.5), grams + rng.normal(0, 0.6, len(grams))
    twice = careful
    misweighed = bool(rng.random() < 1 / 30)
    if misweighed and not (twice and rng.random() < 0.97):
        if rng.random() < 0.6:
            weighed *= 1 + rng.choice([-1, 1]) * np.exp(rng.uniform(np.log(0.015), np.log(0.6)))
        else:
            which = int(rng.integers(len(fats)))
            fats[which] *= 1 - rng.uniform(0.05, 1.0) if rng.random() < 0.7 else 1 + rng.uniform(0.05, 0.4)
    else:
        misweighed = False
    need = float((np.maximum(fats, 0) * np.array(true_sv)).sum()) / 1000 / KOH_PER_NAOH
    have = weighed * purity
    ratio = have / need
    batch_g = float(fats.sum()) + weighed + water
    rate, seed = float(np.exp(rng.uniform(np.log(4), np.log(25)))), rng.uniform(0.02, 0.3)
    days = np.concatenate([[0.0], np.geomspace(0.01, 150, 900)])
    reacted = np.zeros(len(days))
    for i, step in enumerate(np.diff(days)):
        x, parts = reacted[i], max(1, int(step * rate * 4))
        for _ in range(parts):
            x += step / parts * rate * (seed + x) * (1 - x) * (ratio - x)
        reacted[i + 1] = min(x, 1.0, ratio)

    def bulk_pct(day):
        left = max(ratio - float(np.interp(day, days, reacted)), 0.0)
        return 100 * left * need / batch_g / float(part(np.array([day]))[0])

    pocket = rng.random() < 1 / 40
    bars = frozenset(map(int, rng.choice(20, size=int(rng.integers(1, 4)), replace=False))) if pocket else frozenset()
    return Lye(
        recipe,
        100 * (1 - ratio),
        misweighed,
        twice,
        bars,
        float(np.exp(rng.uniform(np.log(0.3), np.log(5)))),
        bulk_pct,
        float(np.clip(rng.normal(10.15, 0.2), 9.6, 10.7)),
    )


def ph_of(soap_ph: float, pct: float) -> float:
    """The pH of a 1% solution: hydrolysis held back by the lye that is free."""
    own, free = 10 ** (soap_ph - 14), pct / 100 * 10 / NAOH_G_MOL
    return float(14 + np.log10(free + (np.sqrt(free**2 + 4 * own**2) - free) / 2))


# --- colour


def _direction(rng):
    step = np.array([-abs(rng.normal(0.8, 0.3)), rng.normal(0.1, 0.4), rng.normal(0.5, 0.6)])
    return step / np.linalg.norm(step)


def _off(rng, target, difference):
    step = rng.normal(size=3)
    step /= np.linalg.norm(step)
    size = np.linspace(0, 40, 400)
    away = ciede2000(target, target + size[:, None] * step)
    return step * float(np.interp(difference, away, size))


def _colour(rng):
    target = np.array([rng.uniform(50, 92), rng.uniform(-8, 14), rng.uniform(-4, 28)])
    journey = str(rng.choice(["recovers", "stays", "drifts off", "browns"], p=(0.4, 0.25, 0.2, 0.15)))
    near = target + _off(rng, target, rng.uniform(0, 0.6) * TOLERANCE)
    far = target + _off(rng, target, rng.uniform(1.4, 4) * TOLERANCE)
    turn = _direction(rng) * rng.uniform(7, 24)
    pka, fall, start = rng.uniform(9.9, 11.0), rng.uniform(0.6, 2.0), rng.uniform(12.6, 13.4)
    brown = np.array([-rng.uniform(10, 30), rng.uniform(2, 9), rng.uniform(-4, 12)])
    half, pace = rng.uniform(4, 20), rng.uniform(0.12, 0.6)
    late = bool(rng.random() < 1 / 11) and journey != "browns"
    late_half, late_pace = rng.uniform(30, 75), rng.uniform(0.12, 0.4)
    drift, power = _direction(rng) * rng.uniform(2, 9), rng.uniform(0.3, 0.7)

    def logistic(t, middle, rate):
        base = 1 / (1 + np.exp(rate * middle))
        return (1 / (1 + np.exp(-rate * (t - middle))) - base) / (1 - base)

    def ionised(t):
        ph = np.maximum(10.0, start - fall * np.log1p(t * 3) / np.log(10) * 1.2)
        level = 1 / (1 + 10 ** (pka - ph))
        end = 1 / (1 + 10 ** (pka - 10.0))
        return (level - end) / (1 - end)

    def lab(days):
        t = np.maximum(np.asarray(days, float), 0.0)[:, None]
        if journey == "stays":
            out = np.broadcast_to(near, (len(t), 3)).copy()
        elif journey == "recovers":
            out = near + turn * ionised(t)
        elif journey == "drifts off":
            out = far + turn * ionised(t) - drift * np.exp(-((t / 10) ** power))
        else:
            out = near + brown * logistic(t, half, pace)
        return out + (0.5 * brown * logistic(t, late_half, late_pace) if late else 0.0)

    return target, journey, lab, late


# --- what is noted


def _visits(rng):
    count = int(rng.integers(5, 14))
    early = np.exp(rng.uniform(np.log(0.1), np.log(6), count // 3))
    later = np.linspace(rng.uniform(6, 9), rng.uniform(36, 80), count - count // 3) + rng.normal(
        0, 1.0, count - count // 3
    )
    return np.unique(np.round(np.sort(np.concatenate([early, np.clip(later, 6, None)])), 3))


def _noted(rng, world: World, number: int, colour: bool = True, visits=None):
    visits = _visits(rng) if visits is None else visits
    portion = Portion("body", target_lab=tuple(map(float, world.target)), tolerance=TOLERANCE)
    lye = world.lye
    items: list[tuple[float, Record, str | None]] = [
        (0.0, lye.recipe, None),
        (0.0, Event("poured"), None),
        (1.0, Event("cut", bars=20), None),
    ]
    if colour:
        items.append((0.0, portion, None))
    if lye.twice:
        items.append((0.0, WeighingCheck("lye and oils", "weighed twice"), None))
    step = float(rng.choice([0.1, 0.1, 1.0]))
    bars = int(rng.integers(1, 5)) if step < 1 else int(rng.integers(3, 7))
    fresh, pace = rng.uniform(85, 140, bars), 1 + rng.normal(0, 0.05, bars)
    lamps = rng.normal(0, 0.55, (3, 3))
    real = rng.uniform(0.5, 1.0)
    packet = Packet(rng) if world.maker == "strips" else None
    offset = rng.normal(0, 0.07)
    if packet and world.careful:
        for _ in range(3):
            ph = ph_of(rng.uniform(9.8, 10.5), 0.0)
            items.append(
                (
                    1.5,
                    PacketCheck("P", packet.read(rng, ph), round(ph + rng.normal(0, 0.06), 2), packet.half_width),
                    None,
                )
            )
    for i, day in enumerate(visits):
        if colour and rng.random() < 0.93:
            items.append((day, _reading(rng, world, day, lamps[rng.integers(3)], real), f"{number}-{i}"))
        if colour and day > 0.9 and rng.random() < 0.95:
            lost = 1 - world.part(np.array([day]))[0]
            for bar in range(bars):
                grams = fresh[bar] * (1 - lost * pace[bar]) + rng.normal(0, 0.3 * step)
                grams += rng.choice([-1, 1]) * rng.uniform(2, 9) if rng.random() < 1 / 150 else 0.0
                items.append((day, Weighing(f"bar {bar}", float(round(grams / step) * step), step), None))
        if day >= 14 and rng.random() < 0.8:
            items += [(day, test, None) for test in _tests(rng, world, day, packet, offset)]
        if day >= 14 and (world.careful or rng.random() < 0.8):
            seen = lye.pocket_bars and rng.random() < 0.7
            items.append(
                (day, SurfaceNote("lye pocket", count=len(lye.pocket_bars)) if seen else SurfaceNote("clear"), None)
            )
    entries = tuple(
        Entry(n, POURED + timedelta(days=float(day)), "sim", POURED, record, photo=photo)
        for n, (day, record, photo) in enumerate(sorted(items, key=lambda item: item[0]), start=1)
    )
    return Batch(f"F-{number}", "foreign", entries), tuple(map(float, visits))


def _reading(rng, world, day, lamp, real):
    error = rng.standard_t(5, 3) * real * 0.75 + lamp
    if rng.random() < 0.02:
        error = error + rng.normal(0, 6, 3)
    lab = world.lab(np.array([day]))[0] + error
    v = float((real / rng.uniform(1.0, 1.5)) ** 2)
    grade = "not usable" if rng.random() < 0.03 else "measured"
    return ColourReading(
        "body",
        tuple(map(float, lab)),
        ((v, 0.0, 0.0), (0.0, v, 0.0), (0.0, 0.0, v)),
        grade,
        (),
        4000,
        (1.0, 1.0, 1.0),
        "window",
        "window",
        (),
        "affine",
    )


class Packet:
    """Strips of one packet: how low they read in soap, and their step."""

    def __init__(self, rng):
        self.low = rng.uniform(0.2, 2.8)
        self.step = float(rng.choice([0.5, 0.5, 1.0]))
        self.half_width = self.step / 2

    def read(self, rng, ph):
        return float(np.clip(np.round((ph - self.low + rng.normal(0, 0.12)) / self.step) * self.step, 0, 14))


def _tests(rng, world, day, packet, offset):
    lye = world.lye
    bars = rng.choice(20, size=3, replace=False)
    pct = [lye.bulk_pct(day) + (lye.pocket_pct if int(bar) in lye.pocket_bars else 0.0) for bar in bars]
    names = [f"bar {bar}" for bar in bars]
    if world.maker == "titration":
        soap_g, blank = float(rng.choice([5.0, 10.0])), 0.04
        acid = 0.1 * (1 + rng.normal(0, 0.006))
        volume = pct[0] * 10 * soap_g / (acid * NAOH_G_MOL) + blank + 0.01
        reads = tuple(max(0.0, round(volume + rng.uniform(-0.045, 0.045), 2)) for _ in range(int(rng.integers(1, 4))))
        return [AlkaliTest("titration", soap_g=soap_g, acid_ml=reads, acid_mol_l=0.1, blank_ml=blank, bar=names[0])]
    phs = [ph_of(lye.soap_ph, one) for one in pct]
    warm = float(rng.normal(22, 3))
    if world.maker == "meter":
        shown = phs[0] - 0.03 * (warm - 25) + offset + rng.normal(0, 0.03)
        return [
            AlkaliTest(
                "meter", ph=round(shown, 2), half_width=0.1, strength_pct=1.0, temperature_c=round(warm), bar=names[0]
            )
        ]
    count = 3 if world.careful else 1
    return [
        AlkaliTest(
            "strip",
            ph=packet.read(rng, ph),
            half_width=packet.half_width,
            strength_pct=1.0,
            temperature_c=round(warm),
            bar=name,
            packet="P",
        )
        for ph, name in list(zip(phs, names, strict=True))[:count]
    ]


def without_colour(simulated: Simulated) -> Batch:
    """The batch without its photos and portions."""
    batch = simulated.batch
    return replace(batch, entries=tuple(e for e in batch.entries if not isinstance(e.record, (ColourReading, Portion))))
