"""Curve fitting against certified answers."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from curejournal.judging import colour_models, drying_models
from curejournal.judging.curves import CurveModel, Grids
from curejournal.judging.drying_models import newton_loss, two_term_loss
from tests.judging.least_squares import best_fit

DATA = Path(__file__).parents[1] / "data"
LOSS = CurveModel("loss", "", (1e-5,), (3.0,), newton_loss, (0.0,), (1000.0,))


@pytest.mark.parametrize("first", [None, (1e-4,), (5e-4,)])
def test_misra1a_gives_the_certified_values(first):
    # NIST StRD nonlinear, Misra1a: y = b1 (1 - exp(-b2 x)), certified values and standard deviations [looked up].
    x = np.array([77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0])
    y = np.array([10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78])
    fit = best_fit(LOSS, x, y[:, None], first)
    assert fit.amplitudes[0, 0] == pytest.approx(2.3894212918e02, rel=1e-6)
    assert fit.rates[0] == pytest.approx(5.5015643181e-04, rel=1e-6)
    assert fit.amplitudes_sd[0, 0] == pytest.approx(2.7070075241, rel=1e-5)
    assert fit.rates_sd[0] == pytest.approx(7.2668688436e-06, rel=1e-5)
    assert fit.residual_sum_of_squares == pytest.approx(1.2455138894e-01, rel=1e-8)


@pytest.mark.parametrize("first", [None, (1.0,), (0.75,)])
def test_boxbod_gives_the_certified_values(first):
    # NIST StRD nonlinear, BoxBOD, "higher difficulty" [looked up in public test suites].
    x = np.array([1.0, 2, 3, 5, 7, 10])
    y = np.array([109.0, 149, 149, 191, 213, 224])
    fit = best_fit(LOSS, x, y[:, None], first)
    assert fit.amplitudes[0, 0] == pytest.approx(2.1380940889e02, rel=1e-6)
    assert fit.rates[0] == pytest.approx(5.4723748542e-01, rel=1e-6)
    assert fit.amplitudes_sd[0, 0] == pytest.approx(1.2354515176e01, rel=1e-4)
    assert fit.rates_sd[0] == pytest.approx(1.0455993237e-01, rel=1e-4)
    assert fit.residual_sum_of_squares == pytest.approx(1.1680088766e03, rel=1e-8)


@pytest.mark.parametrize("first", [None, (0.01, 0.02), (0.02, 0.01)])
def test_mgh17_gives_the_certified_values(first):
    # y = b1 + b2 exp(-b4 x) + b3 exp(-b5 x), here by the colour's own two-rate curve; source in the file.
    y = np.loadtxt(DATA / "nist_mgh17.txt").ravel()
    model = next(m for m in colour_models.FREE_MODELS if m.name == "recovery and browning")
    model = replace(model, low=(0.001, 0.001), high=(0.1, 0.1), amplitude_sd=(10.0, 10.0, 10.0))
    fit = best_fit(model, np.arange(0.0, 330.0, 10.0), y[:, None], first)
    order = np.argsort(fit.rates)
    assert np.array(fit.rates)[order] == pytest.approx([1.2867534640e-02, 2.2122699662e-02], rel=1e-5)
    assert fit.amplitudes[0, 0] == pytest.approx(3.7541005211e-01, rel=1e-6)
    assert fit.amplitudes[1:, 0][order] == pytest.approx([1.9358469127, -1.4646871366], rel=1e-4)
    assert fit.residual_sum_of_squares == pytest.approx(5.4648946975e-05, rel=1e-6)


def test_the_curves_drawn_agree_with_the_closed_form_of_a_straight_mean():
    # One constant with known errors: posterior mean and sd are those of the weighted mean (GUM, JCGM 100:2008).
    mean = CurveModel("mean", "", (), (), lambda t, r: np.ones((len(r), len(t), 1)), (0.0,), (1e4,))
    values = np.array([[3.0], [4.0], [8.0]])
    sds = np.array([1.0, 2.0, 4.0])
    drawn = Grids([mean], np.arange(3.0), values, 1 / sds[:, None, None] ** 2).zoom().curves(4000).at(np.array([0.0]))
    weights = sds**-2.0
    assert drawn.mean() == pytest.approx((weights @ values[:, 0]) / weights.sum(), abs=0.02)
    assert drawn.std() == pytest.approx(weights.sum() ** -0.5, rel=0.03)


def test_the_share_of_two_models_is_that_of_their_evidence():
    # Closed form: y ~ N(0, s2 + A2) against y ~ N(0, s2) for a single reading.
    def one(t, r):
        return np.ones((len(r), len(t), 1))

    free = CurveModel("free", "", (), (), one, (0.0,), (3.0,))
    nil = CurveModel("nil", "", (), (), one, (0.0,), (1e-6,))
    curves = Grids([free, nil], np.zeros(1), np.array([[2.0]]), np.ones((1, 1, 1))).zoom().curves()
    odds = np.exp(-0.5 * 4 / 10) / np.sqrt(10) / np.exp(-0.5 * 4)
    assert curves.models[0].weight == pytest.approx(odds / (1 + odds), rel=1e-5)


def test_the_same_readings_always_give_the_same_curves():
    days, values = np.array([1.0, 4, 9]), np.array([[1.0], [0.95], [0.9]])
    once, again = (Grids(drying_models.MODELS, days, values, np.full((3, 1, 1), 1e4)).zoom().curves() for _ in range(2))
    assert np.array_equal(once.at(days), again.at(days))


@pytest.mark.parametrize(
    "model", [*colour_models.FREE_MODELS, *colour_models.AIMED_MODELS, *drying_models.MODELS], ids=lambda m: m.name
)
def test_every_model_recovers_its_own_curve(model):
    rates = np.sqrt(np.array(model.low) * np.array(model.high))[None, :]
    days = np.array([0.1, 0.4, 1, 2, 4, 7, 11, 16, 22, 29, 37, 46])
    q = 3 if model not in drying_models.MODELS else 1
    scale = np.array(model.amplitude_sd)[:, None] * np.linspace(0.8, 0.5, q)
    truth = model.shape(days, rates)[0] @ (np.array(model.amplitude_mean)[:, None] + scale)
    sd = 0.02 if q == 3 else 0.0005
    curves = Grids([model], days, truth, np.tile(np.eye(q) / sd**2, (len(days), 1, 1))).zoom().curves()
    assert np.abs(curves.at(days).mean(axis=0) - truth).max() < 2 * sd
    polished = best_fit(model, days, truth)
    assert polished.residual_sum_of_squares < 1e-8


def test_two_rates_are_told_apart_on_clean_data():
    days = np.linspace(0, 60, 25)
    amplitudes = np.array([[0.05], [0.10]])
    model = CurveModel("two", "", (0.08, 0.01), (0.8, 0.08), two_term_loss, (0.05, 0.05), (0.1, 0.1))
    fit = best_fit(model, days, two_term_loss(days, np.array([[0.3, 0.03]]))[0] @ amplitudes)
    assert fit.rates == pytest.approx((0.3, 0.03), rel=1e-4)
