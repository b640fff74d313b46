"""A packet's key enrolled, a strip read beside the card and kept as an alkali test with its photo."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from curejournal.batch.records import AlkaliTest, Event
from curejournal.journal.errors import NotInJournal
from curejournal.journal.store import Journal
from curejournal.photo.placement import Points
from curejournal.photo.strip import StripUnreadable
from curejournal.workflow import enter
from curejournal.workflow.photos import Source
from curejournal.workflow.photos.strips import (
    NoColour,
    StripKey,
    as_test,
    enrol_strip_key,
    keep_strip,
    read_strip_photo,
    strip_key,
    strip_keys,
)
from tests.cli.test_commands import as_json
from tests.photo.strips import PADS, areas_of, beside_card, lab_at
from tests.photo.windows import window
from tests.scene_items import Paint

POURED = datetime(2026, 9, 1, tzinfo=UTC)
NOW = POURED + timedelta(days=40)
BY = "Kaja (invented)"


def photo_of(labs: dict[str, tuple[float, float, float]]) -> tuple[bytes, dict[str, Points]]:
    drawn = beside_card({name: Paint(lab) for name, lab in labs.items()})
    return drawn.jpeg, {area.name: area.outline for area in areas_of(drawn)}


@pytest.fixture(scope="module")
def key_photo() -> tuple[bytes, dict[str, Points]]:
    return photo_of({f"{ph:g}": lab for ph, lab in PADS.items()})


@pytest.fixture(scope="module")
def strip_photo() -> tuple[bytes, Points]:
    data, areas = photo_of({"pad": lab_at(9.3)})
    return data, areas["pad"]


def test_from_the_packets_key_to_a_kept_test(journal: Journal, key_photo, strip_photo) -> None:
    journal.start_batch("B-1", "Plain", at=POURED, by=BY, records=[Event("poured")])
    data, areas = key_photo
    key = enrol_strip_key(
        journal, data, window(), "half steps", "L-77", {float(ph): a for ph, a in areas.items()}, by="Ana"
    )
    assert strip_key(journal, "half steps") == key
    pad_data, pad = strip_photo
    read = read_strip_photo(pad_data, window(), key, pad, "L-77")
    assert read.ph == pytest.approx(9.3, abs=0.3)
    at = POURED + timedelta(days=30)
    source, read_test = Source("s.jpg", lambda: pad_data), as_test(read, 1.0)
    entry = keep_strip(journal, "B-1", source, read_test, at=at, by=BY, now=NOW, confirmed=True)
    twice = keep_strip(journal, "B-1", source, read_test, at=at, by=BY, now=NOW, confirmed=True)
    assert twice == entry
    ((when, test),) = journal.batch("B-1").records(AlkaliTest)
    assert (when, test.ph, test.half_width) == (at, read.ph, pytest.approx(read.half_width, abs=0.01))
    assert journal.photo_bytes(entry.photo) == pad_data
    with pytest.raises(StripUnreadable):
        read_strip_photo(pad_data, window(), key, pad, "L-78")
    assert read_strip_photo(pad_data, window(), key, pad, "l-77") == read
    enter(journal, "B-1", replace(test, ph=9.5), at=at, by=BY, now=NOW, supersedes=entry.id)
    (corrected,) = (e for e in journal.batch("B-1").entries if isinstance(e.record, AlkaliTest))
    assert (corrected.record.ph, corrected.photo) == (9.5, entry.photo)


def test_a_photo_that_gives_no_colour_is_refused_by_what_is_wrong_with_it(journal: Journal, key_photo) -> None:
    file = io.BytesIO()
    Image.new("RGB", (800, 600), (200, 190, 180)).save(file, "JPEG")
    data, areas = file.getvalue(), {float(ph): outline for ph, outline in key_photo[1].items()}
    key = StripKey("half steps", "L-77", "window", ())
    with pytest.raises(NoColour, match="The card “window” "):
        read_strip_photo(data, window(), key, areas[7.0], "L-77")
    with pytest.raises(NoColour, match="The card “window” "):
        enrol_strip_key(journal, data, window(), "half steps", "L-77", areas, by="Ana")
    assert strip_keys(journal) == {}


def test_an_unknown_key_is_said_to_be_unknown(journal: Journal) -> None:
    with pytest.raises(NotInJournal, match="Enrol it"):
        strip_key(journal, "none")


def test_the_command_line_enrols_reads_and_corrects(tmp_path: Path, key_photo, strip_photo) -> None:
    folder = tmp_path / "journal"
    as_json("batch", "start", "B-1", "--name", "Plain", "--at", "2026-09-01T10:00", journal=folder)

    def box(points: Points) -> str:
        xs, ys = np.sort(np.array(points), axis=0).T
        return f"{xs[1] + 2:.0f},{ys[1] + 2:.0f},{xs[2] - 2:.0f},{ys[2] - 2:.0f}"

    (tmp_path / "key.jpg").write_bytes(key_photo[0])
    (tmp_path / "strip.jpg").write_bytes(strip_photo[0])
    areas = [part for ph, points in key_photo[1].items() for part in ("--area", f"{ph}={box(points)}")]
    key = as_json("strip", "enrol", tmp_path / "key.jpg", "--name", "k", "--lot", "L", *areas, journal=folder)
    assert [step["ph"] for step in key["steps"]] == list(PADS)
    options = ["--key", "k", "--lot", "L", "--pad", box(strip_photo[1])]
    read = as_json("strip", "read", "B-1", tmp_path / "strip.jpg", *options, "--keep", "--confirmed", journal=folder)
    assert read["reading"]["ph"] == pytest.approx(9.3, abs=0.3)
    assert read["entry"]["record"]["method"] == "strip"
    made = as_json("photo", "correct", tmp_path / "strip.jpg", tmp_path / "out.jpg", "--longest", 320, journal=folder)
    assert made["clipped"] == pytest.approx(0, abs=0.01)
    assert (tmp_path / "out.jpg").read_bytes()[:2] == b"\xff\xd8"
