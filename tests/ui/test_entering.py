"""What is written down on a batch's page is kept as it was entered."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from curejournal import workflow
from curejournal.batch.records import AlkaliTest, Event, ScalarReading, SurfaceNote, Weighing
from curejournal.batch.workshop import StripKeyEnrolled
from curejournal.journal.errors import in_plain_words
from curejournal.journal.ledger import Ledger
from curejournal.journal.store import Journal
from tests.ui.journals import NOW, plain_jpeg
from tests.ui.pages import app, entries, form, only, text_of, writing


def test_a_weight_is_kept(small: Path) -> None:
    at = form(writing("B-2"), "B-2", "a weight")
    at.number_input(key="weigh-B-2-0-of-bar 1").set_value(130.5)
    only(at.button, "Save").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        assert journal.batch("B-2").records(Weighing)[0][1].grams == 130.5


def test_a_weight_that_the_disk_refuses_is_said_to_be_safe_and_what_to_do_and_stays_typed(
    small: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each press that writes fails in `tests/workflow/test_every_write.py`; this is how such a refusal is shown."""
    at, before = form(writing("B-2"), "B-2", "a weight"), entries(small, "B-2")
    at.number_input(key="weigh-B-2-0-of-bar 1").set_value(130.5)
    with monkeypatch.context() as patch:
        patch.setattr(Ledger, "commit", refused_by_the_disk)
        only(at.button, "Save").click().run()
    (shown,) = at.error
    for said in ("no room left", "everything confirmed before it is safe", "Free some space on that disk"):
        assert said in shown.value
    assert entries(small, "B-2") == before
    assert at.number_input(key="weigh-B-2-0-of-bar 1").value == 130.5
    only(at.button, "Save").click().run()
    assert not at.error and entries(small, "B-2") == before + 1


def refused_by_the_disk(ledger: Ledger, *_: object, **__: object) -> None:
    with in_plain_words(ledger.location):
        raise OSError(errno.ENOSPC, "No space left on device")


def test_an_unlikely_weight_is_asked_about_and_kept_once_confirmed(small: Path) -> None:
    at = form(writing("B-1"), "B-1", "a weight")
    at.number_input(key="weigh-B-1-0-of-bar 1").set_value(10.65)
    only(at.button, "Save").click().run()
    assert "slipped decimal" in text_of(at)
    before = entries(small, "B-1")
    at.button(key="keep-doubted").click().run()
    assert entries(small, "B-1") == before + 1
    with Journal.open(small) as journal:
        assert journal.batch("B-1").records(Weighing)[-1][1].confirmed


def test_an_unlikely_weight_can_be_dropped(small: Path) -> None:
    before = entries(small, "B-1")
    at = form(writing("B-1"), "B-1", "a weight")
    at.number_input(key="weigh-B-1-0-of-bar 1").set_value(10.65)
    only(at.button, "Save").click().run()
    at.button(key="drop-doubted").click().run()
    assert entries(small, "B-1") == before


def test_an_impossible_weight_is_refused_with_what_is_safe(small: Path) -> None:
    before = entries(small, "B-1")
    at = form(writing("B-1"), "B-1", "a weight")
    at.number_input(key="weigh-B-1-0-of-bar 1").set_value(-3.0)
    only(at.button, "Save").click().run()
    assert any("is not possible" in e.value and "Nothing in the journal was changed" in e.value for e in at.error)
    assert entries(small, "B-1") == before


@pytest.mark.parametrize(
    ("method", "fill", "kept"),
    [
        ("meter", {"ph": 10.2}, AlkaliTest("meter", 10.2, 0.1, 1.0)),
        ("strip", {"ph": 9.5}, AlkaliTest("strip", 9.5, 0.5, 1.0)),
        (
            "titration",
            {"soap": 5.0, "first titration": 0.62, "blank": 0.02},
            AlkaliTest("titration", soap_g=5.0, acid_ml=(0.62,), acid_mol_l=0.1, blank_ml=0.02),
        ),
    ],
)
def test_each_alkali_test_is_kept_as_entered(
    method: str, fill: dict[str, float], kept: AlkaliTest, small: Path
) -> None:
    at = form(writing("B-2"), "B-2", "an alkali test")
    at.button_group(key="test-B-2-0-method").set_value(method).run()
    for name, value in fill.items():
        at.number_input(key=f"test-B-2-0-{name}").set_value(value)
    only(at.button, "Save").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        assert journal.batch("B-2").records(AlkaliTest)[-1][1] == kept


