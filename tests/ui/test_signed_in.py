"""The app behind the sign-in, in a real browser the size of a phone: who writes, who may only read, and the way out."""

from __future__ import annotations

import re
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from datetime import UTC
from typing import Any
from urllib.parse import urlsplit

import pytest

from curejournal import workflow
from curejournal.auth.people import People
from curejournal.auth.second_factor import STEP_S, code_at
from curejournal.batch.records import Event, Portion
from curejournal.journal.store import Journal
from curejournal.ui.frame import all_pages
from curejournal.workflow.demo import pictures_folder
from curejournal.workflow.photos import Source, add_photo
from tests.ui.conftest import SIZES, App
from tests.ui.journals import NOW, small_journal
from tests.ui.lan import served_lan
from tests.ui.steps import assert_accessible, assert_fits, current, go, press, profile, section, see, sent, settled

ANN, BEN = "Ann (invented)", "Ben (invented)"
WORDS = {ANN: "olive kettle rain window", BEN: "seven brown spoons left"}


@pytest.fixture(scope="module")
def lan(tmp_path_factory: pytest.TempPathFactory) -> Iterator[App]:
    """The command that a maker runs for the phone, on this computer's own address."""
    folder = small_journal(tmp_path_factory.mktemp("lan"))
    people = People(folder)
    people.add(ANN, WORDS[ANN])
    people.add(BEN, WORDS[BEN], reads_only=True)
    with Journal.open(folder) as journal:
        data, card = (pictures_folder() / "chamomile-1.jpg").read_bytes(), workflow.find_card("window")
        poured = workflow.when_taken(data, "", UTC)
        workflow.start_batch(
            journal, "C-1", "Chamomile", at=poured or NOW, by=ANN, now=NOW, records=[Portion("chamomile")]
        )
        add_photo(journal, "C-1", Source("chamomile-1.jpg", lambda: data), card, by=ANN, now=NOW)
    with served_lan(folder, tmp_path_factory.mktemp("log") / "server.txt") as app:
        yield app


@pytest.fixture
def phone(browser: Any) -> Iterator[Any]:
    """A phone that was never here before; it must not ask any other computer for anything."""
    context = profile(browser, **SIZES["phone"])
    page = context.new_page()
    asked: set[str] = set()
    page.on("request", lambda request: asked.add(request.url))
    page.on("websocket", lambda line: asked.add(line.url))
    yield page
    context.close()
    assert {urlsplit(url).hostname for url in asked if urlsplit(url).scheme in ("http", "ws")} <= {"127.0.0.1"}


@pytest.fixture(scope="module")
def reader(browser: Any, lan: App) -> Iterator[Any]:
    """The phone of one who may only read, signed in once."""
    context = profile(browser, **SIZES["phone"])
    page = context.new_page()
    sign_in(page, lan, BEN)
    yield page
    context.close()


def sign_in(page: Any, app: App, name: str, path: str = "") -> None:
    page.goto(f"{app.address}/{path}")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Passphrase").fill(WORDS[name])
    page.get_by_role("button", name="Sign in").click()
    settled(page)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_sign_in_page_fits_a_phone_and_is_accessible(scheme: str, phone: Any, lan: App) -> None:
    phone.emulate_media(color_scheme=scheme)
    phone.goto(lan.address)
    for wrong in (False, True):
        if wrong:
            phone.get_by_label("Name").fill(ANN)
            phone.get_by_label("Passphrase").fill("not this one, sorry")
            phone.keyboard.press("Enter")
            assert phone.get_by_role("alert").inner_text() == "The name or the passphrase is wrong."
        assert phone.locator("h1").inner_text() == "Sign in"
        for target in ("button", "input:not([type=hidden])"):
            assert all(place.bounding_box()["height"] >= 44 for place in phone.locator(target).all())
        assert_fits_alone(phone)
        assert_accessible(phone)


def assert_fits_alone(page: Any) -> None:
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0


def test_what_is_entered_on_the_phone_is_signed_by_who_signed_in(phone: Any, lan: App) -> None:
    before = current(lan, "B-2", Event)
    sign_in(phone, lan, ANN, "batch?batch=B-2")
    assert phone.url.endswith("/batch?batch=B-2"), "the page that was asked for, after the sign-in"
    section(phone, "Log")
    press(phone, "Gel phase")
    see(phone, re.compile("^✓ Saved:"))
    sent(phone)
    entered = [entry for entry in current(lan, "B-2", Event) if entry not in before]
    assert [(entry.by, entry.record.kind) for entry in entered] == [(ANN, "gel")]
    go(phone, lan, "people")
    see(phone, f"Signed in as {ANN}, who signs every entry here.")
    assert phone.get_by_label("Your name, on every entry that you make").count() == 0, "no other name can be given"
    assert_accessible(phone)


