"""What waits in the tray and what was placed from it: corrected, its clock set, its areas drawn, its surface told."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from curejournal import workflow
from curejournal.batch.records import AlkaliTest, ColourReading, PhotoNote, SurfaceNote
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import Journal
from curejournal.photo.find.tag import payload
from curejournal.workflow.photos import (
    Answers,
    Clock,
    PhotoWaits,
    Question,
    answers_to,
    card_corners,
    confirm_surface,
    growth,
    inbox_items,
    item_of,
    outlined_picture,
    place,
    proposed_areas,
    questions,
    set_aside,
    set_clock,
    unanswered,
)
from tests.photo.windows import drawn, taken, window
from tests.rolls import BROWN, BY, CREAM, HOME, NOW, OURS, TAKEN, asked, picture, put, readings, take
from tests.scenes import INK, Laid, Paint, Place, Rendered, Scene, Soap, View, card_named, render

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


@pytest.mark.parametrize("answered", [{}, {"batch": "B-1"}, {"at": TAKEN + timedelta(days=1)}], ids=str)
def test_what_was_taken_back_is_not_placed_again_by_itself(kept: Journal, answered: dict[str, object]) -> None:
    """Whether it placed itself, was placed by the maker, or was corrected before."""
    (one,) = take(kept, ("a.jpg", picture(CREAM, code="" if "batch" in answered else "B-1")))
    if answered:
        assert put(kept, one.item, **answered).state == "placed"
    for entry in kept.batch("B-1").entries:
        if entry.photo:
            kept.withdraw(entry.id, why="not this soap", by=BY, at=NOW)
    before = kept.history("B-1")
    (again,) = take(kept, ("a.jpg", picture(CREAM, code="" if "batch" in answered else "B-1")))
    assert asked(again) == {"batch"}
    assert "taken back" in again.why
    assert put(kept, one.item, colour=False).state == "needs you", "another answer does not place it either"
    assert kept.history("B-1") == before
    assert put(kept, one.item, batch="B-1").batch == "B-1"
    assert len(kept.history("B-1")) > len(before)


def test_a_photo_is_set_aside_and_taken_up_again(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM, code="")))
    set_aside(kept, one.item.sha256, why="a test shot", by=BY)
    assert [(item.state, item.why) for item in inbox_items(kept, window(), NOW)] == [("set aside", "a test shot")]
    assert take(kept, ("a.jpg", picture(CREAM, code="")))[0].outcome == "set aside"
    assert put(kept, one.item, batch="B-1").state == "placed"
    with pytest.raises(PhotoWaits):
        set_aside(kept, one.item.sha256, why="", by=BY)


def test_a_photo_is_kept_for_the_story_alone(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM, code="")))
    assert put(kept, one.item, batch="B-1", colour=False).state == "no colour"
    assert readings(kept, "B-1") == {}


def test_a_new_question_is_one_rule_and_its_answer_comes_back(kept: Journal, monkeypatch: pytest.MonkeyPatch) -> None:
    """As DEVELOPERS says: nothing but the rule is written for it."""

    def about_lamp(case: questions.Case) -> Question | None:
        return Question("lamp", "Which lamp was it?", ("day", "bulb"), outlines=(case.analysis.measurement.corners,))

    monkeypatch.setattr(questions, "RULES", (*questions.RULES, about_lamp))
    (one,) = take(kept, ("a.jpg", picture(CREAM)))
    assert asked(one) == {"lamp"} and len(one.item.questions[0].outlines[0]) == 4
    assert readings(kept, "B-1") == {}
    assert put(kept, one.item, chosen={"lamp": "bulb"}).state == "placed"
    assert answers_to(kept, one.item.sha256).chosen == {"lamp": "bulb"}


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


def test_a_clock_that_cannot_be_right_for_one_names_it_and_sets_the_others(kept: Journal) -> None:
    late = TAKEN + timedelta(days=40)
    files = (("late.jpg", picture(CREAM, at=late)), ("b.jpg", picture(CREAM, seed=1)))
    photos = [arrival.item.sha256 for arrival in take(kept, *files)]
    before = answers_to(kept, photos[0])
    with pytest.raises(PhotoWaits) as told:
        set_clock(kept, photos, Clock(HOME, timedelta(days=30)), card=window(), by=BY, now=NOW)
    assert told.value.what.startswith("late.jpg: Its clock is plainly wrong") and "b.jpg" not in told.value.what
    assert told.value.safe == "It stays placed as before; the clock of 1 other is set."
    assert [entry.at for entry in kept.batch("B-1").of(PhotoNote)] == [TAKEN + timedelta(days=30), late]
    assert answers_to(kept, photos[0]) == before, "the date that could not be is not kept for later"


def test_in_the_hour_that_comes_twice_in_autumn_photos_keep_their_order(kept: Journal) -> None:
    """Clocks went back on 25 October 2026 at 3:00 in Berlin (tz database): 2:50 was before 2:10 of the second hour."""
    berlin = ZoneInfo("Europe/Berlin")
    first, second = datetime(2026, 10, 25, 2, 50), datetime(2026, 10, 25, 2, 10)
    files = (("IMG_0002.jpg", picture(CREAM, at=second)), ("IMG_0001.jpg", picture(CREAM, at=first, seed=1)))
    later, earlier = take(kept, *files, clock=Clock(berlin))
    times = {entry.photo: entry.at for entry in kept.batch("B-1").of(PhotoNote)}
    assert times[earlier.item.sha256] == datetime(2026, 10, 25, 0, 50, tzinfo=UTC)
    assert times[later.item.sha256] == datetime(2026, 10, 25, 1, 10, tzinfo=UTC)
    again = take(kept, *files, clock=Clock(berlin))
    assert [arrival.outcome for arrival in again] == ["already there"] * 2


# --- no window -------------------------------------------------------------------------------


@cache
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
    item = place(kept, one.item.sha256, Answers("B-1", areas=drawn_areas), card=card, by=BY, now=NOW)
    assert item.state == "placed"
    assert readings(kept, "B-1")["soap"] == pytest.approx(CREAM, abs=2.0)
    second = chart_photo(TAKEN + timedelta(days=1), seed=1, turn=8.0)
    (two,) = take(kept, ("b.jpg", second.jpeg), card=card)
    corners = card_corners(kept, two.item.sha256, card)
    proposal = proposed_areas(kept, kept.batch("B-1"), card, corners, two.item.sha256)
    assert np.abs(np.array(proposal["soap"]) - second.areas["soap"]).max() < 12


def test_areas_are_not_proposed_from_a_photo_with_another_card(kept: Journal) -> None:
    """Where one card has its window, another has patches: their colours would stand as the soap's."""
    take(kept, ("a.jpg", picture(CREAM)))
    chart, batch = workflow.find_card("chart24"), kept.batch("B-1")
    corners = tuple((float(x), float(y)) for x, y in chart_photo(TAKEN).corners["chart24"])
    assert proposed_areas(kept, batch, chart, corners) == {}
    copy = replace(window(), name="W-01", copy_id="W-01")
    assert list(proposed_areas(kept, batch, copy, corners)) == ["soap"], "another copy of the same card will do"


