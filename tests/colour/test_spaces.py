"""Colour spaces agree with the standards and with colour-science, and turn round without loss."""

import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from curejournal.colour import spaces

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # its hint that matplotlib is missing
    import colour

D50 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
D65 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
COLOURS = np.random.default_rng(1).uniform(-0.2, 1.3, (500, 3))
triples = arrays(float, (4, 3), elements=st.floats(-0.5, 1.5))


@pytest.mark.parametrize(
    ("there", "back"),
    [
        (spaces.linear_from_srgb, spaces.srgb_from_linear),
        (spaces.xyz_from_linear, spaces.linear_from_xyz),
        (spaces.lab_from_xyz, spaces.xyz_from_lab),
        (spaces.lab_from_srgb, spaces.srgb_from_lab),
    ],
    ids=lambda function: function.__name__,
)
@given(triples)
def test_going_there_and_back_changes_nothing_even_outside_the_gamut(there, back, values):
    # IEC 61966-2-1's two branches meet within 1e-7 only, hence the tolerance.
    np.testing.assert_allclose(back(there(values)), values, atol=3e-6)


def test_the_srgb_curve_has_the_values_of_the_standard():
    # IEC 61966-2-1: 12.92 below 0.0031308; by hand, ((0.5 + 0.055) / 1.055)^2.4 = 0.214041
    np.testing.assert_allclose(
        spaces.linear_from_srgb([0.0, 0.04045, 0.5, 1.0, -0.5]),
        [0.0, 0.0031308, 0.2140411, 1.0, -0.2140411],
        atol=1e-6,
    )


def test_srgb_to_lab_agrees_with_colour_science():
    inside = np.clip(COLOURS, 0, 1)
    xyz = colour.sRGB_to_XYZ(inside, D50, chromatic_adaptation_transform="Bradford")
    # The standard's matrix is rounded to four digits; ours is not.
    np.testing.assert_allclose(spaces.lab_from_srgb(inside), colour.XYZ_to_Lab(xyz, D50), atol=0.03)


def test_lab_agrees_with_colour_science_below_black_too():
    np.testing.assert_allclose(spaces.lab_from_xyz(COLOURS), colour.XYZ_to_Lab(COLOURS, D50), atol=1e-9)


def test_white_is_white_and_black_is_black():
    np.testing.assert_allclose(spaces.lab_from_srgb([[1, 1, 1], [0, 0, 0]]), [[100, 0, 0], [0, 0, 0]], atol=1e-9)


def test_a_swatch_is_cut_off_at_what_a_screen_can_show():
    assert spaces.lab_to_srgb8([[100, 0, 0], [50, 150, 0], [-5, 0, 0]]).tolist()[0] == [255, 255, 255]
    assert spaces.lab_to_srgb8([50, 150, 0])[1] == 0
    # The older chart's dark skin is published both as sRGB 115, 82, 68 and as L*a*b* 37.986 13.555 14.059.
    assert np.abs(spaces.lab_to_srgb8([37.986, 13.555, 14.059]).astype(int) - [115, 82, 68]).max() <= 2


def test_yellowness_agrees_with_the_worked_value_and_with_colour_science():
    # colour-science's documented example: XYZ 95, 100, 105 under D65/2 has E313 yellowness 4.34.
    xyz_d65 = np.array([0.95, 1.00, 1.05])
    adapted = colour.chromatic_adaptation(
        xyz_d65, colour.xy_to_XYZ(D65), colour.xy_to_XYZ(D50), method="Von Kries", transform="Bradford"
    )
    assert spaces.yellowness_e313(spaces.lab_from_xyz(adapted)) == pytest.approx(4.34, abs=0.03)
    assert colour.colorimetry.yellowness_ASTME313(xyz_d65 * 100) == pytest.approx(4.34, abs=0.005)


def test_yellowness_of_white_is_none_and_rises_with_yellow():
    values = spaces.yellowness_e313([[100, 0, 0], [90, 0, 8], [90, 0, 16]])
    assert abs(values[0]) < 0.1
    assert values[0] < values[1] < values[2]
