"""A month of pictures dropped in: the journal fills itself, and what it cannot tell, it asks."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from functools import cache
from pathlib import Path

import pillow_heif
import pytest
from PIL import Image

from curejournal import workflow
from curejournal.batch.records import ColourReading, PhotoNote
from curejournal.journal.store import Journal
from curejournal.photo.card import Rect
from curejournal.photo.find.tag import payload
from curejournal.workflow.photos import (
    ALL,
    Clock,
    Progress,
    Source,
    files_in,
    import_photos,
    inbox_items,
    journal_id,
    tag_text,
)
from tests.photo.windows import drawn, taken, window
from tests.rolls import BROWN, BY, CREAM, HOME, NOW, OURS, POURED, TAKEN, asked, picture, put, readings, take
from tests.scenes import Faults, Laid, Paint, Place, Scene, Soap, View, card_named, draw_card, render

# --- placed ----------------------------------------------------------------------------------


def test_a_photo_with_a_tag_a_date_and_a_card_places_itself(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM)))
    assert (one.outcome, one.why) == ("placed", "")
    (note,) = kept.batch("B-1").of(PhotoNote)
    assert note.at == TAKEN
    assert readings(kept, "B-1")["soap"] == pytest.approx(CREAM, abs=1.0)
    assert kept.photo_bytes(one.item.sha256) == picture(CREAM)
    assert inbox_items(kept, window(), NOW) == ()


def test_layers_are_named_by_their_target_colours_whichever_way_up(kept: Journal) -> None:
    take(kept, ("a.jpg", picture(CREAM, BROWN, code="B-2")))
    assert readings(kept, "B-2")["top"] == pytest.approx(CREAM, abs=1.5)
    take(kept, ("b.jpg", picture(BROWN, CREAM, code="B-2", at=TAKEN + timedelta(days=1))))
    assert readings(kept, "B-2")["top"] == pytest.approx(CREAM, abs=1.5)
    assert readings(kept, "B-2")["base"] == pytest.approx(BROWN, abs=1.5)


def test_the_same_photo_twice_is_one_photo(kept: Journal) -> None:
    twice = take(kept, ("a.jpg", picture(CREAM)), ("copy of a.jpg", picture(CREAM)))
    assert [arrival.outcome for arrival in twice] == ["placed", "already there"]
    before = kept.history("B-1")
    assert take(kept, ("a.jpg", picture(CREAM)))[0].outcome == "already there"
    assert kept.history("B-1") == before


def test_photos_are_placed_in_the_order_in_which_they_were_taken(kept: Journal) -> None:
    """The first tells the colours by which the second is told, so the later comes later whatever its name."""
    later = picture(CREAM, seed=1, at=TAKEN + timedelta(days=3))
    steps: list[Progress] = []
    after, before = take(kept, ("a.jpg", later), ("b.jpg", picture(CREAM)), progress=steps.append)
    entered = [entry.photo for entry in kept.history("B-1") if isinstance(entry.record, ColourReading)]
    assert entered == [before.item.sha256, after.item.sha256]
    assert [(step.done, step.total) for step in steps] == [(1, 2), (2, 2)]


def test_a_folder_is_taken_in_by_two_workers(kept: Journal, tmp_path: Path) -> None:
    folder = tmp_path / "roll"
    (folder / "more").mkdir(parents=True)
    (folder / "a.jpg").write_bytes(picture(CREAM))
    (folder / "more" / "b.jpg").write_bytes(picture(CREAM, BROWN, code="B-2"))
    (folder / ".hidden.jpg").write_bytes(b"of a computer's own")
    sources = files_in([folder])
    assert [source.name for source in sources] == ["a.jpg", "b.jpg"]
    arrivals = import_photos(kept, sources, card=window(), by=BY, now=NOW, clock=Clock(HOME), workers=2)
    assert [arrival.outcome for arrival in arrivals] == ["placed", "placed"]


def test_a_photo_without_a_colour_is_kept_with_the_reason(kept: Journal) -> None:
    tag = tag_text(kept, "B-1")
    burnt = drawn(CREAM, tag=tag, at=TAKEN, scene={"exposure_ev": 1.6}).jpeg
    (one,) = take(kept, ("a.jpg", burnt))
    assert one.outcome == "no colour"
    assert "burnt" in one.why
    ((_, note),) = kept.batch("B-1").records(PhotoNote)
    assert note.why_no_colour == one.why


# --- needs you -------------------------------------------------------------------------------


def test_without_a_tag_the_batch_is_asked_and_one_call_places_it(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM, code="")))
    assert asked(one) == {"batch"}
    assert [item.sha256 for item in inbox_items(kept, window(), NOW)] == [one.item.sha256]
    placed = put(kept, one.item, batch="B-1")
    assert (placed.state, placed.batch) == ("placed", "B-1")
    assert "soap" in readings(kept, "B-1")
    assert inbox_items(kept, window(), NOW) == ()


@pytest.mark.parametrize(
    ("of", "code", "words"), [("OTHER2", "B-1", "another journal"), (OURS, "B-9", "no such batch")]
)
def test_a_tag_that_is_not_ours_or_not_known_files_nothing(kept: Journal, of: str, code: str, words: str) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM, code=code, of=of)))
    assert asked(one) == {"batch"}
    assert words in one.why
    assert readings(kept, "B-1") == {}


def test_a_photo_whose_batch_is_started_later_goes_there_with_the_next_intake(kept: Journal) -> None:
    take(kept, ("a.jpg", picture(CREAM, code="B-9")))
    kept.start_batch("B-9", "Late", at=POURED, by=BY)
    assert take(kept, ("a.jpg", picture(CREAM, code="B-9")))[0].outcome == "placed"


@cache
def two_tags(on_card: bool) -> bytes:
    """Two tags side by side on the bench, or one on the card and another batch's behind it."""
    card, white = card_named("window"), Paint((100.0, 0.0, 0.0))
    bare = replace(card, size_mm=(30.0, 30.0), patches=(), markers=(), window=None, slots={"tag": Rect(4, 4, 22, 22)})

    def label(code: str, x: float) -> Laid:
        return Laid(replace(bare, name=code), Place(x, -75.0), paper=white, slot_texts={"tag": payload(OURS, code)})

    laid = Laid(card, Place(), paper=white, slot_texts={"batch_tag": payload(OURS, "B-1")} if on_card else {})
    labels = [label("B-2", -60.0)] + ([] if on_card else [label("B-1", 60.0)])
    bar = Soap((("soap", Paint(CREAM)),), (70.0, 52.0))
    scene = Scene((bar, laid, *labels), view=View((0.0, -20.0), 240.0), exposure_ev=-0.3, size=(2000, 1500))
    return render(scene, 0, taken(TAKEN)).jpeg


