"""Inks that faded together are told at a card's first photo, and soap's interval says so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from curejournal.colour.sample import Grade
from curejournal.colour.spaces import lab_from_linear, linear_from_lab
from curejournal.photo.card import Card
from curejournal.photo.measure.measurement import Measurement, measure
from curejournal.photo.read.picture_file import read_photo
from tests.scene_items import Paint
from tests.scenes import card_named, draw_card

SOAP = (72.0, 14.0, 30.0)


def enrolled() -> Card:
    return replace(card_named("window"), kind="measured")


def photo_of(lost: float, **scene: object) -> Measurement:
    """A photo of the card after each ink lost a share of its density (Beer and Lambert), the paper none."""
    card, paper = enrolled(), linear_from_lab(np.array((100.0, 0.0, 0.0)))
    faded = {
        patch.id: Paint(
            tuple(lab_from_linear(paper * (linear_from_lab(np.array(patch.lab_d50)) / paper) ** (1 - lost)))
        )
        for patch in card.references
    }
    picture = draw_card(card, lab_in_window=SOAP, paints=faded, **{"exposure_ev": -0.4, **scene})
    return measure(read_photo(picture.jpeg), card)


@pytest.mark.parametrize("lost", [0.35, 0.5])
def test_a_faded_card_is_told_at_its_first_photo_and_nothing_is_called_measured(lost: float) -> None:
    """Path-traced, cards that lost 10 to 50% were called measured in 18 of 97 readings, and 63% of intervals held."""
    found = photo_of(lost)
    assert "card faded" in {reason.code for reason in found.reasons}
    assert found.areas[0].grade is Grade.INDICATIVE


@pytest.mark.parametrize(
    "scene", [{}, {"contrast": 0.3}, {"contrast": -0.1}, {"uneven": 0.3}, {"tint": (1.1, 1.0, 0.7)}]
)
def test_a_sound_card_is_not_called_faded_whatever_camera_and_light(scene: dict[str, object]) -> None:
    assert "card faded" not in {reason.code for reason in photo_of(0.0, **scene).reasons}


def test_what_nobody_says_the_patches_are_made_of_is_in_the_interval() -> None:
    """Without `made_of` intervals were narrower, and twice as much was called measured."""
    picture = read_photo(draw_card(enrolled(), lab_in_window=SOAP, exposure_ev=-0.4).jpeg)
    known, unknown = measure(picture, enrolled()), measure(picture, replace(enrolled(), made_of=""))
    assert all(wide > narrow for wide, narrow in zip(unknown.areas[0].sample.sd, known.areas[0].sample.sd, strict=True))
    assert "made of unknown" in {reason.code for reason in unknown.reasons}


def test_colours_by_a_card_of_unknown_colours_are_said_to_be_on_its_own_scale() -> None:
    picture = read_photo(draw_card(card_named("window"), lab_in_window=SOAP, exposure_ev=-0.4).jpeg)
    assert measure(picture, card_named("window")).is_relative
    assert not measure(picture, enrolled()).is_relative
