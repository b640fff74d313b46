"""No surface reflects more than falls on it: against published reflectances, and optimal ones of two steps."""

from __future__ import annotations

import numpy as np
import pytest
from colour import SpectralShape
from colour.quality.cfi2017 import load_TCS_CIE2017

from curejournal.colour.surface_limits import held_to_surfaces, most_chroma
from tests.spectra import NM, lab_of


def test_published_surfaces_are_left_as_they_are() -> None:
    """The 99 reflectances of CIE 224:2017, as kept by colour-science."""
    labs = np.array([lab_of(each) for each in load_TCS_CIE2017(SpectralShape(380, 780, 5)).values.T])
    assert np.array_equal(held_to_surfaces(labs), labs)


@pytest.mark.parametrize("band", [(480, 560), (560, 780), (380, 490), (600, 780), (500, 650)])
@pytest.mark.parametrize("all_but", [False, True])
def test_optimal_colours_lie_within_the_limit_and_not_far(band: tuple[int, int], all_but: bool) -> None:
    """Reflectances of 0 and 1 with two steps have the most chroma of their lightness and hue (Schroedinger 1920)."""
    reflectance = ((band[0] <= NM) & (band[1] >= NM)) != all_but
    lightness, a, b = lab_of(reflectance.astype(float))
    limit = float(most_chroma(lightness, np.degrees(np.arctan2(b, a))))
    assert limit / 2 < np.hypot(a, b) <= limit


@pytest.mark.parametrize("lab", [(104.0, 1.0, 3.0), (60.0, 10.0, 190.0), (-4.0, 3.0, 0.0), (97.0, -90.0, 10.0)])
def test_colours_that_no_surface_has_are_brought_to_one_that_may_be(lab: tuple[float, float, float]) -> None:
    held = held_to_surfaces(lab)
    assert 0.0 <= held[0] <= 100.0
    assert np.hypot(*held[1:]) <= most_chroma(held[0], np.degrees(np.arctan2(held[2], held[1]))) + 1e-6
    assert not np.allclose(held, lab)