def test_two_tags_are_asked_about(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", two_tags(on_card=False)))
    assert asked(one) == {"batch"}
    (question,) = one.item.questions
    assert set(question.choices) == {"B-1", "B-2"}


@cache
def far_tag(side_mm: float) -> bytes:
    """The card without a tag over soap, and behind it another batch's tag, as small as the distance makes it."""
    card, white = card_named("window"), Paint((100.0, 0.0, 0.0))
    slot = Rect(side_mm / 4, side_mm / 4, side_mm, side_mm)
    bare = replace(
        card, size_mm=(1.5 * side_mm,) * 2, patches=(), markers=(), window=None, slots={"tag": slot}, name="label"
    )
    label = Laid(bare, Place(-30.0, -70.0), paper=white, slot_texts={"tag": payload(OURS, "B-2")})
    bar = Soap((("soap", Paint(CREAM)),), (70.0, 52.0))
    laid = Laid(card, Place(), paper=white)
    scene = Scene((bar, laid, label), view=View((0.0, -10.0), 220.0), exposure_ev=-0.3, size=(3200, 2400))
    return render(scene, 0, taken(TAKEN)).jpeg


def test_a_lone_tag_far_behind_the_card_files_nothing_unasked(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", far_tag(8.5)))
    assert asked(one) == {"batch"}
    assert "far behind" in one.why
    assert one.item.questions[0].choices == ("B-2",)
    assert put(kept, one.item, batch="B-1").batch == "B-1"
    (near,) = take(kept, ("b.jpg", far_tag(20.0)))
    assert near.item.batch == "B-2"


def test_a_tag_on_the_card_counts_and_another_batchs_tag_in_the_background_does_not(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", two_tags(on_card=True)))
    assert (one.outcome, one.item.batch) == ("placed", "B-1")


def test_without_a_date_it_is_asked_and_the_file_s_own_date_is_no_proof(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM, at=None)))
    assert asked(one) == {"date"}
    assert [colour.portion for colour in one.item.colours] == ["soap"], "what needs no date is told without one"
    assert put(kept, one.item, at=TAKEN).state == "placed"
    assert kept.batch("B-1").of(PhotoNote)[0].at == TAKEN


@pytest.mark.parametrize("at", [NOW + timedelta(days=3), POURED - timedelta(days=400), datetime(2000, 1, 1)])
def test_a_clock_that_is_plainly_wrong_is_asked_about(kept: Journal, at: datetime) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM, at=at)))
    assert asked(one) == {"date"}
    assert "plainly wrong" in one.why


