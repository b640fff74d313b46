"""Every page draws, on an empty journal and on a small one, and does what it offers."""

from __future__ import annotations

import re
import sys
import threading
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from curejournal.cure.records import (
    AlkaliTest,
    Decision,
    Event,
    Portion,
    ScalarReading,
    SurfaceNote,
    Weighing,
    Withdrawn,
)
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import Journal
from curejournal.ui import frame, work
from curejournal.ui.frame import all_pages
from curejournal.ui.signed_in import SignedIn
from tests.ui.journals import NOW, POUR, plain_jpeg, reading, small_journal


@pytest.fixture(autouse=True)
def own_main() -> Iterator[None]:
    """Put the main module back: a script under test takes its place, and processes started later would look for it."""
    main = sys.modules["__main__"]
    yield
    sys.modules["__main__"] = main


@pytest.fixture
def small(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = small_journal(tmp_path / "small")
    monkeypatch.setenv("CUREJOURNAL_JOURNAL", str(folder))
    return folder


@pytest.fixture
def empty(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("CUREJOURNAL_JOURNAL", str(tmp_path / "empty"))
    return tmp_path / "empty"


def app(slug: str, **query: str) -> AppTest:
    def draw(first: str) -> None:
        from curejournal.ui.frame import run

        run(first)

    at = AppTest.from_function(draw, args=(slug,), default_timeout=60)
    for name, value in query.items():
        at.query_params[name] = value
    return at.run()


def text_of(at: AppTest) -> str:
    kinds = (at.markdown, at.caption, at.error, at.warning, at.info, at.success, at.title, at.subheader)
    return "\n".join([str(e.value) for kind in kinds for e in kind] + [str(e.proto.body) for e in at.get("html")])


def only(elements: Any, label: str) -> Any:
    """The one widget with a label."""
    found = [element for element in elements if element.label == label]
    assert len(found) == 1, [element.label for element in elements]
    return found[0]


@pytest.mark.parametrize("slug", all_pages())
def test_every_page_draws_on_an_empty_journal(slug: str, empty: Path) -> None:
    at = app(slug)
    assert not at.exception and not at.error
    assert len(text_of(at)) > 100, "an empty page explains itself"


@pytest.mark.parametrize("slug", all_pages())
@pytest.mark.parametrize("code", ["B-1", "B-2", "B-3"])
def test_every_page_draws_on_a_small_journal(slug: str, code: str, small: Path) -> None:
    at = app(slug, batch=code)
    assert not at.exception and not at.error


@pytest.mark.parametrize("section", ["Evidence", "Write down", "Story", "Colour", "Readings", "History"])
@pytest.mark.parametrize("code", ["B-1", "B-2", "B-3"])
def test_every_section_of_a_batch_draws(section: str, code: str, small: Path) -> None:
    at = app("batch", batch=code)
    at.button_group(key=f"section-{code}").set_value(section).run()
    assert not at.exception and not at.error
    assert at.button_group(key=f"section-{code}").value == section


def test_an_empty_journal_names_the_first_steps_and_the_demo(empty: Path) -> None:
    words = text_of(app("today"))
    assert "Three steps" in words and "A demo journal stands beside yours" in words


def test_what_is_due_is_named_with_its_reason(small: Path) -> None:
    at = app("today")
    assert only(at.button, "Release it, if you agree")
    assert "every gauge says go" in text_of(at).lower()


def test_what_is_due_is_done_from_there_and_then_due_no_more(small: Path) -> None:
    at = app("today")
    only(at.button, "Release it, if you agree").click().run()
    at.text_input(key="signed-B-1").input("Ann Example")
    at.text_area(key="statement-B-1").input("Looked at, all sound.")
    only(at.button, "Sign").click().run()
    assert not at.exception and not at.error
    assert "Release it, if you agree" not in [button.label for button in at.button]
    assert at.title[0].value == "Today", "without going elsewhere"


def test_portions_that_want_a_photo_are_one_thing_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CUREJOURNAL_JOURNAL", str(tmp_path))
    with Journal.open(tmp_path) as journal:
        journal.set_setting("calendar stands at", NOW.isoformat())
        portions = [Portion(name, 0, (80.0, 0.0, 10.0)) for name in ("amber", "cream", "mint")]
        journal.start_batch("B-1", "Three", at=POUR, by="Ann", records=[*portions, Event("poured")])
    assert only(app("today").button, "Photograph amber, cream and mint")


def test_in_the_demo_two_acts_share_no_moment(small: Path) -> None:
    at = writing("B-2")
    only(at.button, "Trace").click().run()
    only(at.button, "Thickening").click().run()
    with Journal.open(small) as journal:
        first, second = [entry.at for entry in journal.batch("B-2").of(Event)][-2:]
    assert second - first == timedelta(minutes=1) and second.date() == NOW.date()


def test_the_demos_calendar_is_said_to_stand_still(small: Path) -> None:
    assert "Its calendar stands at 25 Nov 2026" in text_of(app("today"))


def test_what_a_maker_typed_is_shown_as_text(small: Path) -> None:
    for slug in ("today", "batches", "batch"):
        at = app(slug, batch="B-3")
        for element in at.get("html"):
            assert "<img" not in element.proto.body.replace("&lt;img", "")
        for element in [*at.markdown, *at.title, *at.caption, *at.success]:
            assert "![x](" not in element.value and "**loud**" not in element.value


def test_a_ready_batch_is_released_by_a_signature_and_says_so(small: Path) -> None:
    at = app("batch", batch="B-1")
    at.text_input(key="signed-B-1").input("Ann Example")
    at.text_area(key="statement-B-1").input("Looked at, smelled, all sound.")
    only(at.button, "Sign").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        (_, decision), *_ = journal.batch("B-1").records(Decision)
    assert decision.act == "release" and decision.signed_by == "Ann Example" and len(decision.evidence) > 500


def test_nothing_can_be_released_before_it_is_ready(small: Path) -> None:
    at = section("B-2", "Evidence")
    at.radio(key="act-B-2").set_value("release").run()
    assert only(at.button, "Sign").disabled
    assert "It cannot be released now" in text_of(at)


def test_a_signature_without_a_name_is_refused(small: Path) -> None:
    at = app("batch", batch="B-1")
    only(at.button, "Sign").click().run()
    assert at.error
    with Journal.open(small) as journal:
        assert not journal.batch("B-1").records(Decision)


def entries(folder: Path, code: str) -> int:
    with Journal.open(folder) as journal:
        return len(journal.batch(code).entries)


def section(code: str, name: str) -> AppTest:
    at = app("batch", batch=code)
    return at.button_group(key=f"section-{code}").set_value(name).run()


def writing(code: str) -> AppTest:
    return section(code, "Write down")


def ended(at: AppTest, folder: Path, name: str) -> AppTest:
    """The page once its long work is over."""
    for _ in range(400):
        if not work.is_going(str(folder), name):
            return at.run()
        time.sleep(0.05)
    raise AssertionError(f"{name} did not end")


def form(at: AppTest, code: str, name: str) -> AppTest:
    return at.button_group(key=f"form-{code}").set_value(name).run()


def test_a_large_button_keeps_an_event_at_once_and_undo_takes_it_back(small: Path) -> None:
    before = entries(small, "B-2")
    at = writing("B-2")
    only(at.button, "Trace").click().run()
    assert not at.exception and not at.error
    assert entries(small, "B-2") == before + 1
    at.button(key="undo").click().run()
    assert entries(small, "B-2") == before
    with Journal.open(small) as journal:
        assert isinstance(journal.history("B-2")[-1].record, Withdrawn), "undone, not erased"


def test_a_weight_is_kept(small: Path) -> None:
    at = form(writing("B-2"), "B-2", "a weight")
    at.number_input(key="weigh-B-2-0-new").set_value(130.5)
    only(at.button, "Keep the weights").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        assert journal.batch("B-2").records(Weighing)[0][1].grams == 130.5


def test_an_unlikely_weight_is_asked_about_and_kept_once_confirmed(small: Path) -> None:
    at = form(writing("B-1"), "B-1", "a weight")
    at.number_input(key="weigh-B-1-0-bar 1").set_value(10.65)
    only(at.button, "Keep the weights").click().run()
    assert "slipped decimal" in text_of(at)
    before = entries(small, "B-1")
    at.button(key="keep-doubted").click().run()
    assert entries(small, "B-1") == before + 1
    with Journal.open(small) as journal:
        assert journal.batch("B-1").records(Weighing)[-1][1].confirmed


def test_an_unlikely_weight_can_be_dropped(small: Path) -> None:
    before = entries(small, "B-1")
    at = form(writing("B-1"), "B-1", "a weight")
    at.number_input(key="weigh-B-1-0-bar 1").set_value(10.65)
    only(at.button, "Keep the weights").click().run()
    at.button(key="drop-doubted").click().run()
    assert entries(small, "B-1") == before


def test_an_impossible_weight_is_refused_with_what_is_safe(small: Path) -> None:
    before = entries(small, "B-1")
    at = form(writing("B-1"), "B-1", "a weight")
    at.number_input(key="weigh-B-1-0-bar 1").set_value(-3.0)
    only(at.button, "Keep the weights").click().run()
    assert any("cannot be" in e.value and "Nothing in the journal was changed" in e.value for e in at.error)
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
    only(at.button, "Keep the test").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        assert journal.batch("B-2").records(AlkaliTest)[-1][1] == kept


def test_a_look_and_the_room_are_kept(small: Path) -> None:
    at = form(writing("B-2"), "B-2", "a look at the surface")
    at.radio(key="look-B-2-0-look").set_value("ash")
    only(at.button, "Keep the look").click().run()
    at = form(writing("B-2"), "B-2", "the room")
    at.number_input(key="room-B-2-0-room humidity").set_value(55.0)
    only(at.button, "Keep the readings").click().run()
    with Journal.open(small) as journal:
        batch = journal.batch("B-2")
    assert batch.records(SurfaceNote)[0][1].look == "ash"
    assert batch.records(ScalarReading)[0][1] == ScalarReading("room humidity", 55.0)


def test_a_correction_supersedes_and_both_stay_in_the_history(small: Path) -> None:
    at = app("batch", batch="B-1")
    at.button_group(key="section-B-1").set_value("History").run()
    at.toggle(key="correct-B-1").set_value(True).run()
    with Journal.open(small) as journal:
        wrong = next(e for e in journal.batch("B-1").entries if e.record == Weighing("bar 1", 107.6, 0.1))
    at.selectbox(key="which-B-1").set_value(wrong.id).run()
    at.number_input(key=f"correct-{wrong.id}-grams").set_value(107.8)
    only(at.button, "Keep the correction").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        weights = [weighing.grams for _, weighing in journal.batch("B-1").records(Weighing)]
        assert wrong.id in {entry.id for entry in journal.history("B-1")}
    assert 107.8 in weights and 107.6 not in weights
    assert "corrected by" in text_of(at)


def test_an_entry_is_taken_back_only_with_a_reason(small: Path) -> None:
    at = app("batch", batch="B-1")
    at.button_group(key="section-B-1").set_value("History").run()
    at.toggle(key="correct-B-1").set_value(True).run()
    with Journal.open(small) as journal:
        entry = journal.batch("B-1").of(SurfaceNote)[0]
    at.selectbox(key="which-B-1").set_value(entry.id).run()
    only(at.button, "Take it back").click().run()
    assert at.error
    at.text_input(key=f"why-{entry.id}").input("it was another batch")
    only(at.button, "Take it back").click().run()
    with Journal.open(small) as journal:
        assert not journal.batch("B-1").of(SurfaceNote)


def test_house_rules_are_kept_and_judged_by(small: Path) -> None:
    at = app("rules")
    at.number_input(key="rule-min_age_days").set_value(90.0)
    only(at.button, "Keep these rules").click().run()
    assert not at.exception and at.success
    assert "60 of 90 days" in "".join(e.label for e in app("batch", batch="B-1").expander)


def start_form(at: AppTest) -> AppTest:
    at.toggle(key="start-batch").set_value(True).run()
    return at


def test_a_batch_is_started_with_its_lye_checked_before_the_pour(small: Path) -> None:
    at = start_form(app("batches"))
    at.text_input(key="start-None-code").input("B-9")
    at.text_input(key="start-None-name").input("Fresh")
    at.selectbox(key="start-None-oil-0-what").set_value("olive")
    at.number_input(key="start-None-oil-0-g").set_value(1000.0)
    at.number_input(key="start-None-liquid-0-g").set_value(300.0)
    at.selectbox(key="start-None-alkali-0-what").set_value("NaOH")
    at.number_input(key="start-None-alkali-0-g").set_value(150.0)
    at.run()
    words = text_of(at)
    assert "Superfat" in words and "Do not pour" in words and "goggles" in words
    only(at.button, "Start the batch").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        batch = journal.batch("B-9")
    assert batch.recipe is not None and batch.recipe.oils[0].grams == 1000.0 and batch.portions[0].name == "soap"


def test_a_batch_begun_like_an_earlier_one_has_its_recipe_and_portions(small: Path) -> None:
    at = start_form(app("batches"))
    at.selectbox(key="like-None").set_value("B-1").run()
    at.text_input(key="start-B-1-code").input("B-10")
    only(at.button, "Start the batch").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        fresh, model = journal.batch("B-10"), journal.batch("B-1")
    assert fresh.recipe is not None and model.recipe is not None
    assert fresh.recipe == model.recipe
    assert fresh.portions[0].intended_lab == model.portions[0].intended_lab


def test_pouring_another_like_this_takes_two_presses(small: Path) -> None:
    at = app("batches", like="B-1")
    assert at.text_input(key="start-B-1-code").value == "B-4", "the next free code"
    only(at.button, "Start the batch").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        assert journal.batch("B-4").recipe == journal.batch("B-1").recipe


def test_two_dates_of_a_portion_stand_side_by_side_with_their_difference(small: Path) -> None:
    at = app("compare", batch="B-1")
    assert "A difference is not proven." in text_of(at)
    first, last = at.select_slider[0].value
    assert first == "27 Sep 2026, 09:00" and last == "20 Nov 2026, 09:00", "the first and the latest, to begin with"
    at.select_slider[0].set_range(first, "6 Oct 2026, 09:00").run()
    assert "6 Oct 2026, 09:00" in text_of(at) and not at.exception


def test_two_batches_stand_side_by_side(small: Path) -> None:
    with Journal.open(small) as journal:
        journal.add("B-2", reading((60.0, 10.0, 30.0), "a"), at=NOW, by="Ann")
    at = app("compare", batch="B-1")
    at.toggle(key="two").set_value(True).run()
    at.selectbox(key="right-B-1").set_value("B-2").run()
    assert not at.exception and "They differ." in text_of(at)


def test_a_material_is_shown_with_its_batches_and_lots(small: Path) -> None:
    at = app("materials")
    words = text_of(at)
    assert "lot F-1" in words and "30\u00a0g" in words


def test_a_backup_is_written_into_a_folder_and_a_missing_one_is_refused(small: Path, tmp_path: Path) -> None:
    at = app("backup")
    at.text_input(key="backup-folder").input(str(tmp_path / "nowhere"))
    only(at.button, "Make a backup").click().run()
    assert any("There is no folder" in e.value for e in ended(at, small, "backup").error)
    (tmp_path / "stick").mkdir()
    at.text_input(key="backup-folder").input(str(tmp_path / "stick"))
    only(at.button, "Make a backup").click().run()
    assert ended(at, small, "backup").success and len(list((tmp_path / "stick").iterdir())) == 1


def test_where_the_journal_is_kept_is_told_at_this_computer_only(
    small: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert str(small) in text_of(app("backup"))
    monkeypatch.setattr(frame, "signed_in", lambda: SignedIn("Ann", reads_only=False))
    (tmp_path / "stick").mkdir()
    at = app("backup")
    at.text_input(key="backup-folder").input(str(tmp_path / "stick"))
    only(at.button, "Make a backup").click().run()
    at = ended(at, small, "backup")
    assert len(at.success) == 1 and str(tmp_path) not in text_of(at).replace("\\", "")
    work.put_away(str(small), "backup")


def test_long_work_is_left_and_found_again(small: Path) -> None:
    gate = threading.Event()

    def waits(tell: work.Tell) -> str:
        tell(0.5, "half of it")
        gate.wait(20)
        return "made"

    work.begin(str(small), "backup", "Making a backup", waits)
    assert only(app("backup").button, "Make a backup").disabled, "the same work is not begun twice"
    assert work.begin(str(small), "backup", "Another", waits).title == "Making a backup"
    assert not app("today").exception, "another page goes on meanwhile"
    gate.set()
    assert ended(app("today"), small, "backup") and work.done(str(small), "backup").result == "made"
    work.put_away(str(small), "backup")


def test_work_that_breaks_off_says_so(small: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(threading, "excepthook", lambda fault: None)
    work.begin(str(small), "backup", "Making a backup", lambda tell: 1 / 0)
    at = ended(app("backup"), small, "backup")
    assert any("stopped before its end" in e.value for e in at.error)
    only(at.button, "All right").click().run()
    assert not at.error


def test_the_journal_is_checked_on_request(small: Path) -> None:
    at = app("backup")
    at.button(key="check").click().run()
    assert "Everything verifies." in text_of(ended(at, small, "check"))


def test_a_photo_in_the_tray_is_placed_by_its_answers(small: Path) -> None:
    with Journal.open(small) as journal:
        facts = PhotoFacts(".jpg", 64, 48, NOW - timedelta(days=3), "exif", "loose.jpg")
        kept = journal.keep_photo(plain_jpeg(99), facts)
    at = app("tray")
    assert not at.exception and not at.error
    assert "Which batch is it?" in text_of(at)
    key = f"tray-{kept.sha256[:12]}"
    at.selectbox(key=f"{key}-batch").set_value("B-1").run()
    at.button(key=f"{key}-story").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        assert kept.sha256 in {entry.photo for entry in journal.batch("B-1").entries}
    assert "No photo waits" in text_of(at)


def test_a_photo_that_is_none_of_the_journals_is_set_aside_and_stays_kept(small: Path) -> None:
    with Journal.open(small) as journal:
        facts = PhotoFacts(".jpg", 64, 48, NOW, "exif", "cat.jpg")
        kept = journal.keep_photo(plain_jpeg(98), facts)
    at = app("tray")
    at.button(key=f"tray-{kept.sha256[:12]}-aside").click().run()
    assert "No photo waits" in text_of(at)
    assert at.toggle(key="aside").label == "Set aside: 1"


def test_a_code_in_use_is_refused(small: Path) -> None:
    at = start_form(app("batches"))
    at.text_input(key="start-None-code").input("B-1")
    at.text_input(key="start-None-name").input("Again")
    only(at.button, "Start the batch").click().run()
    assert any("B-1 already" in e.value.replace("\\", "") for e in at.error)


@pytest.mark.parametrize("page", all_pages().values(), ids=lambda page: page.slug)
def test_a_page_is_short_and_only_asks_and_shows(page: Any) -> None:
    source = Path(__import__(page.render.__module__, fromlist=["x"]).__file__).read_text("utf-8")
    assert len(source.splitlines()) < 140
    for word in (r"^\s*try:", "@st.cache", r"\bselect\("):
        assert not re.search(word, source, re.MULTILINE)


def test_a_journal_that_cannot_be_opened_is_said_in_plain_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "damaged"
    folder.mkdir()
    (folder / "journal.sqlite").write_bytes(b"this is no database, though it is long enough to be looked at" * 40)
    monkeypatch.setenv("CUREJOURNAL_JOURNAL", str(folder))
    at = app("today")
    assert not at.exception and at.error
