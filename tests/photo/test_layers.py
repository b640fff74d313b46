"""Layers, swirls and what belongs to neither, found through the window of drawn photographs."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from curejournal.photo.analysis import analyse
from curejournal.photo.calibrate.calibration import learn
from curejournal.photo.measure.measurement import Measurement
from curejournal.photo.read.picture_file import read_photo
from curejournal.photo.window.layers import Layers
from curejournal.photo.window.rectified import PX_PER_MM, Flat
from curejournal.workflow.photos import Cards
from curejournal.workflow.photos.portions import Expected, Match, match
from tests.photo.windows import drawn, window
from tests.scene_items import Paint
from tests.scenes import Rendered, card_named, draw_card

CREAM, AMBER, BROWN, MINT = (88.0, 2.0, 14.0), (64.0, 16.0, 44.0), (36.0, 14.0, 20.0), (84.0, -10.0, 8.0)


def found_in(picture: Rendered) -> tuple[Layers, Measurement]:
    seen = analyse(picture.jpeg, Cards(window()))
    assert seen.layers is not None
    return seen.layers, seen.measurement


def errors(measured: Measurement, *labs: tuple[float, float, float]) -> list[float]:
    assert len(measured.areas) == len(labs)
    return [float(deltaE_ciede2000(a.sample.lab, lab)) for a, lab in zip(measured.areas, labs, strict=True)]


@pytest.mark.parametrize("labs", [(CREAM,), (CREAM, BROWN), (CREAM, AMBER, BROWN), (MINT, CREAM, AMBER, BROWN)])
@pytest.mark.parametrize("upright", [False, True])
def test_bands_are_found_in_their_order_and_measured(labs: tuple, upright: bool) -> None:
    layers, measured = found_in(drawn(*labs, upright_bands=upright, crumbs=10))
    assert layers.kind == ("bands" if len(labs) > 1 else "one")
    assert max(errors(measured, *labs)) < 1.0
    assert sum(layer.share for layer in layers.layers) == pytest.approx(1)


@pytest.mark.parametrize("turn", [-20, 25])
def test_bands_that_lie_askew_in_the_window_are_followed(turn: float) -> None:
    layers, measured = found_in(drawn(CREAM, AMBER, BROWN, turn_deg=turn))
    assert layers.kind == "bands"
    assert max(errors(measured, CREAM, AMBER, BROWN)) < 1.0


@pytest.mark.parametrize(("turn", "upright"), [(-12, False), (14, True), (14, False), (16, True)])
def test_a_band_of_which_a_wedge_is_seen_stays_one(turn: float, upright: bool) -> None:
    """Cut in two where the window ends in a wedge, its halves are each too small: they are one, not the neighbour's."""
    plum, rose = (37.0, 6.0, -12.0), (53.0, 29.0, 14.0)
    layers, measured = found_in(drawn(AMBER, BROWN, rose, plum, turn_deg=turn, upright_bands=upright))
    assert layers.kind == "bands"
    assert max(errors(measured, AMBER, BROWN, rose, plum)) < 1.0


def test_colours_a_just_visible_step_apart_are_two_layers_and_mottling_is_none() -> None:
    near = (84.5, 3.0, 18.0)
    assert len(found_in(drawn(CREAM, near))[0].layers) == 2
    assert len(found_in(drawn(CREAM, mottling=0.04))[0].layers) == 1


def test_uneven_light_is_no_layer() -> None:
    assert len(found_in(drawn(CREAM, scene={"uneven": 0.5}))[0].layers) == 1


@pytest.mark.parametrize("seed", range(3))
def test_both_colours_of_a_swirl_are_measured_whether_it_lies_in_rough_bands_or_not(seed: int) -> None:
    layers, measured = found_in(drawn(CREAM, BROWN, swirl_mm=11, seed=seed))
    assert len(layers.layers) == 2
    if seed == 0:
        assert layers.kind == "swirls"
    by_lightness = sorted(measured.areas, key=lambda area: -area.sample.lab[0])
    assert deltaE_ciede2000(by_lightness[0].sample.lab, CREAM) < 1.0
    assert deltaE_ciede2000(by_lightness[1].sample.lab, BROWN) < 1.5


@pytest.mark.parametrize("seed", range(3))
def test_embeds_are_left_out_of_a_portions_colour(seed: int) -> None:
    layers, measured = found_in(drawn(CREAM, AMBER, embeds=(Paint(BROWN), Paint(MINT), Paint(BROWN)), seed=seed))
    assert len(layers.layers) == 2
    assert max(errors(measured, CREAM, AMBER)) < 1.0


RIM, GELLED = (84.0, 1.0, 14.0), Paint((74.0, 4.0, 22.0))


@pytest.mark.parametrize("gelled", [GELLED, Paint((64.0, 8.0, 30.0))])
def test_a_gelled_middle_and_its_rim_are_told_by_how_they_lie(gelled: Paint) -> None:
    """The pale rim was taken for a film on the gelled middle, and thrown away."""
    layers, measured = found_in(drawn(RIM, gel=(gelled, 32.0, 26.0)))
    assert [layer.form for layer in layers.layers] == ["rim", "middle"]
    assert layers.unclear == 0, "the soft seam between the two is no third colour"
    assert max(errors(measured, RIM, gelled.lab)) < 1.0


def test_lines_of_another_colour_are_told_by_how_they_lie() -> None:
    rose, white = (64.0, 26.0, 8.0), Paint((94.0, 0.5, 4.0))
    layers, _ = found_in(drawn(rose, veins=(white, 3.0)))
    assert sorted((layer.form, layer.film) for layer in layers.layers) == [("patches", False), ("veins", True)]


@pytest.mark.parametrize(("face", "relief"), [(RIM, 0.25), (RIM, 0.4), ((45.0, 14.0, 24.0), 0.4)])
def test_a_stamped_face_is_one_colour_and_no_question(face: tuple, relief: float) -> None:
    layers, measured = found_in(drawn(face, stamp=relief))
    assert match(layers, [Expected("soap")]) == Match(("soap",), 1.0)
    assert max(errors(measured, face)) < 1.0
    assert not measured.areas[0].reasons


def test_an_outline_with_pieces_and_holes_fills_to_the_mask_it_came_from() -> None:
    picture = draw_card(card_named("window"), exposure_ev=-0.3)
    calibration = learn(read_photo(picture.jpeg), window())
    mask = np.zeros((120, 160), np.uint8)
    cv2.rectangle(mask, (10, 10), (70, 90), 1, -1)
    cv2.circle(mask, (40, 50), 14, 0, -1)
    cv2.circle(mask, (120, 60), 25, 1, -1)
    flat = Flat(np.zeros((120, 160, 3)), np.zeros((120, 160), bool), window().window, calibration)
    outline = calibration.placement.to_mm(np.array(flat.outline(mask.astype(bool))))
    back = (outline - (flat.rect.x, flat.rect.y)) * PX_PER_MM - 0.5
    filled = cv2.fillPoly(np.zeros_like(mask), [np.round(back).astype(np.int32)], (1,))
    assert (filled != mask).mean() < 0.02


def test_without_a_card_there_are_no_layers() -> None:
    photo = draw_card(card_named("chart24"), exposure_ev=-0.3).jpeg
    assert analyse(photo, Cards(window())).layers is None
