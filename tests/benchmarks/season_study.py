"""Whether a material that is used in summer is accused of what the summer does, over journals whose truth is known.

Journals of 14 to 60 batches over one to three years. The season turns the soap by 3 to 12 ΔE00: as a wave, as its warm
half, or all at once on warm days. The innocent material is used on 40 to 95% of warm days and on few others or none; in
half of the journals another material does turn the batter.

Run: python -m tests.benchmarks.season_study [--journals 300] [--seed 1]
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace

import numpy as np

from curejournal.materials.effects import Dose, Observation, find_causes

SEASONAL, CULPRIT, OTHERS = "summer scent", "a", "bcdef"


@dataclass(frozen=True)
class Truth:
    """A journal's observations, and whether `CULPRIT` turns the batter."""

    observations: tuple[Observation, ...]
    culprit: bool


def simulate(rng: np.random.Generator) -> Truth:
    """One journal; the seasonal material is in some of its batches."""
    count = int(rng.integers(14, 61))
    phase = (np.sort(rng.uniform(0, rng.uniform(1, 3), count)) + rng.random()) % 1
    warm = np.cos(2 * np.pi * (phase - 0.55))
    shapes = (warm, np.maximum(warm, 0.0), (warm > 0.3) * 1.0)
    season = shapes[int(rng.integers(3))] * rng.uniform(3, 12)
    names = (CULPRIT, *OTHERS)
    usual = dict(zip(names, rng.uniform(0.4, 3.0, len(names)), strict=True))
    popular = dict(zip(names, rng.uniform(0.15, 0.5, len(names)), strict=True))
    on_warm_days, else_ = rng.uniform(0.4, 0.95), rng.choice([0.0, 0.0, 0.05, 0.1])
    culprit, turn, spread = bool(rng.random() < 0.5), rng.uniform(5, 20), rng.uniform(0.5, 2)
    rows = []
    for number in range(count):
        used = {name for name in names if rng.random() < popular[name]}
        used |= {SEASONAL} if rng.random() < (on_warm_days if warm[number] > 0.2 else else_) else set()
        doses = {name: usual.get(name, 2.0) * float(np.exp(rng.normal(0, 0.3))) for name in sorted(used)}
        did = turn * doses[CULPRIT] / usual[CULPRIT] if culprit and CULPRIT in doses else 0.0
        sd = float(rng.uniform(0.4, 1.2))
        value = 2 + season[number] + did + spread * (rng.gamma(2.0) - 2) + sd * rng.normal()
        held = tuple(Dose(*item) for item in doses.items())
        rows.append(Observation(f"B{number}", "all", max(float(value), 0.0), sd, held, float(phase[number])))
    held_it = any(dose.material == SEASONAL for row in rows for dose in row.doses)
    return Truth(tuple(rows), culprit) if held_it else simulate(rng)


def study(journals: int, seed: int, without: bool = False) -> dict[str, list[bool]]:
    """What was said of each material: a list of cases for each figure; `without` leaves the season out too."""
    rng = np.random.default_rng(seed)
    seen: dict[str, list[bool]] = {}
    for _ in range(journals):
        truth = simulate(rng)
        found = find_causes(truth.observations)
        seasonal = found.effect_of(SEASONAL)
        seen.setdefault("seasonal and innocent: accused", []).append(seasonal.named and seasonal.separable)
        seen.setdefault("seasonal: said that it cannot be told from the season", []).append(seasonal.one_season)
        if without:
            blind = find_causes([replace(one, year_part=None) for one in truth.observations]).effect_of(SEASONAL)
            seen.setdefault("the same without the season", []).append(blind.named and blind.separable)
        for effect in found.effects:
            if len(effect.materials) > 1 or effect.materials[0] == SEASONAL:
                continue
            did = truth.culprit and effect.materials[0] == CULPRIT
            seen.setdefault("cause: named" if did else "innocent in all seasons: accused", []).append(effect.named)
    return seen


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser()
    options.add_argument("--journals", type=int, default=300)
    options.add_argument("--seed", type=int, default=1)
    asked = options.parse_args()
    print(f"seed {asked.seed}, {asked.journals} journals\n\n| figure | cases | value |\n| --- | --- | --- |")
    for what, cases in sorted(study(asked.journals, asked.seed, without=True).items()):
        print(f"| {what} | {len(cases)} | {100 * np.mean(cases):.1f} % |")


if __name__ == "__main__":
    main()
