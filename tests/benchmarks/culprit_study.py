"""Which material did it, over journals whose culprits are known.

300 journals of 12 to 60 batches with blends of 8 materials, of which 1 to 3 turn the batter; doses vary, each batch
errs by its own share, some materials are never used apart. The truth is not quite the model that is fitted: effects
bend with the dose, lots differ, noise is skewed.

Run: python -m tests.benchmarks.culprit_study [--journals 300] [--seed 11 | --fresh-seeds]
"""

from __future__ import annotations

import argparse
import secrets
import time
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.optimize import nnls

from curejournal.materials.effects import Dose, MaterialEffects, Observation, find_causes

MATERIALS = tuple("abcdefgh")


@dataclass(frozen=True)
class Truth:
    """A journal's observations, and each culprit's effect (ΔE00 per % at a usual dose)."""

    observations: tuple[Observation, ...]
    effects: dict[str, float]
    never_apart: tuple[tuple[str, str], ...]


def simulate(rng: np.random.Generator) -> Truth:
    """One journal."""
    batches = int(rng.integers(12, 61))
    pairs = [tuple(sorted(rng.choice(MATERIALS, 2, replace=False)))] if rng.random() < 0.5 else []
    fixed_ratio = rng.random() < 0.5
    usual = dict(zip(MATERIALS, rng.uniform(0.4, 3.0, len(MATERIALS)), strict=True))
    popularity = rng.uniform(0.15, 0.5, len(MATERIALS))
    culprits = rng.choice(MATERIALS, int(rng.integers(1, 4)), replace=False)
    turn = {name: float(rng.uniform(4.0, 22.0)) for name in culprits}  # ΔE00 at the usual dose
    bend = rng.uniform(0.8, 1.15)
    base, spread = rng.uniform(0.5, 4.0), rng.uniform(0.5, 2.0)
    rows = []
    while len(rows) < batches:
        used = {name for name, chance in zip(MATERIALS, popularity, strict=True) if rng.random() < chance}
        for one, other in pairs:
            used = used | {other} if one in used else used - {other}
        if not 1 <= len(used) <= 5:
            continue
        doses = {name: usual[name] * float(np.exp(rng.normal(0, 0.3))) for name in used}
        for one, other in pairs:
            if one in used and fixed_ratio:
                doses[other] = doses[one] * usual[other] / usual[one] * float(np.exp(rng.normal(0, 0.03)))
        does = sum(
            turn[name] * (pct / usual[name]) ** bend * float(np.exp(rng.normal(0, 0.12)))
            for name, pct in doses.items()
            if name in turn
        )
        sd = float(rng.uniform(0.4, 1.2))
        value = base + does + spread * float(rng.gamma(2.0) - 2.0) + sd * float(rng.normal())
        rows.append(
            Observation(f"B{len(rows)}", "all", max(value, 0.0), sd, tuple(Dose(*item) for item in doses.items()))
        )
    there = {
        name: frozenset(row.batch for row in rows if name in {d.material for d in row.doses}) for name in MATERIALS
    }
    effects = {name: change / usual[name] for name, change in turn.items() if there[name]}
    # In few batches two materials may never be apart by chance, too.
    pairs = [pair for pair in combinations(MATERIALS, 2) if there[pair[0]] and there[pair[0]] == there[pair[1]]]
    return Truth(tuple(rows), effects, tuple(pairs)) if effects else simulate(rng)


def nnls_rank(truth: Truth) -> list[str]:
    """Materials by their non-negative least squares effect at the usual dose: the textbook's answer."""
    names = sorted({dose.material for row in truth.observations for dose in row.doses})
    design = np.array(
        [[1.0, *(sum(d.pct for d in row.doses if d.material == name) for name in names)] for row in truth.observations]
    )
    found, _ = nnls(design, np.array([row.value for row in truth.observations]))
    usual = [np.median(design[design[:, j + 1] > 0, j + 1]) for j in range(len(names))]
    return [name for _, name in sorted(zip(-found[1:] * usual, names, strict=True))]


def study(truths: Iterable[Truth]) -> dict[str, list[float]]:
    """Figures over journals: each list holds one number for each case that it is about."""
    seen: dict[str, list[float]] = {}

    def note(what: str, value: float) -> None:
        seen.setdefault(what, []).append(float(value))

    for truth in truths:
        begun = time.perf_counter()
        found = find_causes(truth.observations)
        note("s", time.perf_counter() - begun)
        _one(truth, found, note)
    return seen


def _one(truth: Truth, found: MaterialEffects, note) -> None:
    apart = {name for pair in truth.never_apart for name in pair}
    order = [effect.materials for effect in found.effects]
    textbook = nnls_rank(truth)
    uses = {name: sum(any(d.material == name for d in row.doses) for row in truth.observations) for name in MATERIALS}
    strongest = max(truth.effects, key=lambda n: truth.effects[n] * found.effect_of(n).usual_dose_pct)
    for name, effect in truth.effects.items():
        said = found.effect_of(name)
        if name in apart:
            note("not separable: said so", len(said.materials) > 1 and not said.separable)
            note("not separable: a test pour is proposed", any(name in pour.separates for pour in found.test_pours))
            continue
        place = order.index((name,))
        note("identifiable: among the first two, or as many as did it", place < max(2, len(truth.effects)))
        note("identifiable: chance 0.9 or more", said.chance >= 0.9)
        note("interval holds, culprits", said.per_pct.low <= effect <= said.per_pct.high)
        note("interval's width, part of the effect", (said.per_pct.high - said.per_pct.low) / effect)
        if name == strongest:
            note("identifiable: the strongest among the first two", place < 2)
            note("the same by non-negative least squares", name in textbook[:2])
        if uses[name] < 3:
            note("identifiable, used in one or two batches: chance 0.9 or more", said.chance >= 0.9)
    for effect in found.effects:
        blamed = any(name in truth.effects for name in effect.materials)
        if not blamed and effect.separable:
            note("innocent: chance 0.9 or more", effect.chance >= 0.9)
            note("innocent: interval holds zero", effect.per_pct.low == 0.0)
        if not apart.intersection(effect.materials):
            note("separable: said not to be", not effect.separable)
            true = truth.effects.get(effect.materials[0], 0.0)
            note("interval holds, all materials", effect.per_pct.low <= true <= effect.per_pct.high)


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser()
    options.add_argument("--journals", type=int, default=300)
    options.add_argument("--seed", type=int, default=11)
    options.add_argument("--fresh-seeds", action="store_true")
    asked = options.parse_args()
    seed = secrets.randbits(32) if asked.fresh_seeds else asked.seed
    rng = np.random.default_rng(seed)
    found = study(simulate(rng) for _ in range(asked.journals))
    print(f"seed {seed}, {asked.journals} journals\n")
    print("| figure | cases | value |\n| --- | --- | --- |")
    for what, values in sorted(found.items()):
        if what in ("s", "interval's width, part of the effect"):
            middle, high = np.quantile(values, [0.5, 0.95])
            print(f"| {what}, median / 95th | {len(values)} | {middle:.2f} / {high:.2f} |")
        else:
            print(f"| {what} | {len(values)} | {100 * np.mean(values):.1f} % |")


if __name__ == "__main__":
    main()
