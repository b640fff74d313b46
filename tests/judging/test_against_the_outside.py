"""The judging core against what others published, and against independent calculations."""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from curejournal.batch.records import Weighing
from curejournal.judging.drying import Drying, analyse_drying
from curejournal.judging.lye_left import Read, RecipeKnown, lye_left
from curejournal.soap.alkali import ph_with_lye, titrate
from tests.judging.batches import POURED, entries

# --- alkali: the worked figures of the trade notes


@pytest.mark.parametrize(
    ("soap_g", "acid_ml", "acid_mol_l", "pct"),
    [(5.0, 1.25, 0.1, 0.09999), (5.0, 0.62, 0.1, 0.04960), (10.0, 1.25, 0.1, 0.05), (10.003, 0.85, 0.1012, 0.03439)],
)
def test_titrations_give_the_worked_figures(soap_g, acid_ml, acid_mol_l, pct):
    """% NaOH = V c M / (10 m); Simmons & Appleton 1908: 0.50 ml of N/10 on 2 g is 0.1000% NaOH."""
    assert titrate(soap_g, [acid_ml], acid_mol_l).estimate_pct == pytest.approx(pct, abs=6e-5)
    assert titrate(2.0, [0.5], 0.1).estimate_pct == pytest.approx(0.1, abs=1e-4)


@pytest.mark.parametrize(
    ("pct", "at_one", "at_ten"),
    [
        (0.01, 9.40, 10.40),
        (0.05, 10.10, 11.10),
        (0.10, 10.40, 11.40),
        (0.25, 10.80, 11.80),
        (0.5, 11.1, 12.1),
        (1, 11.4, 12.4),
    ],
)
def test_lye_alone_gives_the_ph_of_its_hydroxide(pct, at_one, at_ten):
    """pH = 14 + log10 of the hydroxide's mol/l (arithmetic, activities ignored), where soap's own hydrolysis is nil."""
    none = np.array(5.0)
    assert float(ph_with_lye(none, np.array(pct))) == pytest.approx(at_one, abs=0.006)
    assert float(ph_with_lye(none, np.array(pct), 10.0)) == pytest.approx(at_ten, abs=0.006)


def test_hydrolysis_alone_gives_soaps_own_ph():
    assert float(ph_with_lye(np.array(10.2), np.array(0.0))) == pytest.approx(10.2)


# --- the posterior, by quadrature


def _normal(value, mean, sd):
    """The density of a normal distribution: a hundred times faster for one number than that of arrays."""
    return math.exp(-0.5 * ((value - mean) / sd) ** 2) / (sd * math.sqrt(2 * math.pi))


def _independent(recipe, readings, days, limit, dried):
    """The same model, integrated by scipy's adaptive quadrature over the superfat, for one kind of reading."""

    def left(s, k, t):
        d = s / 100
        if abs(d) < 1e-7:
            return 1 / (k * t)
        ratio = (1 - d) * math.exp(-k * d * t) if -k * d * t < 500 else math.inf
        return -d if ratio == math.inf else d * ratio / (1 - ratio)

    rates = 12.0 * np.exp(0.6 * stats.norm.ppf((np.arange(5) + 0.5) / 5))
    phs = 10.15 + 0.40 * stats.norm.ppf((np.arange(9) + 0.5) / 9)

    def density(s, above):
        prior = _normal(s, recipe.superfat_pct, recipe.sd_pct)
        total = 0.0
        for k in rates:
            if above and recipe.lye_pct * left(s, k, days) * dried <= limit:
                continue
            for own in phs:
                chance = 1.0
                for read in readings:
                    pct = recipe.lye_pct * left(s, k, read.days) * read.dried
                    if read.titration:
                        fits = _normal(read.value, pct, math.hypot(read.sd, 0.02 * pct))
                        chance *= fits + 0.01 / 2
                    else:
                        expected = float(ph_with_lye(np.array(own), np.array(pct), read.strength_pct)) + read.bias[0]
                        chance *= _normal(read.value, expected, math.hypot(read.sd, read.bias[1])) + 0.01 / 6
                total += chance
        return prior * total

    spread = (recipe.superfat_pct - 7 * recipe.sd_pct, recipe.superfat_pct + 7 * recipe.sd_pct)
    points = sorted({-3.0, -1.5, -0.8, -0.5, -0.4, -0.2, 0.0, 0.3, 0.8, 1.5, 3.0})
    inside = [p for p in points if spread[0] < p < spread[1]]
    options = {"points": inside, "limit": 400, "epsabs": 1e-10, "epsrel": 1e-4}
    return (
        integrate.quad(density, *spread, args=(True,), **options)[0]
        / integrate.quad(density, *spread, args=(False,), **options)[0]
    )


