"""Tags, intake and tray on the command line."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from pathlib import Path

import pytest
from PIL import Image

from curejournal.photo.find.tag import payload
from tests.cli.test_commands import as_json, run
from tests.photo.windows import drawn
from tests.scenes import Faults, Paint

TAKEN = datetime(2026, 9, 10, 9, 30)
CREAM = (88.0, 2.0, 14.0)


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    folder = tmp_path / "journal"
    run("batch", "start", "B-1", "--name", "Plain", "--at", "2026-09-01T10:00", journal=folder)
    return folder


def test_from_a_printed_tag_to_a_placed_photo(journal: Path, tmp_path: Path) -> None:
    printed = as_json("batch", "tags", "B-1", "--pdf", tmp_path / "tags.pdf", "--sheet", "a4-21", journal=journal)
    assert (tmp_path / "tags.pdf").read_bytes().startswith(b"%PDF")
    (label,) = printed["tags"]
    roll = tmp_path / "roll"
    roll.mkdir()
    (roll / "a.jpg").write_bytes(drawn(CREAM, tag=label["payload"], at=TAKEN).jpeg)
    (roll / "b.jpg").write_bytes(drawn(CREAM, at=TAKEN, seed=1).jpeg)
    (roll / "clip.mov").write_bytes(b"\0" * 20)
    arrived = as_json(
        "photo", "import", roll, "--workers", 1, "--zone", "Europe/Lisbon", "--behind", 5, journal=journal
    )
    assert [(row["name"], row["outcome"]) for row in arrived["photos"]] == [
        ("a.jpg", "placed"),
        ("b.jpg", "needs you"),
        ("clip.mov", "not a photo"),
    ]
    at = datetime.fromisoformat(arrived["photos"][0]["item"]["at"])
    assert at.astimezone(UTC) == datetime(2026, 9, 10, 8, 35, tzinfo=UTC)
    (waiting,) = as_json("photo", "inbox", journal=journal)["photos"]
    assert [question["kind"] for question in waiting["questions"]] == ["batch"]
    assert waiting["sha256"][:10] in run("photo", "inbox", journal=journal)
    placed = as_json("photo", "assign", waiting["sha256"][:10], "--batch", "B-1", journal=journal)
    assert placed["state"] == "placed"
    assert placed["colours"][0]["portion"] == "soap"
    assert as_json("photo", "inbox", journal=journal) == {"photos": []}
    hashes = [row["item"]["sha256"] for row in arrived["photos"][:2]]
    moved = as_json("photo", "clock", *hashes, "--zone", "UTC", journal=journal)
    assert {datetime.fromisoformat(row["at"]) for row in moved["photos"]} == {TAKEN.replace(tzinfo=UTC)}
    assert {row["outcome"] for row in as_json("photo", "import", roll, journal=journal)["photos"][:2]} == {
        "already there"
    }


def test_two_parts_of_a_portion_are_named_and_judged_apart(journal: Path, tmp_path: Path) -> None:
    gelled = Paint((74.0, 4.0, 22.0))
    (tmp_path / "a.jpg").write_bytes(drawn((84.0, 1.0, 14.0), at=TAKEN, gel=(gelled, 28.0, 23.0)).jpeg)
    run("photo", "import", tmp_path / "a.jpg", "--workers", 1, "--zone", "UTC", journal=journal)
    (waiting,) = as_json("photo", "inbox", journal=journal)["photos"]
    waits = run("photo", "assign", waiting["sha256"][:10], "--batch", "B-1", journal=journal)
    assert "Each is one of: soap, soap (gelled middle), soap (rim)" in waits
    both = ("--portion", "soap", "--portion", "soap (gelled middle)")
    placed = as_json("photo", "assign", waiting["sha256"][:10], "--batch", "B-1", *both, journal=journal)
    assert [colour["portion"] for colour in placed["colours"]] == ["soap", "soap (gelled middle)"]
    judged = as_json("judge", "B-1", journal=journal)
    assert list(judged["journeys"]) == ["soap", "soap (gelled middle)"]


def test_each_odd_file_of_a_camera_roll_has_its_answer(journal: Path, tmp_path: Path) -> None:
    (label,) = as_json("batch", "tags", "B-1", "--pdf", tmp_path / "tags.pdf", journal=journal)["tags"]
    tag, roll = label["payload"], tmp_path / "roll"
    roll.mkdir()
    good = drawn(CREAM, tag=tag, at=TAKEN).jpeg
    with Image.open(io.BytesIO(drawn(CREAM, tag=tag, seed=1).jpeg)) as image:
        image.crop((0, 0, image.width, image.width // 2)).save(roll / "IMG_3.PNG")
    files = {
        "IMG_1.JPG": good,
        "IMG_1.MOV": b"\x00\x00\x00\x20ftypqt  ",
        "clip.mp4": b"\x00\x00\x00\x20ftypisom",
        "IMG_E2.JPG": drawn(CREAM, tag=tag, seed=2).jpeg,
        "IMG_4.JPG": drawn(CREAM, tag=payload("OTHER2", "B-1"), at=TAKEN, seed=3).jpeg,
        "IMG_5.JPG": drawn(CREAM, tag=tag, at=TAKEN, seed=4, scene={"faults": Faults(mirrored=True)}).jpeg,
    }
    for name, data in files.items():
        (roll / name).write_bytes(data)
    said = {row["name"]: row for row in as_json("photo", "import", roll, "--workers", 1, journal=journal)["photos"]}
    for name, outcome, words in (
        ("IMG_1.JPG", "placed", ""),
        ("IMG_1.MOV", "not a photo", "moving part of a live photo"),
        ("clip.mp4", "not a photo", "a video"),
        ("IMG_E2.JPG", "needs you", "an edited copy"),
        ("IMG_3.PNG", "needs you", "a screenshot"),
        ("IMG_4.JPG", "needs you", "another journal"),
        ("IMG_5.JPG", "no colour", "mirrored"),
    ):
        assert said[name]["outcome"] == outcome, said[name]
        assert words in said[name]["why"]


def test_what_a_surface_looks_like_is_told_until_the_maker_notes_it(journal: Path, tmp_path: Path) -> None:
    """A photo that files itself is looked at by nobody: its spots have to be told where it is taken in."""
    (label,) = as_json("batch", "tags", "B-1", "--pdf", tmp_path / "tags.pdf", journal=journal)["tags"]
    spots = tuple((22.0 + 7 * k, 26.0, 2.0, Paint((74.0, 16.0, 40.0))) for k in range(3))
    photo = tmp_path / "a.jpg"
    photo.write_bytes(drawn(CREAM, tag=label["payload"], at=TAKEN, spots=spots).jpeg)
    told = run("photo", "import", photo, "--workers", 1, "--zone", "UTC", journal=journal)
    assert "a.jpg: placed B-1. Looks like 3 orange spots" in told
    assert "curejournal batch surface B-1" in told
    run("batch", "surface", "B-1", "orange spots", "--count", 3, "--at", "2026-09-10T12:00", journal=journal)
    assert "orange spots" not in run("photo", "import", photo, "--workers", 1, "--zone", "UTC", journal=journal)


def test_an_area_is_a_box_or_an_outline_of_any_corners(journal: Path, tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(drawn(CREAM, at=TAKEN).jpeg)
    places = ("box=740,560,860,640", "outline=740,560 860,560 880,600 860,640 740,640")
    read = as_json("measure", tmp_path / "a.jpg", "--card", "window", *[p for a in places for p in ("--area", a)])
    assert [area["name"] for area in read["areas"]] == ["box", "outline"]
    assert read["areas"][1]["lab"] == pytest.approx(read["areas"][0]["lab"], abs=0.5)
    (row,) = as_json("photo", "import", tmp_path / "a.jpg", "--workers", 1, journal=journal)["photos"]
    options = ("--batch", "B-1", "--area", "soap=740,560 860,560 880,600 860,640 740,640")
    placed = as_json("photo", "assign", row["item"]["sha256"], *options, journal=journal)
    assert len(placed["colours"][0]["outline"]) == 5


@pytest.mark.parametrize("area", ["soap=1,2 3,4", "soap=1,2 3,4 5", "1,2,3,4", "soap=a,b,c,d"])
def test_an_area_that_is_none_is_refused_with_an_example(tmp_path: Path, area: str) -> None:
    (tmp_path / "a.jpg").write_bytes(drawn(CREAM, at=TAKEN).jpeg)
    told = as_json("measure", tmp_path / "a.jpg", "--card", "window", "--area", area, code=1)
    assert "NAME=x0,y0,x1,y1" in told["error"]["do"]


def test_a_photo_is_set_aside(journal: Path, tmp_path: Path) -> None:
    (tmp_path / "b.jpg").write_bytes(drawn(CREAM, at=TAKEN).jpeg)
    (row,) = as_json("photo", "import", tmp_path / "b.jpg", "--workers", 1, journal=journal)["photos"]
    aside = as_json("photo", "assign", row["item"]["sha256"], "--aside", "a test shot", journal=journal)
    assert (aside["state"], aside["why"]) == ("set aside", "a test shot")


@pytest.mark.parametrize(
    "command",
    [
        ("batch", "tags", "B-9", "--pdf", "x.pdf"),
        ("batch", "tags", "B-1", "--pdf", "x.pdf", "--sheet", "a3"),
        ("batch", "tags", "B-1", "--pdf", "x.pdf", "--skip", "99"),
        ("photo", "assign", "abcdef"),
        ("photo", "clock", "abcdef"),
        ("photo", "import", ".", "--zone", "Nowhere/At/All"),
    ],
)
def test_what_cannot_be_done_is_said_and_nothing_changes(journal: Path, command: tuple[str, ...]) -> None:
    before = as_json("batch", "show", "B-1", journal=journal)
    assert "error" in as_json(*command, journal=journal, code=1)
    assert as_json("batch", "show", "B-1", journal=journal) == before
    assert not Path("x.pdf").exists()