def test_a_look_and_the_room_are_kept(small: Path) -> None:
    at = form(writing("B-2"), "B-2", "a surface check")
    at.radio(key="look-B-2-0-look").set_value("ash")
    only(at.button, "Save").click().run()
    at = form(writing("B-2"), "B-2", "the room, other readings")
    at.number_input(key="room-B-2-0-room humidity").set_value(55.0)
    only(at.button, "Save").click().run()
    with Journal.open(small) as journal:
        batch = journal.batch("B-2")
    assert batch.records(SurfaceNote)[0][1].look == "ash"
    assert batch.records(ScalarReading)[0][1] == ScalarReading("room humidity", 55.0)


def test_what_is_typed_of_a_strips_key_is_answered_at_once(empty: Path) -> None:
    told = "Each pH once, with a space between them"
    at = app("strips")
    for typed, wrong in (("7 7,5 8", False), ("7 7,5 x", True), ("7 7.5 7", True)):
        at.text_input(key="key-ph").set_value(typed).run()
        assert (told in text_of(at)) == wrong, typed
    with Journal.open(empty) as journal:
        journal.add("", StripKeyEnrolled("half steps", "L-77", "", ()), at=NOW, by="Ott (invented)")
    at.run()
    at.button_group(key="strip-key-0-todo").set_value("Enrol a key").run()
    at.text_input(key="key-name").set_value("half steps").run()
    assert "It takes the place of the key half steps of lot L-77." in text_of(at)


def test_the_moment_it_darkens_is_answered(small: Path) -> None:
    with Journal.open(small) as journal:
        journal.add("B-2", Event("colour changed"), at=NOW, by="Ann")
    at = writing("B-2")
    assert not at.exception
    assert "It darkened: what earlier batches did" in text_of(at)


def test_what_a_workshop_answers_for_is_entered_by_its_forms(small: Path) -> None:
    at = writing("B-1")
    at.button_group(key="business-B-1").set_value("where it lies").run()
    at.text_input(key="where-it-lies-B-1-0-rack").set_value("rack A")
    at.text_input(key="where-it-lies-B-1-0-tray").set_value("tray 3")
    only(at.button, "Save").click().run()
    assert not at.exception and not at.error
    at.button_group(key="business-B-1").set_value("rules of this batch alone").run()
    at.number_input(key="own-rules-B-1-0-min_age_days").set_value(90.0)
    at.text_input(key="own-rules-B-1-0-why").set_value("poured with much water")
    only(at.button, "Save").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        batch = journal.batch("B-1")
        assert batch.place == "rack A, tray 3"
        assert workflow.limits_of(journal, batch).min_age_days == 90


def test_the_scales_display_is_kept_beside_its_weights_and_its_step_is_remembered(small: Path) -> None:
    at = form(writing("B-1"), "B-1", "a weight")
    at.number_input(key="weigh-B-1-0-of-bar 1").set_value(106.4)
    at.file_uploader(key="weigh-B-1-0-display").set_value(("scale.jpg", plain_jpeg(3), "image/jpeg"))
    at.selectbox(key="weigh-B-1-0-step-g").set_value(0.5)
    only(at.button, "Save").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        kept = journal.batch("B-1").of(Weighing)[-1]
        assert kept.photo is not None and journal.photo_bytes(kept.photo) == plain_jpeg(3)
    at = form(writing("B-2"), "B-2", "a weight")
    assert at.selectbox(key="weigh-B-2-0-step-g").value == 0.5, "of the scale, not of the batch"


def test_all_marked_bars_are_numbered_and_three_are_offered_at_first(small: Path) -> None:
    at = form(writing("B-2"), "B-2", "a weight")
    assert [field.label[:8] for field in at.number_input if field.key.startswith("weigh-B-2-0-of")] == [
        "1. bar 1",
        "2. bar 2",
        "3. bar 3",
    ]
