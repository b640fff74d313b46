"""Photo to verdict through a fresh journal, and every bad input refused with nothing changed."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from curejournal import workflow
from curejournal.base.errors import CureJournalError
from curejournal.batch.records import (
    AlkaliTest,
    BarsOut,
    ColourReading,
    Decision,
    Event,
    PhotoNote,
    Portion,
    SurfaceNote,
    Weighing,
)
from curejournal.batch.validation import ImpossibleRecord
from curejournal.colour.sample import Reason
from curejournal.journal.store import Journal
from curejournal.photo.card import Card
from curejournal.photo.find import card_in_photo
from curejournal.photo.find.chart import ChartFound, look_for_chart
from curejournal.photo.read.picture_file import Pixels
from curejournal.soap.recipe import Alkali, Liquid, Oil, Recipe
from curejournal.workflow.photos import (
    ALL,
    Answers,
    Arrival,
    PhotoWaits,
    Source,
    add_photo,
    add_photos,
    answers_to,
    place,
)
from tests.photo.windows import drawn
from tests.rolls import BROWN, CREAM
from tests.scenes import Faults, draw_card

POURED = datetime(2026, 9, 1, 10, 0, tzinfo=UTC)
NOW = POURED + timedelta(days=60)
BY = "Kaja (invented)"
RECIPE = Recipe(
    oils=(Oil("olive", 700.0, "a"), Oil("coconut", 300.0, "b")),
    alkalis=(Alkali("NaOH", 140.0, lot="n"),),
    liquids=(Liquid("distilled water", 280.0, lot="w"),),
)


@pytest.fixture(scope="module")
def photo() -> bytes:
    return draw_card(workflow.find_card("window"), lab_in_window=(84.0, 2.0, 16.0), exposure_ev=-0.3).jpeg


@pytest.fixture
def started(journal: Journal) -> Journal:
    records = [RECIPE, Portion("plain", target_lab=(84.0, 2.0, 16.0), target_source="swatch")]
    workflow.start_batch(journal, "B1", "Plain olive", at=POURED, by=BY, now=NOW, records=records)
    workflow.enter(journal, "B1", Event("poured"), at=POURED, by=BY, now=NOW)
    return journal


def take(
    journal: Journal,
    data: bytes,
    code: str = "B1",
    name: str = "a.jpg",
    card: str = "window",
    story: bool = False,
    **said: Any,
) -> Arrival:
    """Add a photo to a batch, taken nine days after the pour unless something else is said with it."""
    workflow.keep_settings(journal, zone="UTC")
    answers = Answers(**{"at": POURED + timedelta(days=9), **said})
    known = workflow.find_card(card) if card else None
    return add_photo(journal, code, Source(name, lambda: data), known, answers, by=BY, now=NOW, story=story)


def test_a_photo_becomes_a_reading_with_its_doubt_and_its_origin(started: Journal, photo: bytes) -> None:
    taken = take(started, photo)
    assert taken.outcome == "placed"
    (note, reading) = (entry.record for entry in taken.entries)
    assert isinstance(note, PhotoNote)
    assert isinstance(reading, ColourReading)
    assert reading.portion == "plain"
    assert reading.lab == pytest.approx((84.0, 2.0, 16.0), abs=1.0)
    assert reading.grade == "relative"
    assert reading.card == "window"
    assert started.photo_bytes(taken.item.sha256) == photo
    assert {entry.photo for entry in taken.entries} == {taken.item.sha256}


def test_a_mirrored_picture_is_told_so_and_not_that_its_card_is_missing(started: Journal) -> None:
    """A card laid again would not help: a selfie camera turns it round again."""
    card = workflow.find_card("window")
    mirrored = draw_card(card, faults=Faults(mirrored=True)).jpeg
    (reason,) = workflow.measure_photo(mirrored, card).reasons
    assert (reason.code, reason.limit.value) == ("mirrored", "not usable")
    taken = take(started, mirrored)
    assert (taken.outcome, taken.why) == ("left out", f"{reason.text} {reason.remedy}")
    assert "main camera" in taken.why
    (hidden,) = workflow.measure_photo(draw_card(workflow.find_card("side")).jpeg, card).reasons
    assert hidden.code != "mirrored"


def test_a_photo_without_the_card_is_searched_for_it_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing of a refusal takes as long: some seconds in a large busy picture."""
    sizes = []

    def search(picture: Pixels, card: Card) -> ChartFound | Reason:
        sizes.append(picture.shape)
        return look_for_chart(picture, card)

    monkeypatch.setattr(card_in_photo, "look_for_chart", search)
    found = workflow.measure_photo(draw_card(workflow.find_card("side")).jpeg, workflow.find_card("chart24"))
    assert [reason.code for reason in found.reasons] == ["no card"]
    assert len(sizes) == len(set(sizes))


