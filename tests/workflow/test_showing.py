"""How photos of a batch are shown: in true colour, by the soap in them, or by the light. Nothing is measured."""

from __future__ import annotations

import io
from datetime import datetime, timedelta
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import ExifTags, Image

from curejournal.batch.records import Batch, ColourReading, PhotoNote, PhotoView, Portion
from curejournal.batch.validation import ImpossibleRecord
from curejournal.colour.difference import ciede2000
from curejournal.colour.spaces import lab_from_linear, linear_from_lab, linear_from_srgb, srgb_from_linear
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import Journal
from curejournal.workflow.photos.showing import (
    PlaceUnlikely,
    Shown,
    agreed,
    colour_of_that_day,
    comparable,
    cover,
    keep_view,
    shown_photos,
    true_picture,
)
from tests.ui.journals import NOW

FIRST, LAST = (46.0, 8.0, 12.0), (60.0, 16.0, -14.0)
PLACE = ((100.0, 60.0), (300.0, 60.0), (300.0, 240.0), (100.0, 240.0))
LAMP = np.array([1.0, 0.75, 0.5])


def picture(
    lab: tuple[float, float, float], light: np.ndarray, seed: int, camera: str = "", seconds: float = 0.0
) -> bytes:
    linear = np.full((300, 400, 3), 0.18)
    linear[60:240, 100:300] = linear_from_lab(np.array(lab))
    noise = np.random.default_rng(seed).normal(0, 0.002, linear.shape)
    file = io.BytesIO()
    shown = np.round(255 * srgb_from_linear(np.clip(linear * light * 0.8 + noise, 0, 1))).astype(np.uint8)
    tags = Image.Exif()
    if camera:
        tags[ExifTags.Base.Make], tags[ExifTags.Base.Model] = "Invented", camera
    if seconds:
        tags.get_ifd(ExifTags.IFD.Exif).update(
            {ExifTags.Base.ExposureTime: seconds, ExifTags.Base.FNumber: 1.8, ExifTags.Base.ISOSpeedRatings: 100}
        )
    Image.fromarray(shown).save(file, "PNG", exif=tags)
    return file.getvalue()


def reading(lab: tuple[float, float, float]) -> ColourReading:
    outline = "[[100,60],[300,60],[300,240],[100,240]]"
    covariance = ((0.3, 0.0, 0.0), (0.0, 0.3, 0.0), (0.0, 0.0, 0.3))
    return ColourReading("soap", lab, covariance, "measured", (), 5000, (1, 1, 1), "W-01", outline, (), "test")


def add(journal: Journal, at: datetime, data: bytes, lab: tuple[float, float, float] | None = None) -> str:
    photo = journal.keep_photo(data, PhotoFacts(".png", 400, 300, at, "exif", "x.png"))
    journal.add("B-1", PhotoNote(), at=at, by="Ann", photo=photo.sha256)
    if lab is not None:
        journal.add("B-1", reading(lab), at=at, by="Ann", photo=photo.sha256)
    return photo.sha256


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    journal = Journal.open(tmp_path / "journal")
    journal.start_batch("B-1", "Heather", at=NOW - timedelta(days=30), by="Ann", records=[Portion("soap")])
    add(journal, NOW - timedelta(days=20), picture(FIRST, np.ones(3), 1), FIRST)
    add(journal, NOW - timedelta(days=10), picture(LAST, np.ones(3), 2), LAST)
    return journal


def shown(batch: Batch, sha256: str) -> Shown:
    return next(one for one in shown_photos(batch) if one.sha256 == sha256)


