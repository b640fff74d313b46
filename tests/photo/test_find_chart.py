"""A chart without markers is found wherever a person would see it, and nothing else is taken for it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from curejournal.photo.find.chart import ChartFound, look_for_chart
from tests import chart_pictures as pictures
from tests.chart_pictures import Photo, Shot, find_chart
from tests.scenes import card_named

CHART = card_named("chart24")
REAL = pictures.PHOTOS.exists()


def off_in_patches(found: ChartFound | None, truth: np.ndarray) -> float:
    """The worst corner's distance from the truth over the side of a patch; infinite if nothing was found."""
    if found is None:
        return np.inf
    side = np.linalg.norm(np.roll(truth, -1, axis=0) - truth, axis=1) / CHART_IN_PATCHES
    return float((np.linalg.norm(np.array(found.corners) - truth, axis=1) / side.min()).max())


CHART_IN_PATCHES = np.array([270, 178, 270, 178]) / 40


def photographed(shot: Shot, card=CHART, seed: int = 1, **sheet):
    return pictures.photographed(pictures.drawn_sheet(card, **sheet), card, shot, seed)


SHOTS = {
    "straight": Shot(),
    "upside down": Shot(turn=180),
    "on its side": Shot(turn=90),
    "turned by 37 degrees": Shot(turn=37),
    "tilted by 45 degrees": Shot(tilt=45, tilt_axis=20),
    "tilted and turned": Shot(turn=-130, tilt=40, tilt_axis=100),
    "small in the frame": Shot(size=(1600, 1200), width_px=95, noise=1.5),
    "filling the frame": Shot(width_px=950),
    "tungsten": Shot(tint=(1.6, 1.0, 0.3)),
    "blue shade": Shot(tint=(0.6, 0.9, 1.5)),
    "light falling off": Shot(slope=1.2),
    "haze": Shot(haze=0.3),
    "dark": Shot(exposure=0.12, noise=1),
    "bright, white clipped": Shot(exposure=1.6),
    "noisy": Shot(noise=12, jpeg=60),
    "blurred": Shot(blur_px=4),
    "flat tone curve": Shot(gamma=0.6),
}


@pytest.mark.parametrize("name", SHOTS)
def test_a_drawn_chart_is_found_to_a_tenth_of_a_patch(name):
    picture, truth = photographed(SHOTS[name])
    assert off_in_patches(find_chart(picture, CHART), truth) < 0.1


@pytest.mark.parametrize("fill", [0.68, 0.78, 0.88])
@pytest.mark.parametrize("ground", [15, 60, 240])
def test_gaps_and_ground_do_not_matter(fill, ground):
    picture, truth = photographed(Shot(turn=10, tilt=20), fill=fill, ground=ground)
    assert off_in_patches(find_chart(picture, CHART), truth) < 0.1


def test_a_large_picture_is_searched_for_a_small_chart():
    picture, truth = photographed(Shot(size=(3200, 2400), width_px=110, turn=80, noise=1, blur_px=0.6))
    assert off_in_patches(find_chart(picture, CHART), truth) < 0.15


def test_any_rectangular_card_will_do_even_with_empty_cells():
    # Every fourth patch is left out, as when it is kept to check the correction; the corners stay the card's own.
    some = replace(CHART, patches=tuple(p for number, p in enumerate(CHART.patches) if number % 4))
    picture, truth = photographed(Shot(turn=25, tilt=25))
    assert len(some.patches) == 18
    assert off_in_patches(find_chart(picture, some), truth) < 0.1
    colours = np.random.default_rng(5).integers(0, 256, (24, 3))
    other = pictures.fields_card(CHART, colours)
    picture, truth = photographed(Shot(turn=200), card=other)
    assert off_in_patches(find_chart(picture, other), truth) < 0.1
    assert find_chart(picture, CHART) is None