def test_presses_wait_while_nobody_is_signed_in_and_for_the_one_who_pressed(phone: Any, lan: App) -> None:
    sign_in(phone, lan, ANN, "batch?batch=B-2")
    section(phone, "Log")
    before = len(current(lan, "B-2", Event))
    cookies = phone.context.cookies()
    phone.context.clear_cookies()
    press_at_pour(phone, "It overheated")
    see(phone, re.compile("sent once you have signed in again"))
    phone.context.clear_cookies()
    sign_in(phone, lan, BEN, "today")
    phone.wait_for_timeout(2_000)
    assert len(current(lan, "B-2", Event)) == before, "nothing is entered in the name of another"
    phone.context.clear_cookies()
    phone.context.add_cookies(cookies)
    phone.goto(f"{lan.address}/today")
    sent(phone)
    (entry,) = current(lan, "B-2", Event)[before:]
    assert (entry.by, entry.record.kind) == (ANN, "overheated")


def press_at_pour(page: Any, name: str) -> None:
    """Press what happens seldom, without asking for a page that stays as it is."""
    page.get_by_text("Something else happened").click()
    page.get_by_role("button", name=name, exact=True).click()


def test_a_signature_under_a_verdict_is_the_name_of_who_signed_in(phone: Any, lan: App) -> None:
    sign_in(phone, lan, ANN, "batch?batch=B-1")
    name = phone.get_by_label("Your name, in full: it stands as the signature")
    name.wait_for()
    assert name.input_value() == ANN
    assert name.is_disabled()


@pytest.mark.parametrize("slug", all_pages())
def test_one_who_may_only_read_sees_each_page_and_finds_nothing_to_enter(slug: str, reader: Any, lan: App) -> None:
    go(reader, lan, f"{slug}?batch=B-1")
    assert reader.get_by_test_id("stException").count() == 0
    assert reader.get_by_role("alert").count() == 0, "nothing was tried and refused"
    assert_fits(reader)
    assert_accessible(reader)
    assert reader.locator("input[type=file]").count() == 0
    assert reader.locator("[data-testid=stFormSubmitButton] button:enabled").count() == 0
    if slug in ("settings", "rules"):
        assert reader.locator("[data-testid=stForm]").count() == 0, "what is set is told, not offered"
    assert reader.get_by_role("link", name=re.compile("Add photos|Inbox|Pouring day|Start a batch")).count() == 0
    page = reader.locator("[data-testid=stMain]").inner_text()
    assert str(lan.folder) not in page, "where it is kept is for that computer"
    if slug in ("batches", "photos", "inbox", "rules", "backup"):
        see(reader, f"{BEN} is signed in to read: nothing can be entered here.")


@pytest.mark.parametrize("name", ["Checks", "Log", "Timeline", "History"])
def test_one_who_may_only_read_sees_each_section_of_a_batch(name: str, reader: Any, lan: App) -> None:
    go(reader, lan, "batch?batch=B-1")
    section(reader, name)
    assert reader.get_by_role("alert").count() == 0
    assert reader.locator("[data-testid=stForm]").count() == 0
    if name != "Timeline":
        see(reader, f"{BEN} is signed in to read: nothing can be entered here.")


def test_one_who_may_only_read_sees_a_photo_in_standard_light_and_finds_nothing_to_enter(reader: Any, lan: App) -> None:
    go(reader, lan, "batch?batch=C-1")
    section(reader, "Timeline")
    reader.get_by_role("link", name="The original").click()
    settled(reader)
    assert reader.locator("h1").inner_text() == "chamomile-1.jpg"
    see(reader, "chamomile")
    for view in ("the measured areas", "corrected by its card"):
        section(reader, view)
        assert reader.locator("[data-testid=stImage] img").count() == 1
    assert reader.get_by_role("button", name="Download it, unhatched (JPEG)").count() == 1
    assert reader.get_by_role("alert").count() == 0
    assert reader.get_by_text("Correct where it belongs").count() == 0
    assert_fits(reader)
    assert_accessible(reader)


def test_a_photo_shown_to_one_is_given_to_nobody_else(phone: Any, lan: App) -> None:
    sign_in(phone, lan, BEN, "batch?batch=B-1")
    section(phone, "Timeline")
    address = phone.locator("[data-testid=stImage] img").first.evaluate("picture => picture.src")
    assert "/media/" in address
    assert phone.evaluate("async url => (await fetch(url)).status", address) == 200
    with pytest.raises(urllib.error.HTTPError, match="401"):
        urllib.request.urlopen(address, timeout=10)


