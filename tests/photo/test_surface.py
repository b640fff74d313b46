"""Spots, film, mottling and a gel ring are seen and measured, and a clear surface is called nothing."""

from __future__ import annotations

import numpy as np
import pytest

from curejournal.photo.analysis import analyse
from curejournal.photo.window.surface import Finding
from curejournal.workflow.photos import Cards, PhotoAnalysis
from tests.photo.windows import drawn, window
from tests.scene_items import Paint

BASES = {
    "cream": (88.0, 2.0, 14.0),
    "amber": (64.0, 16.0, 44.0),
    "mint": (84.0, -10.0, 8.0),
    "brown": (36.0, 14.0, 20.0),
    "pink": (76.0, 18.0, 6.0),
}
ASH = Paint((94.0, 0.5, 4.0))
SPOTS = ((22.0, 20.0), (35.0, 32.0), (47.0, 18.0), (50.0, 34.0))


def seen(*labs: tuple[float, float, float], **soap: object) -> tuple[PhotoAnalysis, dict[str, Finding]]:
    found = analyse(drawn(*labs, **soap).jpeg, Cards(window()))
    return found, {finding.kind: finding for finding in found.surface}


def orange_on(lab: tuple[float, float, float]) -> Paint:
    return Paint((lab[0] - 10, lab[1] + 10, lab[2] + 20))


@pytest.mark.parametrize("base", BASES)
def test_a_clear_surface_with_crumbs_and_slight_mottling_is_called_nothing(base: str) -> None:
    assert seen(BASES[base], crumbs=12, mottling=0.025)[1] == {}


@pytest.mark.parametrize("base", ["cream", "amber", "mint", "pink"])
@pytest.mark.parametrize("diameter", [1.0, 2.5])
def test_orange_spots_are_counted_and_their_area_told_by_the_cards_scale(base: str, diameter: float) -> None:
    spots = tuple((x, y, diameter, orange_on(BASES[base])) for x, y in SPOTS)
    finding = seen(BASES[base], spots=spots, crumbs=8)[1]["orange spots"]
    assert finding.count == len(SPOTS)
    assert finding.area_mm2 == pytest.approx(len(SPOTS) * np.pi / 4 * diameter**2, rel=0.3, abs=0.6)
    assert finding.words.startswith("Looks like")
    assert finding.share == pytest.approx(finding.area_mm2 / (50 * 37 * 0.88**2), rel=0.1)


def test_an_outline_lies_round_each_spot_in_the_picture() -> None:
    x, y = SPOTS[0]
    finding = seen(BASES["cream"], spots=((x, y, 2.0, orange_on(BASES["cream"])),))[1]["orange spots"]
    # The soap's middle is the picture's; the view is 210 mm wide on 1600 px.
    centre = np.array([800 + (x - 35) * 1600 / 210, 600 + (y - 26) * 1600 / 210])
    assert np.array(finding.outlines[0]).mean(axis=0) == pytest.approx(centre, abs=4)


@pytest.mark.parametrize("base", BASES)
@pytest.mark.parametrize("share", [0.15, 0.35])
def test_white_film_is_told_as_a_share(base: str, share: float) -> None:
    finding = seen(BASES[base], film=(ASH, share))[1]["white film"]
    assert finding.share == pytest.approx(share, abs=0.12)
    assert finding.outlines


def test_a_film_is_no_portion_and_does_not_touch_the_soaps_colour() -> None:
    found, _ = seen(BASES["amber"], film=(ASH, 0.25))
    bare = [area for area, layer in zip(found.measurement.areas, found.layers.layers, strict=True) if not layer.film]
    assert len(bare) == 1
    assert bare[0].sample.lab == pytest.approx(BASES["amber"], abs=1.5)


def test_layers_and_swirls_are_no_film_spots_or_mottling() -> None:
    assert seen(BASES["cream"], BASES["amber"], BASES["brown"], crumbs=8)[1] == {}
    assert seen(BASES["amber"], BASES["brown"], swirl_mm=9)[1] == {}


@pytest.mark.parametrize("bright", [0.82, 1.15])
def test_a_gel_ring_is_told_from_mottling(bright: float) -> None:
    found = seen(BASES["pink"], ring=(0.45, bright))[1]
    assert list(found) == ["gel ring"]
    assert found["gel ring"].strength > 3
    assert ("darker" if bright < 1 else "lighter") in found["gel ring"].words


def test_strong_mottling_is_told_as_unevenness() -> None:
    assert list(seen(BASES["cream"], mottling=0.1)[1]) == ["mottling"]


def test_uneven_light_is_no_ring_and_no_mottling() -> None:
    assert seen(BASES["cream"], scene={"uneven": 0.5})[1] == {}


@pytest.mark.parametrize("petal", [(66.0, 32.0, 70.0), (60.0, 25.0, 50.0)])
@pytest.mark.parametrize("seed", range(3))
def test_petals_are_no_spots(petal: tuple[float, float, float], seed: int) -> None:
    """Marigold petals were counted as orange spots: long, narrow, or of a colour that no rancid oil has."""
    assert seen((84.0, 2.0, 16.0), petals=(Paint(petal),) * 7, seed=seed)[1] == {}


def test_a_gelled_middle_is_a_gel_ring_and_its_rim_is_no_film() -> None:
    findings = seen((84.0, 1.0, 14.0), gel=(Paint((74.0, 4.0, 22.0)), 32.0, 26.0))[1]
    assert list(findings) == ["gel ring"]
    assert findings["gel ring"].share == pytest.approx(0.45, abs=0.05)


@pytest.mark.parametrize("share", [0.6, 0.7])
def test_what_covers_most_of_the_window_is_not_called_a_film_unasked(share: float) -> None:
    assert "white film" not in seen(BASES["amber"], film=(ASH, share))[1]
