"""Free alkali and pH, against worked titrations and arithmetic."""

import numpy as np
import pytest

from curejournal.soap.alkali import (
    ImpossibleTest,
    PhBand,
    read_ph,
    titrate,
)


@pytest.mark.parametrize(
    ("soap_g", "acid_ml", "acid_mol_l", "blank_ml", "pct"),
    [
        # % NaOH = V c M / (10 m), ISO 456 / AOCS Da 4a [from memory]; worked by hand.
        (5.00, 0.62, 0.1000, 0.02, 0.048),
        (5.000, 1.25, 0.1000, 0.0, 0.09999),
        (5.000, 0.62, 0.1000, 0.0, 0.04960),
        (10.000, 1.25, 0.1000, 0.0, 0.05000),
        (10.003, 0.85, 0.1012, 0.0, 0.03439),
        # Simmons & Appleton, The Handbook of Soap Manufacture, 1908: 0.50 ml on 2 g is 0.0775% Na2O, which old books
        # report; 2 x 39.997 g of NaOH are 61.979 g of it.
        (2.000, 0.50, 0.1000, 0.0, 0.0775 * 1.2907),
    ],
)
def test_a_worked_titration(soap_g, acid_ml, acid_mol_l, blank_ml, pct):
    result = titrate(soap_g, [acid_ml], acid_mol_l, blank_ml)
    assert result.free_alkali_pct == pytest.approx(pct, abs=5e-5)
    assert result.interval_pct[0] < pct < result.interval_pct[1]


def test_less_acid_than_a_drop_is_below_the_limit_and_never_zero():
    result = titrate(5.0, [0.03], 0.1, 0.02)
    assert not result.detected
    assert result.words.startswith("not detected (below 0.0")
    assert result.interval_pct[1] > 0


def test_replicates_narrow_the_interval_and_disagreement_widens_it():
    single, triple = titrate(5.0, [0.60], 0.1), titrate(5.0, [0.60, 0.61, 0.59], 0.1)
    apart = titrate(5.0, [0.30, 0.60, 0.90], 0.1)
    width = [r.interval_pct[1] - r.interval_pct[0] for r in (single, triple, apart)]
    assert width[1] < width[0] < width[2]
    assert triple.free_alkali_pct == pytest.approx(0.048, abs=1e-4)


def test_the_interval_holds_the_truth_about_as_often_as_it_says():
    rng = np.random.default_rng(3)
    held = []
    for _ in range(600):
        truth = rng.uniform(0.02, 0.2)
        soap_g = 5.0 + rng.normal(0, 0.01)
        acid_mol_l = 0.1 * (1 + rng.normal(0, 0.005))
        volume = truth * 10 * soap_g / (acid_mol_l * 39.997) + 0.05
        read = [volume + rng.uniform(-0.05, 0.05) for _ in range(3)]
        low, high = titrate(5.0, read, 0.1, 0.05 + rng.uniform(-0.05, 0.05)).interval_pct
        held.append(low <= truth <= high)
    assert np.mean(held) >= 0.93


@pytest.mark.parametrize(
    "bad", [(0, [1], 0.1, 0), (5, [], 0.1, 0), (5, [-1], 0.1, 0), (5, [1], 0, 0), (5, [1], 0.1, -1)]
)
def test_amounts_that_cannot_be_are_refused(bad):
    with pytest.raises(ImpossibleTest):
        titrate(*bad)


@pytest.mark.parametrize(
    ("ph", "half_width", "band"),
    [
        (9.8, 0.5, PhBand.USUAL),
        (10.4, 0.1, PhBand.USUAL),
        (10.5, 0.1, PhBand.AGAIN),
        (10.0, 1.0, PhBand.AGAIN),
        (11.0, 0.1, PhBand.AGAIN),
        (10.8, 1.0, PhBand.AGAIN),
        (11.2, 0.1, PhBand.HOLD),
        (12.5, 1.4, PhBand.NOT_FOR_SALE),
        (11.4, 0.1, PhBand.HOLD),
        (11.5, 0.1, PhBand.NOT_FOR_SALE),
        (13.0, 0.5, PhBand.NOT_FOR_SALE),
    ],
)
def test_what_lies_wholly_above_a_step_holds_however_coarse(ph, half_width, band):
    # House rule; 11.5 is the mark of CLP, Regulation 1272/2008, Annex I 3.2.3.1.2 [looked up].
    assert read_ph(ph, half_width, 1.0).band is band


@pytest.mark.parametrize(
    ("ph", "words"),
    [
        (10.4, "pH 10.3 to 10.5 at 1%: usual"),
        (10.44, "pH 10.3 to 10.6 at 1%: test again"),
        (11.38, "pH 11.28 to 11.48 at 1%: hold and titrate"),
        # A tenth tells as much, where both ends stay on their step.
        (8.91, "pH 8.8 to 9.1 at 1%: usual"),
    ],
)
def test_an_interval_is_told_on_the_step_that_it_is_on(ph, words):
    assert read_ph(ph, 0.1, 1.0).words == words


def test_a_weak_solution_can_hide_a_high_ph():
    assert read_ph(10.3, 0.1, 1.0).band is PhBand.USUAL
    weak = read_ph(10.3, 0.1, 0.1)
    assert weak.band is PhBand.AGAIN and weak.interval[1] > 11.0 and not weak.comparable


def test_an_unknown_strength_never_compares():
    assert not read_ph(9.0, 0.5, None).comparable


def test_a_low_strip_says_that_strips_read_low():
    assert "strips often read low" in read_ph(9.0, 0.5, 1.0, by_strip=True).words


@pytest.mark.parametrize("ph", [-0.1, 14.1, float("nan")])
def test_the_scale_runs_from_0_to_14(ph):
    with pytest.raises(ImpossibleTest):
        read_ph(ph, 0.1, 1.0)
