"""What goes with an outcome: known causes are found, the season is not blamed on a summer material."""

import numpy as np
import pytest
from scipy.stats import fisher_exact

from curejournal.materials.effects import TooFewBatches
from curejournal.materials.outcome_causes import OutcomeSeen, causes_of


def journal(rng, *, count=40, culprit="coconut, lot C-3", seasonal=False):
    """Batches whose orange spots come from a lot, or from the summer."""
    seen = []
    for number in range(count):
        year = float(rng.uniform())
        warm = np.cos(2 * np.pi * (year - 0.55))
        present = {name for name in ("olive", "palm", "mica", "clay") if rng.random() < 0.5}
        if rng.random() < 0.4:
            present.add(culprit)
        if seasonal and rng.random() < (0.8 if warm > 0.2 else 0.0):
            present.add("summer scent")
        chance = (0.85 if warm > 0.3 else 0.05) if seasonal else (0.85 if culprit in present else 0.05)
        figures = {"superfat, %": float(rng.normal(5, 1.5)), "lye, %": float(rng.normal(32, 2))}
        seen.append(OutcomeSeen(f"B{number}", bool(rng.random() < chance), frozenset(present), figures, year))
    return seen


def test_a_lot_that_goes_with_orange_spots_is_named():
    for seed in range(8):
        first, *others = causes_of(journal(np.random.default_rng(seed)))
        assert first.factors == ("coconut, lot C-3",) and first.named and first.odds.low > 1
        assert not any(cause.named for cause in others)


def test_a_figure_that_goes_with_an_outcome_is_named():
    rng = np.random.default_rng(4)
    seen = []
    for number in range(50):
        superfat = float(rng.uniform(1, 12))
        happened = bool(rng.random() < 1 / (1 + np.exp(-(superfat - 7) * 1.2)))
        seen.append(OutcomeSeen(f"B{number}", happened, frozenset({"olive"}), {"superfat, %": superfat}, rng.uniform()))
    (cause,) = causes_of(seen)
    assert cause.figure and cause.named and cause.odds.low > 1
    assert cause.with_it[0] / cause.with_it[1] > cause.without_it[0] / cause.without_it[1]


def test_a_summer_material_is_not_accused_of_the_summer():
    accused = 0
    for seed in range(40):
        causes = causes_of(journal(np.random.default_rng(100 + seed), seasonal=True))
        accused += any(cause.named for cause in causes if "summer scent" in cause.factors)
    assert accused <= 1


def test_chance_alone_names_hardly_anything():
    named = cases = 0
    for seed in range(40):
        rng = np.random.default_rng(200 + seed)
        seen = [
            OutcomeSeen(one.batch, bool(rng.random() < 0.3), one.present, one.figures, one.year_part)
            for one in journal(rng, count=30)
        ]
        causes = causes_of(seen)
        named, cases = named + sum(cause.named for cause in causes), cases + len(causes)
    assert named / cases <= 0.02


def test_it_agrees_with_fishers_exact_test_about_which_is_the_likeliest():
    """Of materials used alike, the one with the smallest p of Fisher's exact test (scipy) comes first."""
    seen = journal(np.random.default_rng(3))
    had = [one.happened for one in seen]

    def p_value(name):
        there = [name in one.present for one in seen]
        table = [[sum(h and t == side for h, t in zip(had, there, strict=True)) for side in (True, False)]]
        table += [[sum(not h and t == side for h, t in zip(had, there, strict=True)) for side in (True, False)]]
        return fisher_exact(table).pvalue

    materials = [cause.factors[0] for cause in causes_of(seen) if not cause.figure]
    assert materials[0] == min(materials, key=p_value)


def test_what_was_never_apart_is_told_together_and_not_named():
    seen = [
        OutcomeSeen(f"B{n}", n % 2 == 0, frozenset({"a", "b"} if n % 2 == 0 else set()), {}, n / 12) for n in range(12)
    ]
    (cause,) = causes_of(seen)
    assert cause.factors == ("a", "b") and not cause.named


def test_too_few_batches_say_nothing():
    seen = [OutcomeSeen(f"B{n}", n == 0, frozenset({"a"}), {}) for n in range(9)]
    with pytest.raises(TooFewBatches, match="1 batch of 9"):
        causes_of(seen)
