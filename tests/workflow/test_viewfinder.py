"""What a camera's view tells before the photo is taken."""

from __future__ import annotations

import io
from typing import Any

import pytest
from PIL import Image

from curejournal.photo.read.picture_file import PictureTooLarge
from curejournal.workflow import find_card
from curejournal.workflow.photos import Cards
from curejournal.workflow.photos.viewfinder import hint
from tests.scenes import draw_card

VIEW = (960, 720)


def test_a_small_file_that_holds_a_huge_picture_is_not_looked_at() -> None:
    made = io.BytesIO()
    Image.new("1", (9_000, 9_000)).save(made, "PNG")
    assert len(made.getvalue()) < 20_000
    with pytest.raises(PictureTooLarge):
        hint(made.getvalue(), Cards(find_card("window")))


@pytest.mark.parametrize("card", ["window", "chart24"])
def test_a_card_that_lies_well_is_ready(card: str) -> None:
    assert hint(draw_card(find_card(card), size=VIEW).jpeg, Cards(find_card(card)))[0]


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"exposure_ev": -5.0}, "Find more light"),
        ({"exposure_ev": -8.0}, "too dark to see the card"),
        ({"tilt_deg": 50.0}, "at a slant, 50°"),
        ({"exposure_ev": 1.5}, "white of the card is burnt out"),
        ({"offset": (0.6, 0.0)}, "outside the picture"),
        ({"offset": (3.0, 0.0)}, "No card is in sight"),
    ],
)
def test_what_would_spoil_the_photo_is_said(how: dict[str, Any], said: str) -> None:
    card = find_card("window")
    ready, words = hint(draw_card(card, size=VIEW, **how).jpeg, Cards(card))
    assert not ready
    assert said in words


@pytest.mark.parametrize(("exposure_ev", "ready"), [(0.0, True), (-5.0, False)])
def test_without_a_card_only_the_light_counts(exposure_ev: float, ready: bool) -> None:
    view = draw_card(find_card("window"), size=VIEW, exposure_ev=exposure_ev).jpeg
    assert hint(view, Cards(None))[0] is ready