def test_a_wrong_clock_of_another_zone_is_told_with_its_distance_from_utc(kept: Journal) -> None:
    """Noon there is not noon here: without it the time would not be the one that the camera wrote."""
    workflow.keep_settings(kept, zone="Europe/Berlin")
    far = datetime(2026, 12, 1, 9, 30, tzinfo=timezone(timedelta(hours=9)))
    (one,) = take(kept, ("a.jpg", picture(CREAM, at=far)))
    assert "1 Dec 2026, 09:30 (UTC+9) lies in the future" in one.why
    (two,) = take(kept, ("b.jpg", picture(CREAM, at=POURED - timedelta(days=3))))
    assert "29 Aug 2026, 10:00 is before the pour" in two.why


def test_a_colour_unlike_the_batch_is_asked_about_and_kept_once_confirmed(kept: Journal) -> None:
    take(kept, ("a.jpg", picture(CREAM)))
    (odd,) = take(kept, ("b.jpg", picture((40.0, 40.0, -20.0), at=TAKEN + timedelta(hours=1))))
    assert asked(odd) == {"colour"}
    assert len(kept.batch("B-1").of(ColourReading)) == 1
    assert put(kept, odd.item, confirmed=ALL).state == "placed"


def test_layers_that_nothing_tells_apart_are_asked_about_with_a_proposal(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM, BROWN, code="B-3", at=TAKEN)))
    assert asked(one) == {"portions"}
    assert [colour.portion for colour in one.item.colours] == ["a", "b"]
    assert put(kept, one.item, portions=("b", "a")).state == "placed"
    assert readings(kept, "B-3")["b"] == pytest.approx(CREAM, abs=1.5)


def test_a_colour_that_is_no_portion_is_left_out_by_an_empty_name(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM, BROWN)))
    assert asked(one) == {"portions"}
    put(kept, one.item, portions=("soap", ""))
    assert list(readings(kept, "B-1")) == ["soap"]


def test_after_one_answer_the_next_photo_of_the_batch_needs_none(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM, BROWN, code="B-3")))
    put(kept, one.item, portions=("a", "b"))
    later = picture(BROWN, CREAM, code="B-3", at=TAKEN + timedelta(days=2))
    assert take(kept, ("b.jpg", later))[0].outcome == "placed"


# --- bad input -------------------------------------------------------------------------------

VIDEO = b"\x00\x00\x00\x20ftypqt  " + b"\x00" * 64