def _meter(ph, days=30.0):
    return Read(days, ph, 0.06, False, 1.12, 1.0, "meter", (0.0, 0.08))


def _titration(pct, sd=0.003, days=30.0):
    return Read(days, pct, sd, True, 1.12)


CASES = [
    (RecipeKnown(5.0, 1.6, 10.0, 0.0), ()),
    (RecipeKnown(1.0, 1.6, 10.0, 0.0), ()),
    (RecipeKnown(3.0, 1.6, 10.0, 0.0), (_meter(10.2),)),
    (RecipeKnown(3.0, 1.6, 10.0, 0.0), (_meter(10.8),)),
    (RecipeKnown(0.0, 2.0, 10.0, 0.0), (_meter(11.3),)),
    (RecipeKnown(1.0, 1.5, 9.0, 0.0), (_titration(0.042),)),
    (RecipeKnown(1.0, 1.5, 9.0, 0.0), (_titration(0.055),)),
    (RecipeKnown(0.5, 1.5, 9.0, 0.0), (_titration(0.05), _titration(0.046))),
    (RecipeKnown(-1.0, 1.5, 9.0, 0.0), (_titration(0.12, 0.02),)),
    (RecipeKnown(2.0, 1.5, 9.0, 0.0), (Read(25.0, 8.9, 0.3, False, 1.1, 1.0, "strips P", (-1.2, 0.3)),)),
]


@pytest.mark.parametrize(("recipe", "readings"), CASES)
def test_the_posterior_is_that_of_adaptive_quadrature(recipe, readings):
    found = lye_left(recipe, readings, 35.0, 0.05, 1.13)
    expected = _independent(recipe, readings, 35.0, 0.05, 1.13)
    assert found.chance == pytest.approx(expected, rel=0.08, abs=0.002)


# --- drying: diffusion in a slab, and the worked series


def _weights(days, grams):
    return entries([(0, Weighing("b", 1.0))])[:0] + entries(
        [(d, Weighing("bar 1", float(round(g, 1)), 0.1)) for d, g in zip(days, grams, strict=True)]
    )


def _slab(days, k):
    """Part of the moisture left in a slab, J. Crank, The Mathematics of Diffusion, 2nd ed. 1975, eq. 4.18."""
    odd = np.arange(1, 80, 2)
    return (8 / np.pi**2 * np.exp(-np.outer(days, odd**2) * k) / odd**2).sum(axis=1)


@pytest.mark.parametrize("k", [0.04, 0.08, 0.12])
def test_bars_that_dry_by_diffusion_are_called_steady_when_they_are(k):
    days = np.arange(2, 80, 6.0)
    weight = lambda d: 120 * (0.84 + 0.16 * _slab(np.atleast_1d(d), k))  # noqa: E731
    change = lambda d: 100 * (1 - weight(d + 7) / weight(d))  # noqa: E731
    for count in range(4, len(days)):
        seen = days[:count]
        report = analyse_drying(_weights(seen, weight(seen)), POURED)
        if report.state is Drying.STEADY:
            assert change(seen[-1])[0] < 1.0
        elif change(seen[-1] - 14)[0] < 0.8:
            pytest.fail(f"steady for two weeks and not called so on day {seen[-1]:g}")


# --- intervals


def test_the_bound_of_the_study_is_statsmodels_own():
    """One-sided Clopper-Pearson, as statsmodels' proportion_confint(method="beta") has it two-sided at 90%."""
    proportion = pytest.importorskip("statsmodels.stats.proportion")
    for bad, count in ((0, 2000), (2, 2300), (7, 900)):
        ours = stats.beta.ppf(0.95, bad + 1, count - bad)
        assert ours == pytest.approx(proportion.proportion_confint(bad, count, alpha=0.10, method="beta")[1])