def test_two_portions_of_one_name_do_not_become_one(journal: Journal) -> None:
    twice = [Portion("a"), Portion("a", control=True)]
    with pytest.raises(ImpossibleRecord, match="Two portions are called “a”"):
        workflow.start_batch(journal, "B1", "Plain olive", at=POURED, by=BY, now=NOW, records=twice)
    assert journal.batches() == ()


def test_the_same_photo_twice_is_one_photo(started: Journal, photo: bytes) -> None:
    take(started, photo)
    before = started.batch("B1")
    assert take(started, photo, name="copy of a.jpg").outcome == "already there"
    assert started.batch("B1") == before


def test_a_photo_of_one_batch_that_is_filed_under_another_says_so(started: Journal, photo: bytes) -> None:
    workflow.start_batch(started, "B2", "Another", at=POURED, by=BY, now=NOW)
    assert take(started, photo).why == ""
    other = take(started, photo, "B2", card="", story=True)
    assert other.why == "It was taken without a card. The same photo is in batch B1 too."
    assert len(started.batch("B1").of(ColourReading)) == 1, "it stays there too"


def test_a_whole_batch_comes_to_ready(started: Journal) -> None:
    """From the pour to a verdict: weights by a drying curve, three good photos, a titration below the limit."""
    for day in (9, 30, 50):
        other = draw_card(workflow.find_card("window"), lab_in_window=(84, 2, 16), exposure_ev=-0.3, seed=day).jpeg
        take(started, other, at=POURED + timedelta(days=day))
    for day, grams in ((2, 120.0), (9, 112.6), (16, 109.2), (30, 106.4), (44, 105.6), (51, 105.4), (58, 105.3)):
        record = Weighing("bar 1", grams, 0.1)
        workflow.enter(started, "B1", record, at=POURED + timedelta(days=day), by=BY, now=NOW)
    titration = AlkaliTest("titration", soap_g=5.0, acid_ml=(0.10, 0.12), acid_mol_l=0.1, blank_ml=0.02)
    workflow.enter(started, "B1", titration, at=POURED + timedelta(days=50), by=BY, now=NOW)
    workflow.enter(started, "B1", Event("cut", bars=12), at=POURED + timedelta(days=2), by=BY, now=NOW)
    workflow.enter(started, "B1", SurfaceNote("clear"), at=POURED + timedelta(days=50), by=BY, now=NOW)
    judgement = workflow.judge_batch(started, "B1", NOW)
    assert judgement.verdict == "ready", judgement.findings
    signed = workflow.decide(started, "B1", "release", signed_by=BY, statement="seen and agreed", on=NOW)
    assert "ready" in signed.record.evidence


def test_nobody_can_sign_what_is_not_ready(started: Journal) -> None:
    with pytest.raises(workflow.NotReady):
        workflow.decide(started, "B1", "release", signed_by=BY, statement="sold", on=NOW)
    assert not started.batch("B1").of(Decision)


def test_of_all_that_is_asked_it_is_said_what_to_do(started: Journal) -> None:
    with pytest.raises(workflow.ReadingDoubtful) as asked:
        workflow.enter(started, "B1", BarsOut(1, "a market", "sold"), at=NOW, by=BY, now=NOW)
    assert "No cut" in asked.value.what and "not released" in asked.value.what
    assert "Note the cut" in asked.value.do and "hold the batch" in asked.value.do


def test_a_phone_whose_clock_is_some_seconds_ahead_is_no_fault(started: Journal, photo: bytes) -> None:
    assert take(started, photo, at=NOW + timedelta(seconds=40)).outcome == "placed"


def test_a_portion_without_a_name_is_refused_and_changes_no_other(started: Journal) -> None:
    workflow.set_portion(started, "B1", "top", by=BY, now=NOW)
    before = started.history("B1")
    with pytest.raises(ImpossibleRecord, match="portion's name"):
        workflow.set_portion(started, "B1", "", by=BY, now=NOW, tolerance=5.0)
    assert started.history("B1") == before