def test_a_leaf_on_two_patches_does_not_hide_the_chart_but_is_said():
    picture, truth = photographed(Shot(turn=0))
    step = (truth[1] - truth[0]) / 5.87
    left, right = (truth[0] + 0.9 * step).astype(int), (truth[0] + 2.95 * step).astype(int)
    picture[left[1] - 80 : right[1] + int(step[0]), left[0] : right[0]] = (60, 160, 60)
    found = find_chart(picture, CHART)
    assert off_in_patches(found, truth) < 0.15
    assert "lying on it" in found.reason


def test_a_card_whose_patches_make_no_lattice_is_refused_with_a_reason():
    picture, _ = photographed(Shot())
    window = card_named("window")
    assert find_chart(picture, window) is None
    assert look_for_chart(picture, window).code == "card without pattern"


@cache
def look_alikes():
    return dict(pictures.look_alikes(CHART, card_named("window"), seed=7))


@pytest.fixture(scope="module")
def drawn():
    """All are drawn here, not where the tests are listed: each worker lists them."""
    return {name: draw() for name, draw in look_alikes().items()}


@pytest.mark.parametrize("name", look_alikes())
def test_a_picture_without_the_chart_gives_none(name, drawn):
    assert find_chart(drawn[name], CHART) is None


def test_a_mirrored_chart_is_named_as_such():
    picture, _ = photographed(Shot(turn=30, tilt=20))
    refused = look_for_chart(np.ascontiguousarray(picture[:, ::-1]), CHART)
    assert refused.code == "card mirrored"


@pytest.mark.parametrize("covered", ["a row", "a column", "half"])
def test_a_chart_partly_covered_is_refused(covered):
    picture, truth = photographed(Shot(width_px=700))
    share = {"a row": (1, 0.27), "a column": (0.18, 1), "half": (0.5, 1)}[covered]
    low, high = truth.min(0) - 30, truth.max(0) + 30
    end = low + (high - low) * share
    cv2.rectangle(picture, np.rint(low).astype(int), np.rint(end).astype(int), (90, 140, 60), -1)
    assert find_chart(picture, CHART) is None


def test_a_chart_too_small_to_read_is_refused():
    picture, _ = photographed(Shot(size=(400, 300), width_px=45, blur_px=0.4, noise=1))
    assert find_chart(picture, CHART) is None


def test_grey_and_blank_pictures_are_no_trouble():
    assert find_chart(np.zeros((40, 30, 3), np.uint8), CHART) is None
    assert find_chart(np.full((900, 1200, 3), 255, np.uint8), CHART) is None


@pytest.fixture(params=["real"] if REAL else ["absent"])
def real() -> list[Photo]:
    return pictures.real_photos()


def test_every_real_chart_is_found_where_people_saw_it(real):
    # The corners of ../shared/photos are good to about a quarter of a patch; charts themselves are bent a little.
    for photo in real:
        if photo.corners is not None:
            assert off_in_patches(find_chart(photo.picture, CHART), photo.corners) < 0.45, photo.name


def test_other_cards_parts_and_charts_too_small_are_refused(real):
    for photo in real:
        if photo.corners is None:
            assert find_chart(photo.picture, CHART) is None, photo.name


@pytest.mark.parametrize("by", [None, "grass", "coffee"])
def test_a_real_chart_with_an_outer_row_or_column_under_something_is_refused(real, by):
    for photo in [photo for photo in real if photo.name in ("sheet-a-03.jpg", "scene-02.png")]:
        for line in ("first row", "last row", "first column", "last column"):
            assert find_chart(pictures.covered(photo, line, by), CHART) is None, (photo.name, line)


def test_real_charts_mirrored_cut_or_painted_over_are_refused(real):
    for photo in [photo for photo in real if photo.corners is not None][::4]:
        assert find_chart(pictures.mirrored(photo), CHART) is None, photo.name
        assert find_chart(pictures.painted_over(photo), CHART) is None, photo.name
        assert find_chart(pictures.cropped_through_chart(photo, 0.2), CHART) is None, photo.name
