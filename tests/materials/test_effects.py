"""Which material did it: known culprits are found, and what cannot be told is said so."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import nnls
from scipy.stats import beta as beta_distribution

from curejournal.materials import effect_sampler
from curejournal.materials.effects import Dose, Observation, TooFewBatches, find_causes
from tests.benchmarks.culprit_study import simulate, study
from tests.benchmarks.season_study import study as study_seasons

BASE = 2.0


def pours(effects, recipes, *, seed=3, sd=0.6, spread=0.8, lots=None):
    """Portions that turned by known effects (ΔE00 per %) at the doses of `recipes`."""
    rng = np.random.default_rng(seed)
    seen = []
    for number, doses in enumerate(recipes):
        lot = lots[number] if lots else ""
        turn = BASE + sum(effects.get((name, lot), effects.get(name, 0.0)) * pct for name, pct in doses.items())
        value = max(turn + rng.normal(0, np.hypot(sd, spread)), 0.0)
        seen.append(
            Observation(f"B{number}", "all", value, sd, tuple(Dose(name, pct, lot) for name, pct in doses.items()))
        )
    return seen


def blends(names, count, *, seed=4, chance=0.5, dose=1.5):
    """Random blends of the names with varying doses."""
    rng = np.random.default_rng(seed)
    return [
        {name: dose * float(np.exp(rng.normal(0, 0.3))) for name in names if rng.random() < chance}
        for _ in range(count)
    ]


def test_one_culprit_among_five_is_named_with_an_interval_that_holds_its_effect():
    found = find_causes(pours({"clove": 6.0}, blends(["clove", "fir", "lime", "rose", "tar"], 24)))
    first = found.effects[0]
    assert first.materials == ("clove",)
    assert first.chance > 0.99
    assert first.separable
    assert first.per_pct.low < 6.0 < first.per_pct.high
    assert all(effect.chance < 0.5 and effect.per_pct.low == 0 for effect in found.effects[1:])
    assert found.test_pours == ()
    assert found.base.low < BASE < found.base.high


def test_an_effect_is_never_negative():
    recipes = blends(["a", "b"], 20)
    seen = pours({"a": -3.0}, recipes, spread=0.2)
    assert all(effect.per_pct.low >= 0 for effect in find_causes(seen).effects)


def test_one_odd_batch_accuses_nobody():
    recipes = [*blends(["a", "b", "c"], 20), {"c": 1.5}]
    seen = pours({}, recipes)
    seen[-1] = Observation("odd", "all", 25.0, 0.6, seen[-1].doses)
    assert find_causes(seen).effect_of("c").chance < 0.5


def test_materials_that_were_never_apart_are_one_and_a_test_pour_tells_them_apart():
    recipes = blends(["vanilla", "fir", "lime"], 20)
    for recipe in recipes:
        if "vanilla" in recipe:
            recipe["clove"] = 0.5 * recipe["vanilla"] + 0.1
    found = find_causes(pours({"clove": 10.0}, recipes))
    joint = found.effects[0]
    assert set(joint.materials) == {"vanilla", "clove"}
    assert not joint.separable
    (pour,) = found.test_pours
    assert pour.material in joint.materials
    assert not pour.without
    assert pour.decides
    assert pour.if_it_did.low > pour.if_not.high
    # Poured alone, clove does turn it and vanilla does not: what the pour would show lies in what was predicted.
    shown = BASE + (10.0 * pour.dose_pct if pour.material == "clove" else 0.0)
    predicted = pour.if_it_did if pour.material == "clove" else pour.if_not
    assert predicted.low < shown < predicted.high
    # A blend with but one of them may do all of it or nothing.
    alone = found.predict({"clove": 0.9})
    assert alone.low < BASE + 1
    assert alone.high > BASE + 8


def test_three_that_were_never_apart_need_two_pours():
    recipes = blends(["a", "z"], 20)
    for recipe in recipes:
        if "a" in recipe:
            recipe |= {"b": 1.0, "c": 0.7}
    found = find_causes(pours({"b": 9.0}, recipes))
    assert len(found.test_pours) == 2
    assert len({pour.material for pour in found.test_pours}) == 2


def test_what_is_innocent_together_needs_no_test_pour():
    recipes = blends(["a", "z"], 24)
    for recipe in recipes:
        if "a" in recipe:
            recipe["b"] = 1.0
    found = find_causes(pours({"z": 9.0}, recipes))
    assert not found.effect_of("a").separable
    assert found.test_pours == ()


def test_a_material_in_every_portion_cannot_be_told_from_the_soap_itself():
    recipes = [{**recipe, "cream": 1.0} for recipe in blends(["a", "b"], 16)]
    found = find_causes(pours({"cream": 12.0}, recipes))
    cream = found.effect_of("cream")
    assert not cream.separable
    (pour,) = [pour for pour in found.test_pours if pour.material == "cream"]
    assert pour.without
    assert pour.if_it_did.estimate < pour.if_not.estimate


def test_a_lot_that_changed_is_found_and_one_that_did_not_is_not():
    recipes = [{"a": 1.2}, {"a": 1.8}, {"b": 1.0}, {"a": 1.5, "b": 1.5}, {}] * 6
    lots = ["L1"] * 15 + ["L2"] * 15
    changed = find_causes(pours({("a", "L1"): 4.0, ("a", "L2"): 9.0}, recipes, lots=lots))
    (comparison,) = changed.lots
    assert comparison.changed
    assert comparison.largest_change.low < 5.0 < comparison.largest_change.high
    assert [lot.lot for lot in comparison.lots] == ["L1", "L2"]
    assert [lot.portions for lot in comparison.lots] == [9, 9]
    same = find_causes(pours({"a": 6.0}, recipes, lots=lots))
    assert not same.lots[0].changed


def test_a_planned_blend_is_predicted_with_an_interval_that_holds():
    names = ["a", "b", "c", "d"]
    effects = {"a": 5.0, "b": 3.0}
    found = find_causes(pours(effects, blends(names, 30)))
    later = pours(effects, blends(names, 300, seed=9), seed=10)
    held = []
    for seen in later:
        interval = found.predict({dose.material: dose.pct for dose in seen.doses})
        held.append(interval.low <= seen.value <= interval.high)
    print(f"predicted intervals hold {np.mean(held):.1%}")
    assert 0.9 <= np.mean(held) <= 0.995


def test_an_unknown_material_widens_what_is_predicted():
    found = find_causes(pours({"a": 5.0}, blends(["a", "b"], 20)))
    assert found.predict({"b": 1.5, "never used": 1.0}).high > found.predict({"b": 1.5}).high + 2


def test_too_few_portions_say_nothing():
    with pytest.raises(TooFewBatches):
        find_causes(pours({"a": 5.0}, [{"a": 1.0}, {}, {"a": 2.0}]))
    with pytest.raises(TooFewBatches):
        find_causes(pours({}, [{}] * 8))


def test_the_same_observations_give_the_same_answer():
    seen = pours({"a": 2.0}, blends(["a", "b", "c"], 14))
    assert find_causes(seen).effects == find_causes(seen).effects


def test_with_much_data_the_effects_are_those_of_non_negative_least_squares():
    """Against `scipy.optimize.nnls` (Lawson & Hanson 1974): with 120 batches priors and tails hardly matter."""
    names = ["a", "b", "c", "d"]
    seen = pours({"a": 5.0, "c": 2.5}, blends(names, 120))
    design = np.array([[1.0, *(sum(d.pct for d in o.doses if d.material == n) for n in names)] for o in seen])
    outside, _ = nnls(design, np.array([o.value for o in seen]))
    found = find_causes(seen)
    for name, value in zip(names, outside[1:], strict=True):
        print(name, value, found.effect_of(name).per_pct)
        assert found.effect_of(name).per_pct.estimate == pytest.approx(value, abs=0.2)


def integrated(seen, names):
    """The same posterior for two materials by brute-force sums over a grid: chances and mean effects per usual dose."""
    design = np.array([[sum(d.pct for d in o.doses if d.material == n) for n in names] for o in seen])
    design = design / [np.median(column[column > 0]) for column in design.T]
    value, sd = np.array([o.value for o in seen]), np.array([o.sd for o in seen])
    size = 0.25 * (np.arange(100) + 0.5)
    slab = (
        2
        * np.exp(-((size / effect_sampler.SLAB_SD) ** 2) / 2)
        / (effect_sampler.SLAB_SD * np.sqrt(2 * np.pi))
        * (size[1] - size[0])
    )
    base = np.linspace(effect_sampler.BASE - 9, effect_sampler.BASE + 9, 61)
    base_prior = np.exp(-(((base - effect_sampler.BASE) / effect_sampler.BASE_SD) ** 2) / 2)
    share = np.linspace(0.001, 0.999, 400)
    prior = beta_distribution(effect_sampler.CULPRITS_EXPECTED, len(names)).pdf(share)
    grid = {}
    for on in ((0, 0), (1, 0), (0, 1), (1, 1)):
        of_pattern = np.sum(prior * share ** sum(on) * (1 - share) ** (2 - sum(on)))
        axes = [(size, slab) if one else (np.zeros(1), np.ones(1)) for one in on]
        first, second, level = np.meshgrid(axes[0][0], axes[1][0], base, indexing="ij")
        weight = axes[0][1][:, None, None] * axes[1][1][None, :, None] * base_prior
        rest = [v - level - x[0] * first - x[1] * second for v, x in zip(value, design, strict=True)]
        total = np.zeros(first.shape)
        for noise in effect_sampler.NOISE_SDS:
            for part in effect_sampler.SHARE_SD:
                variance = sd**2 + noise**2 + (part * np.maximum(value - effect_sampler.BASE, 0)) ** 2
                logs = sum(
                    -0.5 * np.log(v) - (effect_sampler.TAIL + 1) / 2 * np.log1p(r**2 / v / effect_sampler.TAIL)
                    for r, v in zip(rest, variance, strict=True)
                )
                total += np.exp(logs)
        grid[on] = (of_pattern * total * weight, first, second)
    whole = sum(part[0].sum() for part in grid.values())
    chance = [sum(part[0].sum() for on, part in grid.items() if on[j]) / whole for j in (0, 1)]
    mean = [sum((part[0] * part[1 + j]).sum() for part in grid.values()) / whole for j in (0, 1)]
    return chance, mean


def test_the_draws_agree_with_integration_on_a_grid():
    seen = pours({"a": 2.2, "b": 2.2}, blends(["a", "b"], 9, seed=8), seed=5, spread=1.2)
    chance, mean = integrated(seen, ["a", "b"])
    found = find_causes(seen)
    for j, name in enumerate(["a", "b"]):
        effect = found.effect_of(name)
        drawn = found.draws.at_usual[:, found.draws.column_of(name)].mean()
        print(f"{name}: chance {effect.chance:.3f} drawn, {chance[j]:.3f} summed; effect {drawn:.2f}, {mean[j]:.2f}")
        assert effect.chance == pytest.approx(chance[j], abs=0.05)
        assert drawn == pytest.approx(mean[j], abs=0.1)
    assert 0.1 < chance[1] < 0.9  # a case that is not clear


def test_known_culprits_of_simulated_journals_are_found():
    """A small copy of tests/benchmarks/culprit_study.py."""
    rng = np.random.default_rng(5)
    seen = study(simulate(rng) for _ in range(6))
    assert np.mean(seen["identifiable: the strongest among the first two"]) >= 0.85
    assert np.mean(seen["not separable: said so"]) == 1.0
    assert np.mean(seen["interval holds, culprits"]) >= 0.85


def test_a_material_used_in_summer_only_is_not_accused_of_the_summer():
    """It was accused in 28 of 60 such journals; see `tests/benchmarks/season_study.py`."""
    found = study_seasons(journals=12, seed=3)
    assert sum(found["seasonal and innocent: accused"]) == 0
    assert np.mean(found["cause: named"]) >= 0.8


def test_what_is_used_at_one_time_of_the_year_only_says_so_and_is_not_named():
    warm = [Observation(f"W{n}", "all", 12.0, 0.5, (Dose("mint", 2.0),), 0.5 + 0.01 * n) for n in range(8)]
    cold = [Observation(f"C{n}", "all", 2.0, 0.5, (), 0.95 + 0.01 * n) for n in range(5)]
    mint = find_causes([*warm, *cold]).effect_of("mint")
    assert mint.one_season and not mint.named
    plain = [Observation(f"P{n}", "all", 2.0, 0.5, (), 0.51 + 0.01 * n) for n in range(6)]
    told = find_causes([*warm, *cold, *plain]).effect_of("mint")
    assert told.named, "pours without it in the same weeks tell it from the summer"