BAD_PHOTOS = {
    "not an image": (lambda data: b"hello", {}),
    "empty": (lambda data: b"", {}),
    "truncated": (lambda data: data[: len(data) // 2], {}),
    "no date": (lambda data: data, {"at": None}),
    "before the pour": (lambda data: data, {"at": POURED - timedelta(days=1)}),
    "in the future": (lambda data: data, {"at": NOW + timedelta(days=2)}),
    "no such batch": (lambda data: data, {"code": "nowhere"}),
    "mirrored corners": (lambda data: data, {"corners": ((0, 0), (0, 9), (9, 9), (9, 0))}),
}


@pytest.mark.parametrize("fault", BAD_PHOTOS)
def test_a_bad_photo_is_refused_in_words_and_changes_nothing(started: Journal, photo: bytes, fault: str) -> None:
    spoil, how = BAD_PHOTOS[fault][0], dict(BAD_PHOTOS[fault][1])
    before = started.history("B1")
    files = sorted(Path(started.location).rglob("*.jpg"))
    with pytest.raises(CureJournalError) as refused:
        take(started, spoil(photo), **how)
    assert refused.value.what
    assert refused.value.do
    assert started.history("B1") == before
    assert sorted(Path(started.location).rglob("*.jpg")) == files
    assert started.check() == ()


@pytest.mark.parametrize(
    "scene",
    [{"offset": (0.6, 0.0)}, {"exposure_ev": 2.0}, {"faults": Faults(blur_px=6)}],
    ids=["half out of frame", "white burnt out", "blurred"],
)
def test_a_photo_without_a_colour_is_left_out_unless_wanted_for_the_story(
    started: Journal, scene: dict[str, object]
) -> None:
    data = draw_card(workflow.find_card("window"), **{"exposure_ev": -0.3, **scene}).jpeg
    before = started.history("B1")
    left = take(started, data)
    assert left.outcome == "left out"
    assert left.why
    assert started.history("B1") == before
    kept = take(started, data, story=True)
    assert kept.outcome == "no colour"
    assert [type(entry.record) for entry in kept.entries] == [PhotoNote]
    assert kept.entries[0].record.why_no_colour == left.why


@pytest.mark.parametrize(
    "record",
    [
        Weighing("bar 1", -5.0),
        Weighing("bar 1", 0.0),
        Weighing("bar 1", float("nan")),
        Weighing("", 100.0),
        AlkaliTest("strip", ph=15.0),
        AlkaliTest("titration", soap_g=-1.0, acid_ml=(1.0,), acid_mol_l=0.1),
        Portion(""),
    ],
    ids=repr,
)
def test_an_impossible_record_is_refused_and_changes_nothing(started: Journal, record: object) -> None:
    before = started.history("B1")
    with pytest.raises(ImpossibleRecord):
        workflow.enter(started, "B1", record, at=POURED + timedelta(days=3), by=BY, now=NOW)
    assert started.history("B1") == before


def test_a_slipped_decimal_is_asked_about_and_kept_once_confirmed(started: Journal) -> None:
    workflow.enter(started, "B1", Weighing("bar 1", 120.0), at=POURED + timedelta(days=2), by=BY, now=NOW)
    slipped, later = Weighing("bar 1", 1180.0), POURED + timedelta(days=9)
    before = started.history("B1")
    with pytest.raises(workflow.ReadingDoubtful):
        workflow.enter(started, "B1", slipped, at=later, by=BY, now=NOW)
    assert started.history("B1") == before
    entry, doubts = workflow.enter(started, "B1", slipped, at=later, by=BY, now=NOW, confirmed=True)
    assert doubts
    assert entry.record == slipped


def test_a_date_in_the_name_serves_where_exif_is_silent(started: Journal, photo: bytes) -> None:
    taken = take(started, photo, at=None, name="IMG_20260910_141500.jpg")
    assert taken.entries[0].at == datetime(2026, 9, 10, 14, 15, tzinfo=UTC)
    assert started.photo(taken.item.sha256).facts.taken_from == "file name"


def test_the_window_of_a_batch_with_two_portions_needs_a_name(started: Journal, photo: bytes) -> None:
    twins = Portion("top", 1, (84.0, 2.0, 16.0), "swatch")
    workflow.enter(started, "B1", twins, at=POURED, by=BY, now=NOW)
    with pytest.raises(PhotoWaits, match="Which portion is this"):
        take(started, photo)
    assert take(started, photo, window="top").entries[1].record.portion == "top"


def test_a_picture_without_a_colour_is_checked_for_its_date_too(started: Journal, photo: bytes) -> None:
    """One of 2024 was taken into a batch of 2026: a card or none, the date has to be the batch's."""
    before, at = started.history("B1"), POURED - timedelta(days=700)
    with pytest.raises(PhotoWaits, match="is before the pour"):
        take(started, photo, card="", story=True, at=at)
    assert started.history("B1") == before and started.unfiled_photos() == ()
    with pytest.raises(CureJournalError, match="is before the pour"):
        take(started, photo, at=at, confirmed=ALL)
    # What shows no colour may be older: oils weighed out the day before, say.
    kept = take(started, photo, card="", story=True, at=POURED - timedelta(days=1), confirmed=("date",))
    assert kept.outcome == "no colour"


def test_a_picture_long_before_a_batch_whose_pour_is_not_noted_is_asked_about(journal: Journal, photo: bytes) -> None:
    workflow.start_batch(journal, "B1", "Plain olive", at=POURED, by=BY, now=NOW)
    with pytest.raises(PhotoWaits, match="long before anything else of this batch"):
        take(journal, photo, card="", story=True, at=POURED - timedelta(days=700))
    assert take(journal, photo, at=POURED - timedelta(days=2)).outcome == "placed"


def test_layers_in_the_window_name_themselves_where_the_maker_says_nothing(journal: Journal) -> None:
    """One photo is an import of one: it is told by its layers, as each of a hundred is."""
    layers = [Portion("top", 0, CREAM, "swatch"), Portion("base", 1, BROWN, "swatch"), Event("poured")]
    workflow.start_batch(journal, "B1", "Two layers", at=POURED, by=BY, now=NOW, records=layers)
    added = take(journal, drawn(CREAM, BROWN).jpeg)
    found = {entry.record.portion: entry.record.lab for entry in added.entries[1:]}
    assert found["top"] == pytest.approx(CREAM, abs=1.5) and found["base"] == pytest.approx(BROWN, abs=1.5)


def test_a_photo_its_readings_and_what_was_said_with_it_are_one_write(
    started: Journal, photo: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    writes, real = [], Journal._writing

    def writing(journal: Journal) -> Any:
        writes.append(1)
        return real(journal)

    workflow.keep_settings(started, zone="UTC")
    monkeypatch.setattr(Journal, "_writing", writing)
    source, said = Source("a.jpg", lambda: photo), Answers(at=POURED + timedelta(days=9), caption="day nine")
    (added,) = add_photos(started, "B1", [source], workflow.find_card("window"), said, by=BY, now=NOW)
    assert len(writes) == 1
    assert answers_to(started, added.item.sha256).caption == "day nine"


def test_a_chart_beside_which_nothing_is_marked_is_asked_about_or_kept_for_the_story(started: Journal) -> None:
    chart = draw_card(workflow.find_card("chart24"), exposure_ev=-0.3).jpeg
    with pytest.raises(PhotoWaits, match="Which part of the picture"):
        take(started, chart, card="chart24")
    kept = take(started, chart, card="chart24", story=True)
    assert kept.outcome == "no colour" and "wants no colour" in kept.why


def test_a_caption_stays_when_the_date_is_corrected(started: Journal, photo: bytes) -> None:
    added = take(started, photo, caption="day nine")
    right, card = POURED + timedelta(days=10), workflow.find_card("window")
    place(started, added.item.sha256, Answers(at=right), card=card, by=BY, now=NOW)
    ((at, note),) = started.batch("B1").records(PhotoNote)
    assert (at, note.caption) == (right, "day nine")


def test_a_card_that_fades_is_noticed_from_its_own_photos(started: Journal, photo: bytes) -> None:
    taken = take(started, photo)
    note = taken.entries[0].record
    assert note.card == "window"
    assert len(note.patch_errors) > 40
    assert workflow.card_drift(started, "window") is None, "one photo says nothing"
    for day in range(1, 9):
        faded = 3.0 if day > 4 else 0.0
        errors = tuple((patch, error + faded * (patch == "honey")) for patch, error in note.patch_errors)
        record = PhotoNote(card="window", patch_errors=errors)
        workflow.enter(started, "B1", record, at=POURED + timedelta(days=9 + day), by=BY, now=NOW)
    assert [drift.patch for drift in workflow.card_drift(started, "window")] == ["honey"]