def test_a_video_is_left_out_and_the_photo_of_a_live_pair_taken_in(kept: Journal) -> None:
    arrivals = take(kept, ("IMG_1.JPG", picture(CREAM)), ("IMG_1.MOV", VIDEO), ("clip.mp4", VIDEO), ("odd.jpg", VIDEO))
    assert [arrival.outcome for arrival in arrivals] == ["placed", "not a photo", "not a photo", "not a photo"]
    assert "live photo" in arrivals[1].why
    assert "video" in arrivals[2].why
    assert "video" in arrivals[3].why


@pytest.mark.parametrize(
    "data",
    [b"", b"hello", picture(CREAM)[:5000], picture(CREAM)[:-20_000]],
    ids=["empty", "no image", "truncated", "its end missing"],
)
def test_what_is_no_whole_photo_is_left_out_and_nothing_is_kept(kept: Journal, data: bytes) -> None:
    (one, other, copy) = take(kept, ("a.jpg", data), ("b.jpg", picture(CREAM)), ("copy of a.jpg", data))
    assert (one.outcome, copy.outcome) == ("not a photo", "not a photo")
    assert one.why and copy.why == one.why and copy.name == "copy of a.jpg"
    assert other.outcome == "placed"
    assert kept.unfiled_photos() == ()


def test_a_file_is_read_once_and_one_that_is_gone_stops_no_other(kept: Journal) -> None:
    reads = []

    def once() -> bytes:
        reads.append("b.jpg")
        return picture(CREAM, seed=1)

    def gone() -> bytes:
        raise OSError(5, "Input/output error")

    sources = [Source("a.jpg", gone), Source("b.jpg", once)]
    missing, other = import_photos(kept, sources, card=window(), by=BY, now=NOW, clock=Clock(HOME), workers=1)
    assert (missing.outcome, missing.why) == ("not a photo", "the file cannot be read (Input/output error)")
    assert (other.outcome, reads) == ("placed", ["b.jpg"])


def test_a_live_pair_of_a_phone_is_one_photo_and_its_moving_part_is_not_even_read(kept: Journal) -> None:
    photo = as_heic(picture(CREAM))

    def never() -> bytes:
        pytest.fail("a video may be larger than the memory")

    sources = [Source("img_2.mov", never), Source("IMG_2.HEIC", lambda: photo), Source("IMG_3.MP4", never)]
    moving, still, video = import_photos(kept, sources, card=window(), by=BY, now=NOW, clock=Clock(HOME), workers=1)
    assert (moving.outcome, video.outcome) == ("not a photo", "not a photo")
    assert "live photo" in moving.why
    assert "live photo" not in video.why
    assert (still.outcome, still.item.batch, still.item.at) == ("placed", "B-1", TAKEN)
    assert kept.photo(still.item.sha256).facts.suffix == ".heic"


def as_heic(jpeg: bytes) -> bytes:
    file = io.BytesIO()
    with Image.open(io.BytesIO(jpeg)) as image:
        pillow_heif.from_pillow(image).save(file, quality=92, exif=image.getexif().tobytes())
    return file.getvalue()


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("Screenshot_20260910_141500.jpg", "screenshot"),
        ("Bildschirmfoto 2026-09-10.jpg", "screenshot"),
        ("IMG_20260910_141500_edited.jpg", "edited"),
        ("IMG_20260910 (edit).jpg", "edited"),
        ("IMG_E0042.jpg", "edited"),
        ("IMG_20260910~2.jpg", "edited"),
    ],
)
def test_a_screenshot_or_an_edited_copy_without_a_camera_date_is_asked_about_and_gives_no_colour(
    kept: Journal, name: str, words: str
) -> None:
    (one,) = take(kept, (name, picture(CREAM, at=None)))
    assert asked(one) == {"date"}
    assert words in one.why
    assert put(kept, one.item, at=TAKEN).state == "no colour"
    assert readings(kept, "B-1") == {}


