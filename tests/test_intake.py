"""A month of pictures dropped in: the journal fills itself, and what it cannot tell, it asks."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from functools import cache
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from curejournal import workflow
from curejournal.cure.records import ColourReading, Event, PhotoNote, Portion, SurfaceNote
from curejournal.intake import Arrival, Progress, Source, files_in, take_in_all
from curejournal.journal.store import Journal
from curejournal.photo.card import Rect
from curejournal.photo.tag import payload
from curejournal.sorting import TrayItem, journal_id, tag_text
from curejournal.tray import (
    Clock,
    PhotoWaits,
    card_corners,
    confirm_surface,
    growth,
    item_of,
    place,
    proposed_areas,
    set_aside,
    set_clock,
    tray,
)
from tests.photo.windows import drawn, taken, window
from tests.scenes import (
    INK,
    Faults,
    Laid,
    Paint,
    Place,
    Rendered,
    Scene,
    Soap,
    View,
    card_named,
    draw_card,
    render,
)

HOME = timezone(timedelta(hours=2))
POURED = datetime(2026, 9, 1, 10, 0, tzinfo=HOME)
NOW = POURED + timedelta(days=60)
TAKEN = POURED + timedelta(days=9)
BY = "Kaja (invented)"
OURS = "OURS22"
CREAM, AMBER, BROWN = (88.0, 2.0, 14.0), (64.0, 16.0, 44.0), (36.0, 14.0, 20.0)


@cache
def picture(
    *labs: tuple[float, float, float], code: str = "B-1", of: str = OURS, at: datetime | None = TAKEN, seed: int = 0
) -> bytes:
    """The window card with a tag in its slot, over soap."""
    return drawn(*labs, tag=payload(of, code) if code else "", at=at, seed=seed).jpeg


@pytest.fixture
def kept(journal: Journal) -> Iterator[Journal]:
    """B-1, one portion; B-2, two layers whose intended colours are known; B-3, two of which nothing is known."""
    journal.set_setting("tag id", OURS)
    journal.start_batch("B-1", "Plain", at=POURED, by=BY, records=[Event("poured")])
    layers = [Portion("top", 0, CREAM, "swatch"), Portion("base", 1, BROWN, "swatch"), Event("poured")]
    journal.start_batch("B-2", "Two layers", at=POURED, by=BY, records=layers)
    journal.start_batch("B-3", "Unknown layers", at=POURED, by=BY, records=[Portion("a", 0), Portion("b", 1)])
    yield journal
    assert journal.check() == ()


def take(journal: Journal, *files: tuple[str, bytes], workers: int = 1, **how: object) -> list[Arrival]:
    sources = [Source(name, lambda data=data: data) for name, data in files]
    settings = {"card": window(), "by": BY, "now": NOW, "clock": Clock(HOME), "workers": workers}
    return take_in_all(journal, sources, **{**settings, **how})


def put(journal: Journal, item: TrayItem, **answers: object) -> TrayItem:
    return place(journal, item.sha256, card=window(), by=BY, now=NOW, **answers)


def readings(journal: Journal, code: str) -> dict[str, tuple[float, float, float]]:
    return {record.portion: record.lab for _, record in journal.batch(code).records(ColourReading)}


# --- placed ----------------------------------------------------------------------------------


def test_a_photo_with_a_tag_a_date_and_a_card_places_itself(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM)))
    assert (one.outcome, one.why) == ("placed", "")
    (note,) = kept.batch("B-1").of(PhotoNote)
    assert note.at == TAKEN
    assert readings(kept, "B-1")["soap"] == pytest.approx(CREAM, abs=1.0)
    assert kept.photo_bytes(one.item.sha256) == picture(CREAM)
    assert tray(kept, window(), NOW) == ()


def test_layers_are_named_by_their_intended_colours_whichever_way_up(kept: Journal) -> None:
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
    take(kept, ("a.jpg", later), ("b.jpg", picture(CREAM)), progress=steps.append)
    assert [step.latest.name for step in steps] == ["b.jpg", "a.jpg"]
    assert [(step.done, step.total) for step in steps] == [(1, 2), (2, 2)]


def test_a_folder_is_taken_in_by_two_workers(kept: Journal, tmp_path: Path) -> None:
    folder = tmp_path / "roll"
    (folder / "more").mkdir(parents=True)
    (folder / "a.jpg").write_bytes(picture(CREAM))
    (folder / "more" / "b.jpg").write_bytes(picture(CREAM, BROWN, code="B-2"))
    (folder / ".hidden.jpg").write_bytes(b"of a computer's own")
    sources = files_in([folder])
    assert [source.name for source in sources] == ["a.jpg", "b.jpg"]
    arrivals = take_in_all(kept, sources, card=window(), by=BY, now=NOW, clock=Clock(HOME), workers=2)
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


def asked(arrival: Arrival) -> set[str]:
    assert arrival.outcome == "needs you", arrival
    return {question.about for question in arrival.item.questions}


def test_without_a_tag_the_batch_is_asked_and_one_call_places_it(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM, code="")))
    assert asked(one) == {"batch"}
    assert [item.sha256 for item in tray(kept, window(), NOW)] == [one.item.sha256]
    placed = put(kept, one.item, batch="B-1")
    assert (placed.state, placed.batch) == ("placed", "B-1")
    assert "soap" in readings(kept, "B-1")
    assert tray(kept, window(), NOW) == ()


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
    assert put(kept, one.item, at=TAKEN).state == "placed"
    assert kept.batch("B-1").of(PhotoNote)[0].at == TAKEN


@pytest.mark.parametrize("at", [NOW + timedelta(days=3), POURED - timedelta(days=400), datetime(2000, 1, 1)])
def test_a_clock_that_is_plainly_wrong_is_asked_about(kept: Journal, at: datetime) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM, at=at)))
    assert asked(one) == {"date"}
    assert "plainly wrong" in one.why


def test_a_colour_unlike_the_batch_is_asked_about_and_kept_once_confirmed(kept: Journal) -> None:
    take(kept, ("a.jpg", picture(CREAM)))
    (odd,) = take(kept, ("b.jpg", picture((40.0, 40.0, -20.0), at=TAKEN + timedelta(hours=1))))
    assert asked(odd) == {"colour"}
    assert len(kept.batch("B-1").of(ColourReading)) == 1
    assert put(kept, odd.item, confirmed=True).state == "placed"


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


# --- correcting ------------------------------------------------------------------------------


def test_a_photo_moves_to_another_batch_and_the_move_stays_in_the_history(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM)))
    moved = put(kept, one.item, batch="B-2", portions=("top",))
    assert moved.batch == "B-2"
    assert readings(kept, "B-1") == {}
    assert list(readings(kept, "B-2")) == ["top"]
    assert len(kept.history("B-1")) == 1 + 2 + 2, "poured, note and colour, and both taken back"
    take(kept, ("a.jpg", picture(CREAM)))
    assert item_of(kept, one.item.sha256, window(), NOW).batch == "B-2", "its tag does not pull it back"


def test_a_date_and_a_portion_are_corrected_as_corrections(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM, BROWN, code="B-2")))
    right = TAKEN + timedelta(days=1)
    put(kept, one.item, at=right, portions=("base", "top"))
    assert readings(kept, "B-2")["base"] == pytest.approx(CREAM, abs=1.5)
    entries = [entry for entry in kept.batch("B-2").entries if entry.photo]
    assert {entry.at for entry in entries} == {right}
    assert all(entry.supersedes for entry in entries)
    before = kept.history("B-2")
    put(kept, one.item, at=right, portions=("base", "top"))
    assert kept.history("B-2") == before, "the same correction twice is one"


def test_a_correction_that_leaves_something_open_changes_nothing(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM, BROWN, code="B-2")))
    before = kept.history("B-2")
    with pytest.raises(PhotoWaits):
        put(kept, one.item, batch="B-3")
    assert kept.history("B-2") == before


def test_what_was_taken_back_is_not_placed_again_by_itself(kept: Journal) -> None:
    take(kept, ("a.jpg", picture(CREAM)))
    for entry in kept.batch("B-1").entries:
        if entry.photo:
            kept.withdraw(entry.id, why="not this soap", by=BY, at=NOW)
    (again,) = take(kept, ("a.jpg", picture(CREAM)))
    assert asked(again) == {"batch"}
    assert "taken back" in again.why


def test_a_photo_is_set_aside_and_taken_up_again(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM, code="")))
    set_aside(kept, one.item.sha256, why="a test shot", by=BY)
    assert [(item.state, item.why) for item in tray(kept, window(), NOW)] == [("set aside", "a test shot")]
    assert take(kept, ("a.jpg", picture(CREAM, code="")))[0].outcome == "set aside"
    assert put(kept, one.item, batch="B-1").state == "placed"
    with pytest.raises(PhotoWaits):
        set_aside(kept, one.item.sha256, why="", by=BY)


def test_a_photo_is_kept_for_the_story_alone(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM, code="")))
    assert put(kept, one.item, batch="B-1", colour=False).state == "no colour"
    assert readings(kept, "B-1") == {}


# --- clocks ----------------------------------------------------------------------------------


def test_a_zone_and_a_slow_clock_are_set_for_a_whole_set(kept: Journal) -> None:
    local = TAKEN.replace(tzinfo=None)
    there, behind = timezone(timedelta(hours=9)), timedelta(minutes=70)
    take(kept, ("a.jpg", picture(CREAM, at=local)), clock=Clock(there, behind))
    assert kept.batch("B-1").of(PhotoNote)[0].at == local.replace(tzinfo=there) + behind


def test_a_clock_corrected_later_moves_placed_photos_once_however_often_it_is_asked(kept: Journal) -> None:
    arrivals = take(kept, ("a.jpg", picture(CREAM)), ("b.jpg", picture(CREAM, at=TAKEN + timedelta(days=1), seed=1)))
    photos = [arrival.item.sha256 for arrival in arrivals]
    for _ in range(2):
        set_clock(kept, photos, Clock(HOME, timedelta(hours=-3)), card=window(), by=BY, now=NOW)
    times = [entry.at for entry in kept.batch("B-1").of(PhotoNote)]
    assert times == [TAKEN - timedelta(hours=3), TAKEN + timedelta(hours=21)]


# --- no window -------------------------------------------------------------------------------


def chart_photo(at: datetime, seed: int = 0, turn: float = 0.0) -> Rendered:
    """A chart beside soap."""
    bar = Soap((("soap", Paint(CREAM)),), (70.0, 40.0), Place(0.0, 120.0))
    chart = Laid(card_named("chart24"), Place(), paper=INK, border_mm=8.0)
    view = View((0.0, 30.0), 340.0, turn_deg=turn)
    return render(Scene((bar, chart), view=view, exposure_ev=-0.3), seed, taken(at))


def test_without_a_window_the_areas_are_asked_for_drawn_once_and_then_proposed(kept: Journal) -> None:
    card, first = workflow.find_card("chart24"), chart_photo(TAKEN)
    (one,) = take(kept, ("a.jpg", first.jpeg), card=card)
    assert asked(one) == {"batch", "areas"}
    drawn_areas = {"soap": tuple((float(x), float(y)) for x, y in first.areas["soap"])}
    item = place(kept, one.item.sha256, card=card, by=BY, now=NOW, batch="B-1", areas=drawn_areas)
    assert item.state == "placed"
    assert readings(kept, "B-1")["soap"] == pytest.approx(CREAM, abs=2.0)
    second = chart_photo(TAKEN + timedelta(days=1), seed=1, turn=8.0)
    (two,) = take(kept, ("b.jpg", second.jpeg), card=card)
    proposal = proposed_areas(kept.batch("B-1"), card_corners(kept, two.item.sha256, card), two.item.sha256)
    assert np.abs(np.array(proposal["soap"]) - second.areas["soap"]).max() < 12


# --- the surface -----------------------------------------------------------------------------


def spotted(count: int, at: datetime) -> bytes:
    spots = tuple((20.0 + 5 * k, 26.0, 2.0, Paint((74.0, 16.0, 40.0))) for k in range(count))
    return drawn(CREAM, tag=payload(OURS, "B-1"), at=at, spots=spots).jpeg


def test_what_a_surface_looks_like_is_kept_once_the_maker_confirms_it_and_its_growth_is_told(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", spotted(2, TAKEN)))
    (finding,) = one.item.surface
    assert (finding.kind, finding.count) == ("orange spots", 2)
    assert kept.batch("B-1").of(SurfaceNote) == ()
    for _ in range(2):
        confirm_surface(kept, one.item, finding, by=BY)
    ((at, note),) = kept.batch("B-1").records(SurfaceNote)
    assert (at, note.look, note.count) == (TAKEN, "orange spots", 2)
    (two,) = take(kept, ("b.jpg", spotted(5, TAKEN + timedelta(days=14))))
    assert "+3 spots" in growth(kept.batch("B-1"), two.item.surface[0], two.item.at)


def test_a_surface_of_a_photo_that_waits_cannot_be_confirmed(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM, code="")))
    with pytest.raises(PhotoWaits):
        confirm_surface(kept, one.item, None, by=BY)


# --- bad input -------------------------------------------------------------------------------

VIDEO = b"\x00\x00\x00\x20ftypqt  " + b"\x00" * 64


def test_a_video_is_left_out_and_the_photo_of_a_live_pair_taken_in(kept: Journal) -> None:
    arrivals = take(kept, ("IMG_1.JPG", picture(CREAM)), ("IMG_1.MOV", VIDEO), ("clip.mp4", VIDEO), ("odd.jpg", VIDEO))
    assert [arrival.outcome for arrival in arrivals] == ["placed", "not a photo", "not a photo", "not a photo"]
    assert "live photo" in arrivals[1].why
    assert "video" in arrivals[2].why
    assert "video" in arrivals[3].why


@pytest.mark.parametrize("data", [b"", b"hello", picture(CREAM)[:5000]], ids=["empty", "no image", "truncated"])
def test_what_is_no_whole_photo_is_left_out_and_nothing_is_kept(kept: Journal, data: bytes) -> None:
    (one, other) = take(kept, ("a.jpg", data), ("b.jpg", picture(CREAM)))
    assert one.outcome == "not a photo"
    assert one.why
    assert other.outcome == "placed"
    assert kept.unfiled_photos() == ()


def test_a_live_pair_of_a_phone_is_one_photo_and_its_moving_part_is_not_even_read(kept: Journal) -> None:
    photo = as_heic(picture(CREAM))

    def never() -> bytes:
        pytest.fail("a video may be larger than the memory")

    sources = [Source("img_2.mov", never), Source("IMG_2.HEIC", lambda: photo), Source("IMG_3.MP4", never)]
    moving, still, video = take_in_all(kept, sources, card=window(), by=BY, now=NOW, clock=Clock(HOME), workers=1)
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
