"""CIEDE2000 is the published formula, and its interval holds the truth near zero as well."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.color import deltaE_ciede2000

from curejournal.colour.difference import ciede2000, difference_interval, difference_parts

PAIRS = np.loadtxt(Path(__file__).parent.parent / "data" / "ciede2000_sharma.txt")
lab = st.tuples(st.floats(0, 100), st.floats(-80, 80), st.floats(-80, 80))


def test_the_table_is_whole():
    assert PAIRS.shape == (34, 7)


@pytest.mark.parametrize("pair", PAIRS, ids=[f"pair {n}" for n in range(1, 35)])
def test_ciede2000_has_the_published_value(pair):
    # Sharma, Wu & Dalal 2005, table I, given to four digits.
    assert ciede2000(pair[:3], pair[3:6]) == pytest.approx(pair[6], abs=5.1e-5)
    assert ciede2000(pair[3:6], pair[:3]) == pytest.approx(pair[6], abs=5.1e-5)


def test_ciede2000_agrees_with_scikit_image():
    one, other = np.random.default_rng(2).normal([50, 0, 0], 30, (2, 5000, 3))
    np.testing.assert_allclose(ciede2000(one, other), deltaE_ciede2000(one, other), atol=1e-9)


@given(lab, lab)
def test_a_difference_is_symmetric_and_zero_only_to_itself(one, other):
    assert ciede2000(one, other) == pytest.approx(ciede2000(other, one), abs=1e-6)
    assert ciede2000(one, one) == 0


def test_parts_say_in_which_direction():
    lighter, duller, yellower = difference_parts([60, 20, 20], [[65, 20, 20], [60, 10, 10], [60, 16, 23.3]])
    assert lighter[0] == pytest.approx(5)
    assert duller[1] < -10
    assert yellower[2] > 3
    assert abs(yellower[1]) < 2


def covered(true_offset, sd, count, seed):
    """Share of simulated readings whose interval holds the true difference."""
    random = np.random.default_rng(seed)
    reference = np.array([75.0, 4.0, 18.0])
    true = reference + true_offset
    truth = float(ciede2000(reference, true))
    shape = random.normal(size=(3, 3))
    covariance = sd**2 * (shape @ shape.T / 3 + 0.3 * np.eye(3))
    readings = random.multivariate_normal(true, covariance, count)
    intervals = [difference_interval(reference, reading, covariance) for reading in readings]
    return np.mean([low <= truth <= high for _, low, high in intervals])


@pytest.mark.parametrize("seed", [3, 4])
def test_the_interval_holds_the_truth_when_there_is_no_difference(seed):
    assert covered(np.zeros(3), 1.5, 200, seed) >= 0.93


@pytest.mark.parametrize("offset", [[1.0, 0.5, 0.0], [0.0, 2.0, -2.0], [8.0, 3.0, -9.0], [-15.0, 4.0, 12.0]])
def test_the_interval_holds_the_truth_of_small_and_large_differences(offset):
    assert 0.91 <= covered(np.array(offset), 1.2, 200, 5) <= 1.0


def test_an_unproven_difference_reaches_down_to_zero_and_a_proven_one_does_not():
    assert difference_interval([80, 2, 15], [80, 2.5, 15], np.eye(3)).low == 0
    assert difference_interval([80, 2, 15], [70, 8, 25], np.eye(3)).low > 5


def test_the_interval_closes_on_the_estimate_as_the_error_vanishes():
    estimate, low, high = difference_interval([80, 2, 15], [76, 4, 20], 1e-8 * np.eye(3))
    assert low == pytest.approx(estimate, abs=1e-2)
    assert high == pytest.approx(estimate, abs=1e-2)
