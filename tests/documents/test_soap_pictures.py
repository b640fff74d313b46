"""Photos are shown in the soap's true colour: with a card, and without one, by the soap itself."""

from __future__ import annotations

import io

import cv2
import numpy as np
import pytest
from PIL import Image

from curejournal.colour.difference import ciede2000
from curejournal.colour.spaces import lab_from_linear, linear_from_lab, linear_from_srgb, srgb_from_linear
from curejournal.documents.soap_pictures import View, soap_picture
from curejournal.documents.true_colour import Seen

SOAP, CREAM = (58.0, 20.0, -18.0), (86.0, 2.0, 14.0)
BOX = ((100.0, 80.0), (220.0, 80.0), (220.0, 220.0), (100.0, 220.0))
LAMP = np.array([1.0, 0.72, 0.42])
"""A lamp's light beside daylight, by channel, linear: about 3000 K. Ours."""


def photo(light: np.ndarray, exposure: float) -> bytes:
    """Two soaps on a grey cloth under some light."""
    linear = np.full((300, 400, 3), 0.2)
    linear[80:220, 100:220] = linear_from_lab(np.array(SOAP))
    linear[80:220, 220:340] = linear_from_lab(np.array(CREAM))
    file = io.BytesIO()
    shown = np.round(255 * srgb_from_linear(np.clip(linear * light * exposure, 0, 1))).astype(np.uint8)
    Image.fromarray(shown).save(file, "PNG")
    return file.getvalue()


def lab_at(picture: np.ndarray, x: float, y: float) -> np.ndarray:
    height, width = picture.shape[:2]
    return lab_from_linear(linear_from_srgb(picture[int(y * height), int(x * width)] / 255))


@pytest.mark.parametrize("exposure", [0.65, 0.8])
def test_a_photo_without_a_card_shows_the_soaps_measured_colour_and_with_it_the_others(exposure: float) -> None:
    view = View((Seen(BOX, SOAP),))
    before = soap_picture(photo(LAMP, exposure), View(), 400, whole=True)
    after = soap_picture(photo(LAMP, exposure), view, 400, whole=True)
    assert ciede2000(lab_at(before, 0.4, 0.5), np.array(SOAP)) > 8, "the lamp's light"
    assert ciede2000(lab_at(after, 0.4, 0.5), np.array(SOAP)) < 1.5
    assert ciede2000(lab_at(after, 0.7, 0.5), np.array(CREAM)) < 4, "the soap beside it, by 8 bits"


def test_the_balance_that_another_photo_lends_is_applied_as_it_is() -> None:
    shown = soap_picture(photo(LAMP, 0.7), View(), 400, whole=True, light=1.0 / LAMP)
    cloth = lab_at(shown, 0.05, 0.05)
    assert np.hypot(*cloth[1:]) < 2, "grey again"
    assert cloth[0] < 46, "as dark as it was taken"


def test_the_cut_holds_the_soap_and_nothing_but_it() -> None:
    whole = soap_picture(photo(np.ones(3), 1.0), View((Seen(BOX, SOAP),)), 400)
    assert whole.shape[1] < 400, "cut to the soap and some room"
    square = soap_picture(photo(np.ones(3), 1.0), View((Seen(BOX, SOAP),), focus=BOX), 400, 1.0)
    assert square.shape[0] == square.shape[1]
    assert ciede2000(lab_at(square, 0.5, 0.5), np.array(SOAP)) < 1.5


def test_through_a_tilted_card_the_cut_is_straight_and_the_same_at_every_tilt() -> None:
    window = np.array([(40, 30), (120, 30), (120, 80), (40, 80)], np.float32)
    card = np.array([(0, 0), (160, 0), (160, 110), (0, 110)], np.float32)
    flat = np.full((110, 160, 3), 240, np.uint8)
    flat[30:80, 40:80], flat[30:80, 80:120] = (120, 60, 60), (60, 60, 120)
    for turn in (0.0, 12.0, -20.0):
        to_photo = cv2.getRotationMatrix2D((80, 55), turn, 2.2)
        to_photo[:, 2] += (160, 120)
        laid = cv2.warpAffine(flat, to_photo, (480, 360), borderValue=(90, 90, 90))
        file = io.BytesIO()
        Image.fromarray(laid).save(file, "PNG")
        outline, corners = (cv2.transform(points[None], to_photo)[0] for points in (window, card))
        view = View((Seen(tuple(map(tuple, outline.tolist())), (20.0, 0.0, 0.0)),), tuple(map(tuple, corners.tolist())))
        cut = soap_picture(file.getvalue(), view, 200)
        height, width = cut.shape[:2]
        assert width / height == pytest.approx(80 / 50, abs=0.05)
        assert (
            cut[:, : width // 2 - 8].std(axis=(0, 1)).max() < 12
            and cut[:, width // 2 + 8 :].std(axis=(0, 1)).max() < 12
        )


def test_a_photo_is_turned_straightened_and_cut_as_the_maker_says() -> None:
    data = photo(np.ones(3), 1.0)
    assert soap_picture(data, View(turn_deg=90.0), 400).shape[:2] == (400, 300)
    half = soap_picture(data, View(crop=(0.25, 0.25, 0.55, 0.75)), 400)
    assert half.shape[:2] == (150, 120)
    assert ciede2000(lab_at(half, 0.5, 0.5), np.array(SOAP)) < 1.5
    level = soap_picture(data, View(turn_deg=5.0), 400)
    assert min(level.shape[:2]) > 240 and level.min() > 40, "no empty corners"
