"""Every page draws, on an empty journal and on a small one, and does what it offers."""

from __future__ import annotations

import ast
import inspect
import re
import threading
from dataclasses import replace
from datetime import timedelta, timezone
from pathlib import Path
from typing import Any

import pytest

from curejournal.batch.records import (
    AlkaliTest,
    ColourReading,
    Decision,
    Event,
    PhotoNote,
    PhotoView,
    Portion,
    SurfaceNote,
    Withdrawn,
)
from curejournal.batch.workshop import RoomLog
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import Journal
from curejournal.soap.recipe import Embed, Recipe
from curejournal.ui import frame
from curejournal.ui.frame import all_pages
from curejournal.ui.state import background, cache
from curejournal.ui.state.signed_in import SignedIn
from curejournal.workflow.photos.showing import cover, shown_photos
from tests.ui.journals import NOW, POUR, plain_jpeg, reading
from tests.ui.pages import app, ended, only, section, text_of


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


@pytest.mark.parametrize("section", ["Checks", "Log", "Timeline", "Colour", "Readings", "History"])
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
    assert only(at.button, "Review and release")
    assert "all checks passed" in text_of(at).lower()


def test_what_is_due_is_done_from_there_and_then_due_no_more(small: Path) -> None:
    at = app("today")
    only(at.button, "Review and release").click().run()
    only(at.text_input, "Your name, in full: it stands as the signature").input("Ann Example")
    only(at.text_area, "What you state").input("Looked at, all sound.")
    only(at.button, "Sign").click().run()
    assert not at.exception and not at.error
    assert "Review and release" not in [button.label for button in at.button]
    assert at.title[0].value == "2 things to do today", "without going elsewhere"


def test_what_is_on_sale_with_pieces_of_a_held_batch_asks_for_a_decision(small: Path) -> None:
    with Journal.open(small) as journal:
        (old,) = journal.batch("B-1").of(Recipe)
        journal.add("B-1", replace(old.record, embeds=(Embed("B-2", 50.0),)), at=old.at, by="Ann", supersedes=old.id)
        journal.add("B-1", Decision("release", "Ann", "sound", "1", "{}"), at=NOW - timedelta(days=1), by="Ann")
    assert "Decide whether it stays on sale" not in [button.label for button in app("today").button]
    with Journal.open(small) as journal:
        journal.add("B-2", Decision("hold", "Ann", "smells", "1", "{}"), at=NOW, by="Ann")
    at = app("today")
    assert only(at.button, "Decide whether it stays on sale")
    assert "pieces of batch B-2 in it, which is held back" in text_of(at)


def test_what_has_pieces_of_a_batch_that_is_held_meanwhile_is_not_to_be_released(small: Path) -> None:
    with Journal.open(small) as journal:
        (old,) = journal.batch("B-1").of(Recipe)
        journal.add("B-1", replace(old.record, embeds=(Embed("B-2", 50.0),)), at=old.at, by="Ann", supersedes=old.id)
    at = app("today")
    assert only(at.button, "Review and release")
    with Journal.open(small) as journal:
        journal.add("B-2", Decision("hold", "Ann", "smells", "1", "{}"), at=NOW, by="Ann")
    at.run()
    assert "Review and release" not in [button.label for button in at.button]
    assert "pieces of batch B-2 in it, which is held back" in text_of(at)


def test_portions_that_want_a_photo_are_one_thing_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CUREJOURNAL_JOURNAL", str(tmp_path))
    with Journal.open(tmp_path) as journal:
        journal.set_setting("calendar stands at", NOW.isoformat())
        portions = [Portion(name, 0, (80.0, 0.0, 10.0)) for name in ("amber", "cream", "mint")]
        journal.start_batch("B-1", "Three", at=POUR, by="Ann", records=[*portions, Event("poured")])
    assert only(app("today").button, "Photograph amber, cream and mint")


def test_the_demos_calendar_is_said_to_stand_still(small: Path) -> None:
    assert "Its calendar is set to 25 Nov 2026" in text_of(app("today"))


def test_what_a_maker_typed_is_shown_as_text(small: Path) -> None:
    for slug in ("today", "batches", "batch"):
        at = app(slug, batch="B-3")
        for element in at.get("html"):
            pictures = re.sub(r'<img src="data:image/svg[^"<>]*" alt="[^"<>]*"[^<>]*>', "", element.proto.body)
            assert "<img" not in pictures, "no other picture than our own drawings"
        for element in [*at.markdown, *at.title, *at.caption, *at.success]:
            assert "![x](" not in element.value and "**loud**" not in element.value
            assert not re.search(r"https?\\?:", element.value), "an address that stands bare would become a link"


