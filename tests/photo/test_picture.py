"""A whole photo in standard light: the card's own colours come out right, what was clipped is flagged."""

from __future__ import annotations

import io

import cv2
import numpy as np
import pytest
from PIL import Image
from skimage.color import deltaE_ciede2000

from curejournal.colour.spaces import lab_from_srgb
from curejournal.photo.calibrate.calibration import learn
from curejournal.photo.corrected_picture import CorrectedPicture, corrected_picture
from curejournal.photo.read.picture_file import read_photo
from tests.photo.windows import drawn, window
from tests.scenes import Rendered, card_named, draw_card


def corrected(picture: Rendered, **how: object) -> CorrectedPicture:
    photo = read_photo(picture.jpeg)
    made = corrected_picture(photo, learn(photo, window()), **how)
    assert made is not None
    return made


def pixels(made: CorrectedPicture) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(made.jpeg)).convert("RGB"))


@pytest.mark.parametrize("scene", [{"tint": (1.2, 1.0, 0.65)}, {"exposure_ev": -1.2}, {"uneven": 0.4}], ids=str)
def test_the_cards_colours_come_out_as_they_are(scene: dict[str, object]) -> None:
    picture = draw_card(card_named("window"), **{"exposure_ev": -0.3, **scene})
    shown = pixels(corrected(picture))
    corners = picture.corners["window"].astype(np.float32)
    w, h = card_named("window").size_mm
    to_card = cv2.getPerspectiveTransform(np.float32([[0, 0], [w, 0], [w, h], [0, h]]), corners)
    errors = []
    for patch in card_named("window").patches:
        middle = np.array([[[patch.x + patch.w / 2, patch.y + patch.h / 2]]])
        x, y = np.round(cv2.perspectiveTransform(middle, to_card)[0, 0]).astype(int)
        colour = np.median(shown[y - 3 : y + 4, x - 3 : x + 4].reshape(-1, 3), axis=0)
        errors.append(float(deltaE_ciede2000(lab_from_srgb(colour / 255), patch.lab_d50)))
    assert np.median(errors) < 1.5
    assert np.quantile(errors, 0.9) < 4


def test_it_has_no_exif_and_no_more_pixels_than_asked_for() -> None:
    made = corrected(drawn((88.0, 2.0, 14.0)), longest=640)
    with Image.open(io.BytesIO(made.jpeg)) as image:
        assert max(image.size) == 640
        assert dict(image.getexif()) == {}


def test_what_was_clipped_is_told_and_hatched() -> None:
    from tests.scenes import Faults

    burnt = draw_card(card_named("window"), exposure_ev=-0.3, faults=Faults(glare=(0.5, 0.5, 2.5), glare_radius=0.1))
    made = corrected(burnt, flag=True)
    assert 0.002 < made.clipped_share < 0.1
    assert "burnt out" in made.words
    hatched = (np.abs(pixels(made).astype(int) - (255, 0, 255)).max(axis=2) < 60).mean()
    assert hatched == pytest.approx(made.clipped_share / 2, rel=0.4)


def test_a_clean_picture_says_nothing_of_clipping() -> None:
    made = corrected(draw_card(card_named("window"), exposure_ev=-0.6))
    assert made.words == "In standard light."


def test_without_a_card_there_is_no_corrected_picture() -> None:
    photo = read_photo(draw_card(card_named("chart24"), exposure_ev=-0.3).jpeg)
    assert corrected_picture(photo, learn(photo, window())) is None
