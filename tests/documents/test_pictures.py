"""Pictures for a page: small, upright, without the photographer's data; what was found is drawn where it is."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from curejournal import workflow
from curejournal.colour.sample import Grade
from curejournal.documents import pictures
from curejournal.photo.read.picture_file import read_photo
from curejournal.workflow.demo import pictures_folder

WINDOW = (pictures_folder() / "chamomile-8.jpg").read_bytes()


def opened(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data))


@pytest.mark.parametrize("longest", [64, 640, 1200])
def test_a_small_picture_has_the_longest_side_asked_for_and_the_photos_shape(longest: int) -> None:
    photo = read_photo(WINDOW)
    picture = opened(pictures.small(photo, longest))
    assert max(picture.size) == longest
    assert picture.size[0] / picture.size[1] == pytest.approx(photo.width / photo.height, rel=0.03)


def test_a_photo_smaller_than_asked_for_is_not_blown_up() -> None:
    file = io.BytesIO()
    Image.new("RGB", (40, 30), "tan").save(file, "PNG")
    assert opened(pictures.small(read_photo(file.getvalue()), 640)).size == (40, 30)


def test_a_small_picture_carries_no_exif() -> None:
    assert opened(WINDOW).getexif()
    assert not opened(pictures.small(read_photo(WINDOW), 640)).getexif()


def test_a_small_picture_is_upright() -> None:
    file = io.BytesIO()
    exif = Image.Exif()
    exif[0x0112] = 6  # to be turned by 90 degrees: TIFF 6.0, tag Orientation
    Image.new("RGB", (80, 40), "tan").save(file, "JPEG", exif=exif)
    picture = opened(pictures.small(read_photo(file.getvalue()), 640))
    assert picture.size == (40, 80)


def test_the_card_and_the_area_are_drawn_where_they_were_found() -> None:
    photo = read_photo(WINDOW)
    measurement = workflow.measure_photo(WINDOW, workflow.find_card("window"))
    plain = np.asarray(opened(pictures.small(photo, 1000)), float)
    drawn = np.asarray(opened(pictures.marked(photo, measurement, 1000)), float)
    changed = np.abs(plain - drawn).max(axis=2) > 60
    scale = 1000 / photo.width
    for outline in (measurement.corners, measurement.areas[0].outline):
        for x, y in outline:
            column, row = round(x * scale), round(y * scale)
            assert changed[max(row - 4, 0) : row + 5, max(column - 4, 0) : column + 5].any()
    assert changed.mean() < 0.05, "the rest of the picture is left alone"


@pytest.mark.parametrize(("limit", "crossed"), [(Grade.NOT_USABLE, True), (Grade.INDICATIVE, False)])
def test_an_unusable_place_is_crossed_and_a_doubtful_one_outlined(limit: Grade, crossed: bool) -> None:
    photo = read_photo(WINDOW)
    measurement = workflow.measure_photo(WINDOW, workflow.find_card("window"))
    place = ((100.0, 100.0), (300.0, 100.0), (300.0, 300.0), (100.0, 300.0))
    another = tuple((x + 400, y) for x, y in place)
    fault = workflow.measure_photo(WINDOW, workflow.find_card("chart24")).reasons[0]
    marked = replace(measurement, reasons=(replace(fault, limit=limit, outlines=(place, another)),))
    one = np.asarray(opened(pictures.marked(photo, replace(measurement, reasons=()), photo.width)), float)
    two = np.asarray(opened(pictures.marked(photo, marked, photo.width)), float)
    for x in (200, 600):
        crossing = np.abs(one - two).max(axis=2)[195:206, x - 5 : x + 6]
        assert (crossing.max() > 60) == crossed, "the middle of the place, where the lines cross"
        assert np.abs(one - two).max(axis=2)[95:106, x - 5 : x + 6].max() > 60, "its edge"