def test_a_ready_batch_is_released_by_a_signature_and_says_so(small: Path) -> None:
    at = app("batch", batch="B-1")
    only(at.text_input, "Your name, in full: it stands as the signature").input("Ann Example")
    only(at.text_area, "What you state").input("Looked at, smelled, all sound.")
    only(at.button, "Sign").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        (_, decision), *_ = journal.batch("B-1").records(Decision)
    assert decision.act == "release" and decision.signed_by == "Ann Example" and len(decision.evidence) > 500


def test_a_photo_from_another_zone_says_whose_clock_it_shows(small: Path) -> None:
    tokyo = timezone(timedelta(hours=9))
    taken = (NOW - timedelta(hours=5)).astimezone(tokyo)  # 25 Nov, 04:00 here
    data = plain_jpeg(3)
    with Journal.open(small) as journal:
        photo = journal.keep_photo(data, PhotoFacts(".jpg", 64, 48, taken, "exif", "far.jpg"))
        journal.add("B-2", PhotoNote("far away"), at=taken, by="Ann", photo=photo.sha256)
        near = journal.add("B-2", Event("note", note="here"), at=NOW - timedelta(hours=5), by="Ann")
        far = journal.add("B-2", Event("note", note="there"), at=taken, by="Ann")
    for name in ("Timeline", "History"):
        told = text_of(section("B-2", name)).replace("\\", "")
        assert "25 Nov 2026, 13:00 (UTC+9)" in told, name
        assert "25 Nov 2026, 04:00 (" not in told, name
    assert "13:00 (UTC+9)" in text_of(app("photo", photo=photo.sha256)).replace("\\", "")
    # Corrected, its time is asked for by the clock of this journal.
    at = section("B-2", "History")
    at.button(key=f"touch-history-{far.id}").click().run()
    assert only(at.datetime_input, "When").value == near.at.replace(tzinfo=None)
    at.text_input(key=f"correct-{far.id}-note").input("over there")
    at.button(key=f"correct-{far.id}-save").click().run()
    with Journal.open(small) as journal:
        last = journal.history("B-2")[-1]
    assert (last.record.note, last.at, last.at.utcoffset()) == ("over there", taken, timedelta(hours=9))


def test_a_photo_says_what_limits_its_colours(small: Path) -> None:
    known = {"grade": "indicative", "reasons": ("It is only roughly known.",), "area": "[[2,2],[40,2],[40,40],[2,40]]"}
    with Journal.open(small) as journal:
        (first, *_) = journal.batch("B-1").of(ColourReading)
        rough = replace(first.record, **known)
        journal.add("B-1", rough, at=first.at, by="Ann", supersedes=first.id, photo=first.photo)
    at = app("photo", photo=first.photo)
    assert "It is only roughly known." in text_of(at) and not at.exception


def test_a_release_under_an_earlier_edition_of_the_rules_says_so_above_every_section(small: Path) -> None:
    with Journal.open(small) as journal:
        for code in ("B-1", "B-2"):
            signed = Decision("release", "Kaja (invented)", "I looked at every bar.", "1", "{}")
            journal.add(code, signed, at=NOW - timedelta(hours=1), by="Kaja (invented)")
    ready = text_of(section("B-1", "Readings"))
    assert (
        "Released under edition 1 of the rules" in ready
        and "By these rules too it could have been released then" in ready
    )
    at = app("batch", batch="B-2")
    (warned,) = [warning.value.replace("\\", "") for warning in at.warning if "edition 1" in warning.value]
    assert "By them it could not have been released then: alkali: no alkali test yet" in warned
    assert "Decide whether it stays on sale" in warned
    assert "under edition" not in text_of(app("batch", batch="B-3"))
    at = app("today")
    assert only(at.button, "Decide whether it stays on sale").key == "do-decide-B-2"
    assert "alkali: no alkali test yet" in text_of(at)


def test_why_a_batch_is_held_is_said_on_the_day_of_its_pour_too(small: Path) -> None:
    assert "Not before about" in text_of(section("B-2", "Checks")), "no date alone makes it ready"
    with Journal.open(small) as journal:
        journal.add("B-2", AlkaliTest("meter", ph=12.4, half_width=0.1, strength_pct=1), at=NOW, by="Ann")
    at = app("batch", batch="B-2")
    assert at.button_group(key="section-B-2").value == "Log", "it was just poured"
    assert "Because of alkali (meter of 25 November: pH 12.3 to 12.5 at 1%: not for sale" in text_of(at)


