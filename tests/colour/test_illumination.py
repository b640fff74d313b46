"""Uneven light across a card is found from places of one white, and never made up."""

import numpy as np
import pytest

from curejournal.colour.illumination import fit_shading, slope_of_light

XY = np.array([[x, y] for x in (5, 40, 75, 110, 143) for y in (5, 52, 100)], float)
REACH = 69.0
INSIDE = np.array([[74.0, 52.0], [60.0, 40.0]])


def lit(xy, slope=(0.3, -0.1), bend=0.05):
    x, y = (xy[:, 0] - 74) / 69, (xy[:, 1] - 52) / 69
    light = np.exp(slope[0] * x + slope[1] * y - bend * (x**2 + y**2))
    return 0.6 * light[:, None] * [1.0, 0.95, 0.8]


def test_light_between_the_whites_is_found():
    shading = fit_shading(XY, lit(XY), REACH)
    ratio = shading.gain(INSIDE)[0] / shading.gain(INSIDE)[1]
    np.testing.assert_allclose(ratio, lit(INSIDE)[0] / lit(INSIDE)[1], rtol=0.005)
    assert shading.spread == pytest.approx((lit(XY).max(axis=0) / lit(XY).min(axis=0)).max(), rel=0.03)


def test_a_stained_white_does_not_bend_the_light():
    light = lit(XY)
    light[4] *= 0.7
    ratio = np.divide(*fit_shading(XY, light, REACH).gain(INSIDE))
    np.testing.assert_allclose(ratio, lit(INSIDE)[0] / lit(INSIDE)[1], rtol=0.02)


@pytest.mark.parametrize("count", [0, 1])
def test_with_one_white_or_none_the_light_is_taken_as_even(count):
    shading = fit_shading(XY[:count], lit(XY[:count]), REACH)
    np.testing.assert_array_equal(shading.gain(INSIDE), np.ones((2, 3)))


def test_two_whites_prove_a_slope_between_them_and_nothing_across():
    two = np.array([[10.0, 50.0], [140.0, 50.0]])
    shading = fit_shading(two, lit(two), REACH)
    gain = shading.gain(np.array([[10.0, 50.0], [140.0, 50.0], [10.0, 100.0]]))
    np.testing.assert_allclose(gain[1] / gain[0], lit(two)[1] / lit(two)[0], rtol=0.02)
    np.testing.assert_allclose(gain[2], gain[0], rtol=0.02)


def test_even_light_stays_even_in_noise():
    light = 0.6 * np.exp(np.random.default_rng(0).normal(0, 0.01, (len(XY), 3)))
    assert np.abs(np.log(fit_shading(XY, light, REACH).gain(INSIDE))).max() < 0.015


def test_whites_around_a_window_alone_do_not_bend_the_light_at_the_cards_edge():
    """Each a little off, as from 8 bits; at the edge, more than twice as far out, the light is not off by much more."""
    frame = np.array([[49.0, 29.5], [74, 29.5], [99, 29.5], [49, 75.5], [74, 75.5], [99, 75.5]])
    frame = np.concatenate([frame, [[44.5, 40], [44.5, 52], [44.5, 65], [103.5, 40], [103.5, 52], [103.5, 65]]])
    edge = np.array([[5.0, 5.0], [143.0, 5.0], [5.0, 100.0], [143.0, 100.0]])
    off = np.random.default_rng(0).normal(0, 0.005, (300, len(frame), 3))
    gains = np.array([np.log(fit_shading(frame, lit(frame) * np.exp(each), 74.0).gain(edge)) for each in off])
    assert np.std(gains, axis=0).max() < 0.03
    assert np.std(gains - gains.mean(axis=2, keepdims=True), axis=0).max() < 0.005, "least of all its colour"
    np.testing.assert_allclose(np.log(lit(edge) / lit(edge)[0]), (gains - gains[:, :1]).mean(axis=0), atol=0.01)


def test_places_that_are_black_or_unknown_are_left_out():
    light = lit(XY)
    light[0], light[1] = np.nan, 0.0
    np.testing.assert_allclose(
        np.divide(*fit_shading(XY, light, REACH).gain(INSIDE)), lit(INSIDE)[0] / lit(INSIDE)[1], rtol=0.01
    )


def test_the_slope_of_light_is_told_by_what_colours_leave_unexplained():
    """Light a half brighter at one edge: by the derivative of CIE 15's cube root, L* + 16 grows by a third of that."""
    lightness = np.random.default_rng(1).uniform(20, 90, len(XY))
    places, off = XY / (148, 105), np.random.default_rng(0).normal(0, 0.5, (len(XY), 3))
    brighter = off + np.outer(np.log(1.5) * places[:, 0] * (lightness + 16) / 3, [1, 0, 0])
    assert slope_of_light(places, off, lightness) == (1.0, 0.0)
    assert slope_of_light(places, brighter, lightness) == (pytest.approx(1.5, abs=0.03), 0.0)
    assert slope_of_light(places, off + np.outer(places[:, 1], [0, 0, 8]), lightness) == (
        1.0,
        pytest.approx(8, abs=0.7),
    )
    assert slope_of_light(places[:11], brighter[:11], lightness[:11]) == (1.0, 0.0), "too few to know the errors by"
