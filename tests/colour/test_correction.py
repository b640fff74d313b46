"""A card in a photo tells what the photo did to colours, and how well that is known."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curejournal.colour.correction import TooFewPatches, fit_correction
from curejournal.colour.difference import ciede2000
from curejournal.colour.spaces import linear_from_lab, srgb_from_linear

CARDS = Path(__file__).parents[2] / "curejournal" / "photo" / "cards"


def references(name):
    card = tomllib.loads((CARDS / f"{name}.toml").read_text())
    return np.array([patch["lab_d50"] for patch in card["patches"] if patch.get("lab_d50")])


CHART = references("chart24")


def photographed(lab, exposure=0.7, light=(1.15, 1.0, 0.75), crosstalk=0.06, gamma=1.12, noise=0.0, seed=0):
    """What a made-up camera in a made-up light makes of colours: gains, crosstalk, a tone curve, noise."""
    mix = (1 - 3 * crosstalk) * np.eye(3) + crosstalk
    linear = np.maximum(linear_from_lab(lab) @ mix.T * np.array(light) * exposure, 1e-4)
    encoded = srgb_from_linear(linear) ** gamma
    return encoded + noise * np.random.default_rng(seed).normal(size=encoded.shape)


SOAP = np.array([[88, 1, 12], [78, 5, 24], [62, 14, 30], [45, 14, 18], [80, -12, 10], [70, 12, -6.0]])


@pytest.mark.parametrize("name", ["chart24", "window"])
def test_colours_that_are_not_on_the_card_come_out_true(name):
    correction = fit_correction(photographed(references(name)), references(name))
    lab, _ = correction.colours(photographed(SOAP))
    errors = ciede2000(SOAP, lab)
    assert errors.max() < 2.5, errors
    assert errors.mean() < 1.5


def test_five_patches_are_too_few_and_the_message_says_what_to_do():
    with pytest.raises(TooFewPatches, match="Photograph again"):
        fit_correction(photographed(CHART[:5]), CHART[:5])


@pytest.mark.parametrize("count", [6, 9, 18, 24])
def test_any_number_of_patches_from_six_up_gives_finite_colours(count):
    chosen = np.random.default_rng(count).permutation(24)[:count]
    correction = fit_correction(photographed(CHART[chosen], noise=0.003), CHART[chosen])
    lab, covariance = correction.colours(photographed(SOAP))
    assert np.isfinite(lab).all()
    assert np.linalg.eigvalsh(covariance).min() > 0
    assert ciede2000(SOAP, lab).mean() < 12


def test_clipped_patches_never_enter():
    encoded, usable = photographed(CHART), np.ones(24, bool)
    usable[[18, 12]] = False
    spoilt = encoded.copy()
    spoilt[[18, 12]] = 1.0
    whole, without = (fit_correction(values, CHART, usable=usable) for values in (encoded, spoilt))
    np.testing.assert_array_equal(
        whole.colours(photographed(SOAP))[0], without.colours(photographed(SOAP))[0]
    )
    assert np.isnan(whole.leave_one_out[18])


@settings(max_examples=15, deadline=None)
@given(st.permutations(range(24)))
def test_the_order_of_the_patches_does_not_matter(order):
    encoded = photographed(CHART, noise=0.004)
    one = fit_correction(encoded, CHART)
    other = fit_correction(encoded[list(order)], CHART[list(order)])
    np.testing.assert_allclose(
        one.colours(photographed(SOAP))[0], other.colours(photographed(SOAP))[0], atol=1e-6
    )


@settings(max_examples=15, deadline=None)
@given(st.floats(0.35, 0.95))
def test_exposure_hardly_matters(exposure):
    answers = [
        fit_correction(photographed(CHART, exposure=e), CHART).colours(photographed(SOAP, exposure=e))[0]
        for e in (exposure, 0.7)
    ]
    assert ciede2000(*answers).max() < 1.0


def test_more_noise_never_makes_the_answer_look_surer():
    sd = [
        np.sqrt(
            np.diag(
                fit_correction(
                    photographed(CHART, noise=noise), CHART, noise_sd=np.full((24, 3), noise + 1e-4)
                ).colours(photographed(SOAP))[1]
            )
        ).mean()
        for noise in (0.0, 0.01, 0.03, 0.06)
    ]
    assert sd == sorted(sd)


def test_noise_of_the_reading_is_added():
    correction = fit_correction(photographed(CHART), CHART)
    quiet = correction.colours(photographed(SOAP))[1]
    noisy = correction.colours(photographed(SOAP), np.broadcast_to(1e-4 * np.eye(3), (6, 3, 3)))[1]
    # 0.01 encoded is about one Lab unit.
    assert 0.3 < np.diag(noisy - quiet).mean() < 5


def test_two_like_areas_of_one_photo_differ_by_less_than_each_is_unsure():
    correction = fit_correction(photographed(CHART, noise=0.01), CHART)
    pair = photographed(np.array([[80.0, 3, 18], [78.0, 4, 20]]))
    _, covariance = correction.colours(pair)
    difference = covariance[:3, :3] + covariance[3:, 3:] - covariance[:3, 3:] - covariance[3:, :3]
    assert np.trace(difference) < 0.3 * np.trace(covariance[:3, :3] + covariance[3:, 3:])


def test_a_colour_beyond_the_card_is_said_to_be_so_and_is_less_sure():
    correction = fit_correction(photographed(CHART), CHART)
    inside, outside = photographed(np.array([[70.0, 5, 15]])), np.array([[1.0, 0.0, 1.0]])
    assert correction.inside(inside).all()
    assert not correction.inside(outside).any()
    assert np.trace(correction.colours(outside)[1]) > np.trace(correction.colours(inside)[1])


def test_a_whole_picture_shows_what_its_colours_were_measured_as():
    correction = fit_correction(photographed(CHART), CHART)
    encoded = np.clip(photographed(SOAP), 0, 1)
    shown = correction.picture(encoded.reshape(2, 3, 3)).reshape(-1, 3) / 255.0
    wanted = srgb_from_linear(linear_from_lab(correction.colours(encoded)[0]))
    np.testing.assert_allclose(shown, np.clip(wanted, 0, 1), atol=0.02)