def test_nothing_can_be_released_before_it_is_ready(small: Path) -> None:
    at = section("B-2", "Checks")
    at.radio(key="act-B-2").set_value("release").run()
    assert only(at.button, "Sign").disabled
    assert "It cannot be released now" in text_of(at)


def test_a_signature_has_no_undo_and_a_hold_is_lifted_by_another(small: Path) -> None:
    at = section("B-2", "Checks")
    assert "lift hold" not in at.radio(key="act-B-2").options and len(at.radio(key="act-B-2").options) == 2
    for act, said in (("hold", "It smells."), ("lift hold", "It was the room.")):
        at.radio(key="act-B-2").set_value(act).run()
        only(at.text_input, "Your name, in full: it stands as the signature").input("Ann Example")
        only(at.text_area, "What you state").input(said)
        only(at.button, "Sign").click().run()
        assert not at.exception and not at.error
        assert not only(at.text_area, "What you state").value, "a second press must not sign the same again"
        assert "Kept for B" in text_of(at) and "Undo" not in [button.label for button in at.button]
    with Journal.open(small) as journal:
        (hold, lifted) = journal.batch("B-2").of(Decision)
    assert (hold.record.act, lifted.record.act) == ("hold", "lift hold")
    at = section("B-2", "History")
    at.button(key=f"touch-history-{hold.id}").click().run()
    assert "A signature stays." in text_of(at)
    assert "Take it back" not in [button.label for button in at.button]


def test_a_signature_without_a_name_is_refused(small: Path) -> None:
    at = app("batch", batch="B-1")
    only(at.button, "Sign").click().run()
    assert any("Say in your own words" in told.value for told in at.info)
    at.text_area(key="sign-B-1-0-statement").input("Cured and tested.")
    only(at.button, "Sign").click().run()
    assert at.error
    with Journal.open(small) as journal:
        assert not journal.batch("B-1").records(Decision)


def test_house_rules_are_kept_and_judged_by(small: Path) -> None:
    at = app("rules")
    at.number_input(key="rule-min_age_days").set_value(90.0)
    only(at.button, "Save").click().run()
    assert not at.exception and at.success
    assert "60 of 90 days" in "".join(e.label for e in app("batch", batch="B-1").expander)


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
    at.selectbox(key="right-").set_value("B-2").run()
    assert not at.exception and "They differ, and it shows." in text_of(at)


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
    background.put_away(str(small), "backup")


def test_long_work_is_left_and_found_again(small: Path) -> None:
    gate = threading.Event()

    def waits(tell: background.Tell) -> str:
        tell(0.5, "half of it")
        gate.wait(20)
        return "made"

    background.begin(str(small), "backup", "Making a backup", waits)
    assert only(app("backup").button, "Make a backup").disabled, "the same work is not begun twice"
    assert background.begin(str(small), "backup", "Another", waits).title == "Making a backup"
    assert not app("today").exception, "another page goes on meanwhile"
    gate.set()
    assert ended(app("today"), small, "backup") and background.done(str(small), "backup").result == "made"
    background.put_away(str(small), "backup")


