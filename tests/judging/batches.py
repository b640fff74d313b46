"""Batches whose truth is known, for the tests of this room."""

from datetime import UTC, datetime, timedelta

import numpy as np

from curejournal.batch.records import (
    AlkaliTest,
    Batch,
    ColourReading,
    Entry,
    Event,
    Portion,
    SurfaceNote,
    Weighing,
)
from curejournal.soap.recipe import Alkali, Liquid, Oil, Recipe

POURED = datetime(2026, 9, 1, 10, 0, tzinfo=UTC)
INTENDED = (88.0, 1.0, 12.0)

RECIPE = Recipe(
    oils=(Oil("olive", 500, "O1"), Oil("coconut", 300, "C1"), Oil("palm", 200, "P1")),
    alkalis=(Alkali("NaOH", 146.4, lot="N1"),),
    liquids=(Liquid("water", 297.2),),
)


def day(days):
    return POURED + timedelta(days=float(days))


def batch(*records):
    """A batch of (days since the pour, record[, photo]) in any order, with its pour, portion and recipe."""
    entries = [
        Entry(i, day(item[0]), "a tester", day(item[0]), item[1], photo=item[2] if len(item) > 2 else None)
        for i, item in enumerate(records, start=1)
    ]
    return Batch("T-1", "a test", tuple(sorted(entries, key=lambda entry: (entry.at, entry.id))))


BASICS = (
    (0, RECIPE),
    (0, Portion("cream", target_lab=INTENDED, target_source="swatch")),
    (0, Event("poured")),
    (1, Event("cut", bars=24)),
)


def reading(lab, portion="cream", sd=0.8, grade="measured"):
    l_star, a_star, b_star = (float(value) for value in lab)
    v = sd**2
    return ColourReading(
        portion=portion,
        lab=(l_star, a_star, b_star),
        covariance=((v, 0.0, 0.0), (0.0, v, 0.0), (0.0, 0.0, v)),
        grade=grade,
        reasons=(),
        pixels=5000,
        spread=(1.0, 1.0, 1.0),
        card="window",
        area="window",
        corners=(),
        model="affine",
    )


JOURNEYS = {
    "comes back": lambda t: np.array(INTENDED) + np.array([-12.0, 4, 25]) * np.exp(-0.15 * t),
    "settles off": lambda t: np.array([83.0, 2, 20]) + np.array([-12.0, 4, 15]) * np.exp(-0.3 * t),
    "browns": lambda t: np.array([60.0, 8, 22]) + np.array([25.0, -6, -10]) * np.exp(-0.04 * t),
    "stays": lambda t: np.array(INTENDED),
}


def seen(journey, days, seed=1, sd=0.8, portion="cream"):
    """Readings of a known journey with errors of `sd` per coordinate."""
    rng = np.random.default_rng(seed)
    return tuple(
        (d, reading(JOURNEYS[journey](d) + rng.normal(0, sd, 3), portion), f"photo {portion} {d}") for d in days
    )


def weighed(days, m0=120.0, loss=0.15, rate=0.08, step=0.1, subject="bar 1", seed=2):
    """Weighings of a bar that loses `loss` of `m0` grams at `rate` per day."""
    rng = np.random.default_rng(seed)
    grams = [m0 * (1 - loss * (1 - np.exp(-rate * d))) + rng.normal(0, 0.2 * step) for d in days]
    return tuple((d, Weighing(subject, float(round(g / step) * step), step)) for d, g in zip(days, grams, strict=True))


def entries(records):
    return batch(*records).entries


WEEKS = (1, 3, 7, 14, 21, 28, 35, 42)
GOOD_TITRATION = AlkaliTest("titration", soap_g=10.0, acid_ml=(0.15, 0.17), acid_mol_l=0.1, blank_ml=0.05)
GOOD_METER = AlkaliTest("meter", ph=10.2, half_width=0.1, strength_pct=1.0)
LOW_STRIP = AlkaliTest("strip", ph=9.0, half_width=0.5, strength_pct=1.0)
HIGH_METER = AlkaliTest("meter", ph=11.8, half_width=0.1, strength_pct=1.0)
HIGH_TITRATION = AlkaliTest("titration", soap_g=5.0, acid_ml=(5.0,), acid_mol_l=0.1)

READY = (
    *BASICS,
    *seen("comes back", (0.2, 1, 3, 7, 14, 21, 28, 35, 42)),
    *weighed(WEEKS),
    *weighed(WEEKS, subject="bar 2", m0=118, seed=3),
    (40, GOOD_TITRATION),
    (40, SurfaceNote("clear")),
)


def without(records, kind):
    """The same records but those of one kind."""
    return tuple(item for item in records if not isinstance(item[1], kind))
