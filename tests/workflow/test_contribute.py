"""A folder that a maker may give away holds card and window alone, and nothing that tells who, where or when."""

from __future__ import annotations

import io
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from curejournal.journal.store import Journal
from curejournal.photo.contribution import BLANK, give_picture
from curejournal.photo.find.tag import read_tags
from curejournal.photo.measure.measurement import measure
from curejournal.photo.read.picture_file import read_photo
from curejournal.workflow.photos import NothingToGive, contribute
from tests.photo.windows import drawn, window
from tests.rolls import CREAM, TAKEN, picture, take

SOAP = (78.0, 12.0, 20.0)


@pytest.fixture(scope="module")
def original() -> bytes:
    return drawn(SOAP, tag="CJ1:abc:batch-7", at=datetime(2026, 10, 3, 14, 30, tzinfo=UTC)).jpeg


def test_nothing_but_the_card_and_its_window_is_left(original: bytes) -> None:
    photo = read_photo(original)
    assert photo.taken is not None
    assert read_tags(photo).tags or read_tags(photo).others
    given = give_picture(photo, window(), 1)
    assert given is not None
    with Image.open(io.BytesIO(given.png)) as image:
        assert not image.info
        assert not image.getexif()
        pixels = np.asarray(image)
    assert (pixels[0] == BLANK).all()
    assert (pixels[:, 0] == BLANK).all()
    again = read_photo(given.png)
    assert again.taken is None
    assert not (read_tags(again).tags or read_tags(again).others), "the tag on the card names batch and journal"
    text = given.figures.decode()
    assert "2026" not in text
    assert "batch-7" not in text


def test_what_is_given_measures_the_same(original: bytes) -> None:
    given = give_picture(read_photo(original), window(), 1)
    assert given is not None
    figures = json.loads(given.figures)
    found = measure(read_photo(given.png), window())
    assert np.array(found.corners) == pytest.approx(np.array(figures["card"]["corners"]), abs=1.0)
    (kept,) = figures["window"]
    assert np.array(found.areas[0].sample.lab) == pytest.approx(np.array(kept["lab_d50"]), abs=0.5)


def test_a_picture_without_the_card_is_not_given() -> None:
    grey = io.BytesIO()
    Image.new("RGB", (800, 600), (120, 120, 120)).save(grey, "PNG")
    assert give_picture(read_photo(grey.getvalue()), window(), 1) is None


def test_a_batchs_pictures_are_written_with_a_statement_and_nothing_is_overwritten(
    kept: Journal, tmp_path: Path
) -> None:
    take(kept, ("a.jpg", picture(CREAM)), ("b.jpg", picture(CREAM, at=TAKEN + timedelta(days=1))))
    folder = tmp_path / "give"
    assert contribute(kept, "B-1", window(), folder) == 2
    assert {path.name for path in folder.iterdir()} == {
        "STATEMENT.txt",
        *(f"picture-00{number}.{kind}" for number in (1, 2) for kind in ("png", "json")),
    }
    with pytest.raises(NothingToGive, match="not an empty folder"):
        contribute(kept, "B-1", window(), folder)
    with pytest.raises(NothingToGive, match="No photo"):
        contribute(kept, "B-2", window(), tmp_path / "other")
    assert not (tmp_path / "other").exists()