def test_a_card_whose_corners_are_marked_by_hand_is_measured_by_them(kept: Journal) -> None:
    card, photo = workflow.find_card("chart24"), chart_photo(TAKEN)
    (one,) = take(kept, ("a.jpg", photo.jpeg), card=card)
    corners = tuple((float(x) + 3, float(y)) for x, y in photo.corners["chart24"])
    areas = {"soap": tuple((float(x), float(y)) for x, y in photo.areas["soap"])}
    place(kept, one.item.sha256, Answers("B-1", areas=areas, corners=corners), card=card, by=BY, now=NOW)
    ((_, reading),) = kept.batch("B-1").records(ColourReading)
    assert reading.corners == pytest.approx(np.array(corners), abs=0.1)
    assert reading.lab == pytest.approx(CREAM, abs=3.0)


# --- the surface -----------------------------------------------------------------------------


@cache
def spotted(count: int, at: datetime) -> bytes:
    spots = tuple((20.0 + 5 * k, 26.0, 2.0, Paint((74.0, 16.0, 40.0))) for k in range(count))
    return drawn(CREAM, tag=payload(OURS, "B-1"), at=at, spots=spots).jpeg


def test_what_a_surface_looks_like_is_kept_once_the_maker_confirms_it_and_its_growth_is_told(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", spotted(2, TAKEN)))
    (finding,) = one.item.surface
    assert (finding.kind, finding.count) == ("orange spots", 2)
    assert kept.batch("B-1").of(SurfaceNote) == ()
    assert unanswered(kept, one.item) == (finding,)
    for _ in range(2):
        confirm_surface(kept, one.item, finding, by=BY)
    assert unanswered(kept, one.item) == ()
    ((at, note),) = kept.batch("B-1").records(SurfaceNote)
    assert (at, note.look, note.count) == (TAKEN, "orange spots", 2)
    (two,) = take(kept, ("b.jpg", spotted(5, TAKEN + timedelta(days=14))))
    assert "from 2 to 5 spots" in growth(kept.batch("B-1"), two.item.surface[0], two.item.at)


def test_what_was_noted_by_a_photo_goes_with_it_when_its_clock_or_batch_is_corrected(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", spotted(2, TAKEN)))
    confirm_surface(kept, one.item, one.item.surface[0], by=BY)
    strip = AlkaliTest("strip", ph=9.0, half_width=0.5)
    kept.add("B-1", strip, at=TAKEN + timedelta(hours=2), by=BY, photo=one.item.sha256)
    right = TAKEN + timedelta(days=1)
    put(kept, one.item, at=right)
    ((at, note),) = kept.batch("B-1").records(SurfaceNote)
    assert (at, note.count) == (right, 2)
    assert kept.batch("B-1").records(AlkaliTest) == ((TAKEN + timedelta(hours=2), strip),), "it has a time of its own"
    put(kept, one.item, batch="B-2", portions=("top",))
    assert not kept.batch("B-1").of(SurfaceNote) and not kept.batch("B-1").of(AlkaliTest)
    assert kept.batch("B-2").records(SurfaceNote) == ((right, note),)
    assert kept.batch("B-2").records(AlkaliTest) == ((TAKEN + timedelta(hours=2), strip),)


def test_a_reading_whose_area_is_no_polygon_has_no_outline_and_breaks_nothing(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM)))
    (reading,) = (entry.record for entry in kept.batch("B-1").of(ColourReading))
    assert len(reading.outline) > 2
    for area in ("", "the middle", "[]", "[[1, 2]]", '["ab", "cd", "ef"]', "[[1, 2], [3, 4], [5, Infinity]]", "7"):
        kept.add("B-2", replace(reading, area=area), at=TAKEN, by=BY, photo=one.item.sha256)
    seen = item_of(kept, one.item.sha256, window(), NOW)
    outlines = [colour.outline for colour in seen.colours]
    assert len(outlines) == 8 and sum(map(bool, outlines)) == 1
    assert outlined_picture(kept, one.item.sha256, outlines, (), 300).startswith(b"\xff\xd8")
    assert outlined_picture(kept, one.item.sha256, outlines[1:], (), 300).startswith(b"\xff\xd8")
    assert proposed_areas(kept, kept.batch("B-2"), window(), reading.corners) == {}


def test_the_photo_of_a_strip_tells_its_test(kept: Journal) -> None:
    data = picture(CREAM, code="")
    facts = PhotoFacts(".jpg", 1, 1, TAKEN, "maker", "strip.jpg")
    kept.keep_filed("B-1", data, facts, [AlkaliTest("strip", 9.3, 0.2, 1.0)], at=TAKEN, by=BY)
    seen = item_of(kept, hashlib.sha256(data).hexdigest(), window(), NOW)
    assert (seen.state, seen.colours) == ("placed", ())
    assert "pH 9.3 ± 0.2 by strip" in seen.why


def test_a_surface_of_a_photo_that_waits_cannot_be_confirmed(kept: Journal) -> None:
    (one,) = take(kept, ("a.jpg", picture(CREAM, code="")))
    with pytest.raises(PhotoWaits):
        confirm_surface(kept, one.item, None, by=BY)