def test_work_that_breaks_off_says_so(small: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(threading, "excepthook", lambda fault: None)
    background.begin(str(small), "backup", "Making a backup", lambda tell: 1 / 0)
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
    at = app("inbox")
    assert not at.exception and not at.error
    told = text_of(at)
    assert told.index("the photo is blurred") < told.index("Which batch is it?"), "it may still be taken again"
    key = f"tray-{kept.sha256[:12]}"
    at.selectbox(key=f"{key}-batch").set_value("B-1").run()
    at.button(key=f"{key}-place").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        assert kept.sha256 in {entry.photo for entry in journal.batch("B-1").entries}
    assert "No photo waits" in text_of(at)


def test_a_photo_that_is_none_of_the_journals_is_set_aside_and_stays_kept(small: Path) -> None:
    with Journal.open(small) as journal:
        facts = PhotoFacts(".jpg", 64, 48, NOW, "exif", "cat.jpg")
        kept = journal.keep_photo(plain_jpeg(98), facts)
    at = app("inbox")
    at.button(key=f"tray-{kept.sha256[:12]}-aside").click().run()
    assert "No photo waits" in text_of(at)
    assert at.toggle(key="aside").label == "Set aside: 1"


@pytest.mark.parametrize("page", all_pages().values(), ids=lambda page: page.slug)
def test_a_page_is_short_and_only_asks_and_shows(page: Any) -> None:
    source = Path(inspect.getfile(page.load())).read_text("utf-8")
    # Statements, since a long sentence may take several lines.
    assert sum(isinstance(node, ast.stmt) for node in ast.walk(ast.parse(source))) < 120
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


def test_a_photo_without_a_card_is_balanced_by_the_soap_from_its_own_page(small: Path) -> None:
    at_noon = NOW - timedelta(days=2)
    with Journal.open(small) as journal:
        data = plain_jpeg(90)
        photo = journal.keep_photo(data, PhotoFacts(".jpg", 64, 48, at_noon, "exif", "shelf.jpg"))
        journal.add("B-1", PhotoNote("", "taken without a card"), at=at_noon, by="Ann", photo=photo.sha256)
    at = app("photo", photo=photo.sha256)
    at.toggle(key=f"change-view-{photo.sha256}").set_value(True).run()
    key = f"view-of-{photo.sha256[:12]}"
    at.toggle(key=f"{key}-cover").set_value(True).run()
    at.button_group(key=f"{key}-turn").set_value("To the right").run()
    at.button(key=f"{key}-keep").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        ((_, view),) = journal.batch("B-1").records(PhotoView)
        stands = cover(shown_photos(journal.batch("B-1")))
    assert view.cover and view.turn_deg == 90.0 and view.portion == "soap", "the middle is proposed"
    assert stands is not None and stands.words == "Balanced by the soap"
    assert not app("batch", batch="B-1").exception


@pytest.mark.parametrize(("slug", "query"), [("batches", {}), ("today", {}), ("batch", {"batch": "B-1"})])
def test_a_photo_that_is_missing_takes_no_page_with_it(slug: str, query: dict[str, str], small: Path) -> None:
    cache.true_picture.clear()  # what was made of the same photos in another journal
    for photo in (small / "photos").rglob("*.jpg"):
        photo.unlink()
    at = app(slug, **query)
    assert not at.exception
    told = text_of(at)
    assert "This photo cannot be read." in told or "is missing" in told
    assert len(told) > 500, "all else is there"


def test_more_batches_than_fit_the_wall_come_up_by_a_press(small: Path) -> None:
    with Journal.open(small) as journal:
        for number in range(30):
            journal.start_batch(f"N-{number}", f"Soap {number}", at=NOW - timedelta(days=number), by="Ann")
    at = app("batches")
    assert not at.exception
    cards = len([one for one in at.get("page_link") if "batch=" in str(one.proto)])
    at.button(key="wall-more").click().run()
    assert not at.exception
    assert len([one for one in at.get("page_link") if "batch=" in str(one.proto)]) == 33 > cards


def test_undoing_a_test_asks_why_and_keeps_the_reason(small: Path) -> None:
    with Journal.open(small) as journal:
        kept = journal.add("B-2", SurfaceNote("ash"), at=NOW - timedelta(hours=1), by="Ann Example")
    at = section("B-2", "Checks")
    at.session_state["kept"] = ("B-2", (kept,))
    at.run()
    at.button(key="undo").click().run()
    assert "The reason is empty" in " ".join(error.value for error in at.error)
    with Journal.open(small) as journal:
        assert kept.id in {entry.id for entry in journal.batch("B-2").entries}
    at.text_input(key="undo-why").input("That was another batch.").run()
    at.button(key="undo").click().run()
    assert not at.error and not at.exception
    with Journal.open(small) as journal:
        assert kept.id not in {entry.id for entry in journal.batch("B-2").entries}
        assert journal.history("B-2")[-1].record == Withdrawn("That was another batch.")


def test_the_verdict_on_a_page_knows_the_workshops_room_log(small: Path) -> None:
    noted = tuple((NOW - timedelta(days=number), 18.0, 71.0) for number in range(10, 0, -1))
    assert "room humidity" not in text_of(section("B-1", "Checks"))
    with Journal.open(small) as journal:
        journal.add("", RoomLog("cellar.csv", noted), at=NOW - timedelta(hours=2), by="Ann Example")
    assert "71% RH" in text_of(section("B-1", "Checks"))
    # A second file of the same days alters their means, though no more days have one.
    again = tuple((at + timedelta(hours=1), 18.0, 51.0) for at, _, _ in noted)
    with Journal.open(small) as journal:
        journal.add("", RoomLog("loft.csv", again), at=NOW - timedelta(hours=1), by="Ann Example")
    assert "61% RH" in text_of(section("B-1", "Checks"))