def middle_of(jpeg: bytes) -> np.ndarray:
    pixels = cv2.cvtColor(cv2.imdecode(np.frombuffer(jpeg, np.uint8), 1), cv2.COLOR_BGR2RGB)
    height, width = pixels.shape[:2]
    return lab_from_linear(
        linear_from_srgb(
            np.median(pixels[height // 2 - 5 : height // 2 + 5, width // 2 - 5 : width // 2 + 5], (0, 1)) / 255
        )
    )


def test_the_colour_of_a_day_between_two_readings_lies_between_them(journal: Journal) -> None:
    batch = journal.batch("B-1")
    assert colour_of_that_day(batch, "soap", NOW - timedelta(days=15)) == pytest.approx((53.0, 12.0, -1.0))
    assert colour_of_that_day(batch, "soap", NOW) == pytest.approx(LAST)
    assert colour_of_that_day(batch, "other", NOW) is None


def test_a_photo_without_a_card_is_balanced_by_the_soaps_colour_of_that_day_and_gives_no_reading(
    journal: Journal,
) -> None:
    true = (53.0, 12.0, -1.0)
    sha256 = add(journal, NOW - timedelta(days=15), picture(true, LAMP, 3))
    before = len(journal.batch("B-1").of(ColourReading))
    assert shown(journal.batch("B-1"), sha256).words == "As it was taken"
    keep_view(journal, "B-1", sha256, PhotoView("soap", PLACE), by="Ann", now=NOW)
    found = shown(journal.batch("B-1"), sha256)
    assert found.words == "Balanced by the soap"
    assert ciede2000(middle_of(true_picture(journal, found, 400)), np.array(true)) < 1.5
    assert len(journal.batch("B-1").of(ColourReading)) == before, "nothing is measured from it"


def test_another_way_to_show_it_takes_the_place_of_the_first_and_both_stay_in_the_history(journal: Journal) -> None:
    sha256 = add(journal, NOW - timedelta(days=15), picture(LAST, LAMP, 3))
    keep_view(journal, "B-1", sha256, PhotoView(turn_deg=90.0), by="Ann", now=NOW)
    keep_view(journal, "B-1", sha256, PhotoView(crop=(0.1, 0.1, 0.9, 0.9), cover=True), by="Ann", now=NOW)
    (current,) = journal.batch("B-1").records(PhotoView)
    assert current[1].cover and current[1].turn_deg == 0.0
    assert sum(isinstance(entry.record, PhotoView) for entry in journal.history("B-1")) == 2


def test_a_place_that_cannot_be_the_portion_is_refused_and_nothing_changes(journal: Journal) -> None:
    sha256 = add(journal, NOW - timedelta(days=15), picture((8.0, 0.0, 0.0), LAMP, 4))
    with pytest.raises(PlaceUnlikely, match="too far from soap"):
        keep_view(journal, "B-1", sha256, PhotoView("soap", PLACE), by="Ann", now=NOW)
    assert not journal.batch("B-1").of(PhotoView)


@pytest.mark.parametrize(
    "view",
    [
        PhotoView("nobody", PLACE),
        PhotoView("soap", PLACE[:2]),
        PhotoView(crop=(0.5, 0.0, 0.4, 1.0)),
        PhotoView(crop=(-0.1, 0.0, 0.4, 1.0)),
        PhotoView(turn_deg=float("nan")),
    ],
)
def test_a_view_that_cannot_be_is_refused(journal: Journal, view: PhotoView) -> None:
    sha256 = add(journal, NOW - timedelta(days=15), picture(LAST, LAMP, 5))
    with pytest.raises(ImpossibleRecord):
        keep_view(journal, "B-1", sha256, view, by="Ann", now=NOW)


def test_a_photo_of_the_same_minutes_as_one_with_a_card_takes_its_white_balance_if_the_maker_says_so(
    journal: Journal,
) -> None:
    # A camera left to itself sets its white balance again each time: minutes apart, a soap came out pink.
    at = NOW - timedelta(days=3)
    add(journal, at, picture(LAST, LAMP, 6), LAST)
    near = add(journal, at + timedelta(minutes=4), picture(LAST, LAMP, 7))
    far = add(journal, at + timedelta(hours=2), picture(LAST, LAMP, 8))
    assert shown(journal.batch("B-1"), near).balance == "none", "not unasked"
    for photo in (near, far):
        keep_view(journal, "B-1", photo, PhotoView(same_light=True), by="Ann", now=NOW)
    batch = journal.batch("B-1")
    assert shown(batch, near).balance == "light" and shown(batch, far).balance == "none"
    seen = middle_of(true_picture(journal, shown(batch, near), 400))
    assert (
        np.hypot(*(seen[1:] - np.array(LAST)[1:]))
        < 4
        < np.hypot(*(middle_of(picture(LAST, LAMP, 7))[1:] - np.array(LAST)[1:]))
    )


def lent(journal: Journal, sha256: str) -> Shown:
    """How a photo without a card is shown, when both were looked at."""
    return agreed(journal, shown(journal.batch("B-1"), sha256))


def test_a_photo_of_the_same_minute_as_one_with_the_card_is_lent_its_balance_to_be_shown_by(journal: Journal) -> None:
    at = NOW - timedelta(days=3)
    add(journal, at, picture(LAST, LAMP, 6, "A", seconds=0.01), LAST)
    near = add(journal, at + timedelta(seconds=40), picture(LAST, LAMP, 7, "A", seconds=0.01))
    far = add(journal, at + timedelta(minutes=4), picture(LAST, LAMP, 8, "A"))
    readings = journal.batch("B-1").of(ColourReading)
    assert lent(journal, near).balance == "light" and lent(journal, far).balance == "none"
    seen = middle_of(true_picture(journal, lent(journal, near), 400))
    assert ciede2000(seen, np.array(LAST)) < 1.5 < 8 < ciede2000(middle_of(picture(LAST, LAMP, 7)), np.array(LAST))
    assert journal.batch("B-1").of(ColourReading) == readings, "nothing is measured from it"


def test_a_longer_exposure_is_taken_into_account_and_one_of_another_place_is_not(journal: Journal) -> None:
    at = NOW - timedelta(days=3)
    add(journal, at, picture(LAST, LAMP, 6, "A", seconds=0.01), LAST)
    longer = add(journal, at + timedelta(seconds=20), picture(LAST, 1.8 * LAMP, 7, "A", seconds=0.018))
    assert ciede2000(middle_of(true_picture(journal, lent(journal, longer), 400)), np.array(LAST)) < 1.5
    dark = add(journal, at + timedelta(seconds=30), picture(LAST, LAMP, 8, "A", seconds=0.08))
    assert lent(journal, dark).balance == "none"


@pytest.mark.parametrize(
    "other",
    [
        picture(LAST, LAMP, 7, "B"),
        picture(LAST, LAMP, 7),
        picture(LAST, LAMP[::-1], 7, "A"),
        picture((30.0, -30.0, 20.0), LAMP, 7, "A"),
    ],
    ids=["another camera", "no camera known", "balanced otherwise", "no such soap in it"],
)
def test_what_disagrees_is_lent_nothing_and_is_shown_and_said_as_it_was_taken(journal: Journal, other: bytes) -> None:
    at = NOW - timedelta(days=3)
    add(journal, at, picture(LAST, LAMP, 6, "A"), LAST)
    found = lent(journal, add(journal, at + timedelta(seconds=20), other))
    assert found.words == "As it was taken"
    assert middle_of(true_picture(journal, found, 400)) == pytest.approx(middle_of(other), abs=1.5)


def test_the_cover_is_the_makers_choice_then_the_latest_without_a_card_then_the_latest_measured(
    journal: Journal,
) -> None:
    measured = cover(shown_photos(journal.batch("B-1")), "soap")
    assert measured is not None and measured.at == NOW - timedelta(days=10)
    free = add(journal, NOW - timedelta(days=9), picture(LAST, LAMP, 9))
    keep_view(journal, "B-1", free, PhotoView("soap", PLACE), by="Ann", now=NOW)
    assert cover(shown_photos(journal.batch("B-1")), "soap").sha256 == free
    keep_view(journal, "B-1", measured.sha256, PhotoView(cover=True), by="Ann", now=NOW)
    assert cover(shown_photos(journal.batch("B-1")), "soap").sha256 == measured.sha256


def test_only_photos_that_show_the_same_are_laid_on_each_other(journal: Journal) -> None:
    both = comparable(shown_photos(journal.batch("B-1")), "soap")
    assert [one.at for one in both] == [NOW - timedelta(days=20), NOW - timedelta(days=10)]
    assert comparable(shown_photos(journal.batch("B-1")), "nobody") == ()