def as_png(jpeg: bytes, size: tuple[int, int], exif: bool = False) -> bytes:
    """The picture in the middle of a screen of some size."""
    file = io.BytesIO()
    with Image.open(io.BytesIO(jpeg)) as image:
        screen = Image.new("RGB", size)
        shown = image.resize((min(size), min(size) * image.height // image.width))
        screen.paste(shown, tuple((whole - part) // 2 for whole, part in zip(size, shown.size, strict=True)))
        screen.save(file, "PNG", **({"exif": image.getexif()} if exif else {}))
    return file.getvalue()


@pytest.mark.parametrize("size", [(1170, 2532), (1080, 2400), (1920, 1080), (2560, 1600)], ids=str)
def test_a_picture_of_a_screen_s_kind_and_shape_is_a_screenshot_whatever_its_name(
    kept: Journal, size: tuple[int, int]
) -> None:
    (one,) = take(kept, ("IMG_7.PNG", as_png(picture(CREAM), size)))
    assert "screenshot" in one.why
    assert put(kept, one.item, batch="B-1", at=TAKEN).state == "no colour"
    (dated,) = take(kept, ("IMG_8.PNG", as_png(picture(CREAM, seed=1), size, exif=True)))
    assert "screenshot" in (dated.why + put(kept, dated.item, batch="B-1").why), "some phones date theirs"
    assert readings(kept, "B-1") == {}


def test_an_edited_copy_that_kept_its_date_is_filed_without_a_colour(kept: Journal) -> None:
    (one,) = take(kept, ("IMG_7-edited.jpg", picture(CREAM)))
    assert (one.outcome, one.item.batch) == ("no colour", "B-1")
    assert "edited" in one.why


def test_a_copy_without_any_data_of_its_own_is_asked_when_it_was_taken(kept: Journal) -> None:
    """Messengers strip what the camera wrote; the name tells no time."""
    (one,) = take(kept, ("IMG-20260910-WA0004.jpg", picture(CREAM, at=None)))
    assert asked(one) == {"date"}


@pytest.mark.parametrize("name", ["credits.jpg", "IMG_0042.jpg", "edition 3.jpg", "img_e.jpg"])
def test_ordinary_names_are_no_edited_copies(kept: Journal, name: str) -> None:
    assert take(kept, (name, picture(CREAM)))[0].outcome == "placed"


@pytest.mark.parametrize("name", ["IMG_7.JPG", "IMG_E7.JPG", "IMG_7-edited.jpg"])
def test_another_copy_of_a_photo_that_is_there_is_asked_about(kept: Journal, name: str) -> None:
    """The same name and moment with other bytes: an edited copy, or the other half of a HEIC and JPEG pair."""
    take(kept, ("IMG_7.HEIC", picture(CREAM)))
    (copy,) = take(kept, (name, picture(CREAM, seed=5)))
    assert asked(copy) == {"copy"}
    assert len(kept.photos_of("B-1")) == 1


def test_a_mirrored_picture_is_filed_without_a_colour_and_says_why(kept: Journal) -> None:
    mirrored = drawn(CREAM, tag=payload(OURS, "B-1"), at=TAKEN, scene={"faults": Faults(mirrored=True)}).jpeg
    (one,) = take(kept, ("a.jpg", mirrored))
    assert (one.outcome, one.item.batch) == ("no colour", "B-1")
    assert "mirrored" in one.why


def test_a_picture_of_something_else_waits(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", draw_card(card_named("chart24"), exposure_ev=-0.3).jpeg))
    assert asked(one) == {"batch", "date"}
    assert kept.find_photo(one.item.sha256)


# --- tags ------------------------------------------------------------------------------------


def test_a_journal_keeps_its_id_and_another_has_its_own(journal: Journal, tmp_path: Path) -> None:
    first = journal_id(journal)
    assert journal_id(journal) == first
    with Journal.open(tmp_path / "other") as other:
        assert journal_id(other) != first
