"""Intervals and claims of equivalence against scipy and statsmodels, where a textbook's test answers the same question.

At L* a* b* 50, 0, 0 the weights of CIEDE2000 are 1, and a* counts 1.5 times (ISO/CIE 11664-6:2014), so that small
differences are plain distances.
"""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import ncx2, norm, t
from statsmodels.stats.weightstats import DescrStatsW

from curejournal.colour.difference import difference_interval
from curejournal.judging.colour_series import fit_colour_series
from curejournal.judging.forecast import one_more
from tests.judging.batches import POURED, entries, reading

GREY = (50.0, 0.0, 0.0)
DAYS = (1, 4, 8, 12, 16, 20, 24, 28)


@pytest.mark.parametrize("seen_in_sd", [0.5, 2.0, 3.5, 5.0, 9.0])
def test_a_differences_interval_is_that_of_the_noncentral_chi_squared(seen_in_sd):
    # With equal errors, (distance / sd)^2 is noncentral chi-squared with 3 degrees of freedom; its confidence limits
    # follow by inversion [Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions 2, ch. 29, from memory].
    sd = 0.1
    square = seen_in_sd**2

    def limit(tail):
        def too_far(centre):
            return ncx2.cdf(square, 3, centre**2) - tail

        return brentq(too_far, 1e-6, seen_in_sd + 10) if too_far(1e-6) > 0 else 0.0

    found = difference_interval(GREY, (50.0 + sd * seen_in_sd, 0.0, 0.0), np.diag([1.0, 1 / 1.5**2, 1.0]) * sd**2)
    assert found.estimate == pytest.approx(sd * seen_in_sd, rel=0.01)
    assert found.low == pytest.approx(sd * limit(0.975), abs=0.08 * sd)
    # The upper end promises at least 95%: never below the exact one, nor beyond the error's own reach (3.06 sd).
    assert sd * limit(0.025) - 0.05 * sd <= found.high <= sd * (seen_in_sd + 3.1)


def steady(offset, seed, sd=0.9):
    rng = np.random.default_rng(seed)
    labs = [np.add(GREY, (offset + rng.normal(0, sd), rng.normal(0, sd / 1.5), rng.normal(0, sd))) for _ in DAYS]
    found = fit_colour_series(
        entries([(d, reading(lab, sd=sd)) for d, lab in zip(DAYS, labs, strict=True)]), POURED, GREY, 3.0
    )
    return found, np.array([lab[0] for lab in labs])


@pytest.mark.parametrize("offset", [0.0, 1.0, 2.0, 2.6, 3.0, 3.6, 5.0])
def test_within_tolerance_is_never_claimed_more_lightly_than_by_two_one_sided_tests(offset):
    # Schuirmann 1987: two one-sided t tests at 5% each, of the mean of steady readings, in statsmodels.
    ours, textbook = [], []
    for seed in range(12):
        found, lightness = steady(offset, seed)
        ours.append(found.proven_within)
        textbook.append(DescrStatsW(lightness).ttost_mean(50.0 - 3.0, 50.0 + 3.0)[0] < 0.05)
    print(f"{offset:g} ΔE00 off, of 12: ours {sum(ours)}, two one-sided tests {sum(textbook)}")
    assert sum(ours) <= sum(textbook) + 1
    if offset <= 1.0:
        assert sum(ours) >= 11
    if offset > 3.0:
        assert sum(ours) == 0


@pytest.mark.parametrize("seed", range(4))
def test_a_steady_colours_difference_has_the_width_of_a_means_interval(seed):
    found, lightness = steady(4.0, seed)
    low, high = norm.interval(0.95, lightness.mean(), 0.9 / np.sqrt(len(DAYS)))
    now = found.difference_now
    assert now.estimate == pytest.approx(lightness.mean() - 50.0, abs=0.6)
    # Not narrower than the mean's, the error being known; wider, since the colour may have moved.
    assert 0.95 * (high - low) <= now.high - now.low <= 3 * (high - low)


def test_with_many_earlier_batches_it_is_students_prediction_interval():
    logs = np.random.default_rng(3).normal(np.log(12.0), 0.4, 60)
    # scipy's Student's t with n - 1 degrees of freedom: one more normal observation [Hahn & Meeker 1991, from memory].
    low, high = t.interval(0.95, len(logs) - 1, logs.mean(), logs.std(ddof=1) * np.sqrt(1 + 1 / len(logs)))
    assert np.log(one_more(logs)) == pytest.approx([logs.mean(), low, high], abs=0.03)