def test_signing_out_shuts_every_window_of_that_phone(phone: Any, lan: App) -> None:
    sign_in(phone, lan, ANN)
    other = phone.context.new_page()
    other.goto(f"{lan.address}/batches")
    settled(other)
    go(phone, lan, "people")
    phone.get_by_role("link", name="Sign out", exact=True).click()
    assert_accessible(phone)
    phone.get_by_role("button", name="Sign out", exact=True).click()
    phone.wait_for_url("**/sign-in")
    other.wait_for_url("**/sign-in", timeout=20_000)
    phone.goto(f"{lan.address}/batches")
    assert phone.locator("h1").inner_text() == "Sign in"


def test_one_who_lost_a_phone_sees_where_they_are_signed_in_and_signs_out_everywhere(
    phone: Any, browser: Any, lan: App
) -> None:
    sign_in(phone, lan, ANN)
    lost = profile(browser, **SIZES["phone"])
    theirs = lost.new_page()
    sign_in(theirs, lan, ANN, "batches")
    go(phone, lan, "people")
    phone.get_by_role("link", name="Sign out", exact=True).click()
    listed = phone.get_by_role("listitem").all_inner_texts()
    assert len(listed) >= 2 and all(re.fullmatch(r"Last used .+, from 127\.0\.0\.1", one) for one in listed)
    assert_fits_alone(phone)
    phone.get_by_role("button", name="Sign out everywhere").click()
    phone.wait_for_url("**/sign-in")
    theirs.wait_for_url("**/sign-in", timeout=20_000)
    lost.close()


def test_a_code_at_sign_in_is_turned_on_and_off_in_the_app(phone: Any, lan: App) -> None:
    name = "Dora (invented)"
    WORDS[name] = "four more words here"
    People(lan.folder).add(name, WORDS[name])
    sign_in(phone, lan, name, "people")
    phone.get_by_role("link", name="Ask for a code at sign-in").click()
    phone.get_by_label("Your passphrase, once more").fill(WORDS[name])
    phone.get_by_role("button", name="Show what to scan").click()
    drawn = phone.locator("svg").bounding_box()
    assert drawn["width"] > 150 and drawn["height"] == drawn["width"], "large enough for a camera, and drawn at all"
    assert_fits_alone(phone)
    assert_accessible(phone)
    secret = "".join(phone.locator("p > code").inner_text().split())
    assert phone.locator("li li code").count() == 10
    code = phone.get_by_label("Type the code that the app shows now")
    code.fill(code_at(secret, int(time.time() // STEP_S)))
    phone.get_by_role("button", name="Ask for a code from now on").click()
    phone.wait_for_url("**/sign-in?to=/people")
    phone.get_by_label("Name").fill(name)
    phone.get_by_label("Passphrase").fill(WORDS[name])
    phone.get_by_role("button", name="Sign in").click()
    assert "the code is wrong" in phone.get_by_role("alert").inner_text()
    phone.get_by_label("Name").fill(name)
    phone.get_by_label("Passphrase").fill(WORDS[name])
    phone.get_by_label("Code from your authenticator app").fill(code_at(secret, int(time.time() // STEP_S)))
    phone.get_by_role("button", name="Sign in").click()
    settled(phone)
    see(phone, f"Signed in as {name}")
    phone.get_by_role("link", name="Ask for a code at sign-in").click()
    phone.get_by_label("Your passphrase, once more").fill(WORDS[name])
    phone.get_by_label("Code from your authenticator app").fill(code_at(secret, int(time.time() // STEP_S) + 1))
    phone.get_by_role("button", name="Ask for no code any longer").click()
    phone.wait_for_url("**/sign-in?to=/people")
    sign_in(phone, lan, name)
    People(lan.folder).remove(name)


def test_who_is_removed_is_out_at_once(phone: Any, lan: App) -> None:
    people = People(lan.folder)
    WORDS["Cleo (invented)"] = "four more words here"
    people.add("Cleo (invented)", WORDS["Cleo (invented)"])
    sign_in(phone, lan, "Cleo (invented)")
    people.remove("Cleo (invented)")
    phone.wait_for_url("**/sign-in", timeout=20_000)


def test_a_page_left_open_is_not_finished_with_the_rights_of_another(phone: Any, lan: App) -> None:
    """Ann leaves a form open and signs out in another window; Ben signs in there; the first window is then his."""
    sign_in(phone, lan, ANN, "batch?batch=B-2")
    section(phone, "Log")
    other = phone.context.new_page()
    other.goto(f"{lan.address}/sign-out")
    other.get_by_role("button", name="Sign out", exact=True).click()
    sign_in(other, lan, BEN)
    before = current(lan, "B-2", Event)
    phone.wait_for_url(re.compile("sign-in"), timeout=20_000)
    go(phone, lan, "batch?batch=B-2")
    section(phone, "Log")
    see(phone, f"{BEN} is signed in to read")
    assert current(lan, "B-2", Event) == before
