"""At a phone's width, by touch: presses are counted, every target is measured, and axe looks at each page."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from curejournal import workflow
from curejournal.batch.records import AlkaliTest, BarsOut, Decision, Portion, Weighing
from curejournal.journal.backup import restore
from curejournal.journal.store import Journal
from curejournal.ui.frame import all_pages
from tests.ui.conftest import App
from tests.ui.journals import NOW, small_journal
from tests.ui.steps import assert_accessible, go, press, profile, see, settled, shot, small_targets

WIDTH, HEIGHT = 400, 844
SECTIONS = ("Checks", "Log", "Timeline", "Colour", "Readings", "History")


class Thumb:
    """Presses what it is told to, and counts."""

    def __init__(self, window: Any) -> None:
        self.window, self.presses = window, 0

    def press(self, found: Any) -> None:
        found.first.tap()
        self.presses += 1
        settled(self.window)

    def type(self, field: Any, text: str) -> None:
        """Touch a field and type: one press; the keys are those of the phone's own keyboard."""
        self.press(field)
        field.first.fill(text)

    def button(self, name: str) -> None:
        self.press(self.window.get_by_role("button", name=name, exact=True))


@pytest.fixture
def phone(browser: Any) -> Iterator[Any]:
    size = {"width": WIDTH, "height": HEIGHT}
    context = profile(browser, viewport=size, is_mobile=True, has_touch=True)
    yield context.new_page()
    context.close()


@pytest.fixture
def shop(start_app: Callable[..., App], tmp_path: Path) -> App:
    """A batch that is released and sold; where a test asks for it, a reading speaks against it."""
    folder = small_journal(tmp_path / "shop")
    with Journal.open(folder) as journal:
        at = NOW - timedelta(days=2)
        workflow.decide(journal, "B-1", "release", signed_by="Ann Example", statement="ready", on=at)
        sold = BarsOut(3, "Corner shop (invented)", "sold")
        workflow.enter(journal, "B-1", sold, at=NOW - timedelta(days=1), by="Ann", now=NOW, confirmed=True)
    return start_app(folder)


def test_a_batch_is_started_and_weighed_in_under_twenty_presses_on_two_screens(phone: Any, shop: App) -> None:
    thumb = Thumb(phone)
    go(phone, shop, "today")
    thumb.press(phone.locator(".st-key-ways").get_by_text("Batches", exact=True))
    thumb.button("Start a batch")
    thumb.press(phone.get_by_label("Begin with the recipe and portions of"))
    thumb.press(phone.get_by_role("option", name="B-1"))
    see(phone, "leaves some oil unsaponified")
    # From the top of the page to the lower edge of the button that starts it.
    end = phone.get_by_role("button", name="Start the batch", exact=True).bounding_box()
    assert end["y"] + end["height"] <= 2 * HEIGHT, "the form takes more than two screens"
    thumb.type(phone.get_by_label("Name", exact=True), "Lilac")
    thumb.press(phone.get_by_role("radio", name="A swatch"))
    thumb.press(phone.get_by_role("radio", name="lilac"))
    assert phone.locator(".st-key-lye-in-sight").is_visible()
    shot(phone, "phone", "start-a-batch")
    thumb.button("Start the batch")
    phone.wait_for_url("**/batch?batch=B-4")
    settled(phone)
    # It opens at its top.
    phone.wait_for_function("() => document.querySelector('[data-testid=stMain]').scrollTop === 0")
    thumb.press(phone.get_by_role("radio", name="a weight"))
    thumb.type(phone.get_by_label("1. bar 1: grams"), "130.5")
    phone.keyboard.press("Enter")
    phone.wait_for_function("() => document.activeElement.ariaLabel?.startsWith('2. bar 2')")
    phone.keyboard.type("129")
    phone.keyboard.press("Enter")
    thumb.button("Save")
    with Journal.open(shop.folder) as journal:
        batch = journal.batch("B-4")
    assert batch.name == "Lilac" and [grams.grams for _, grams in batch.records(Weighing)] == [130.5, 129.0]
    assert batch.recipe is not None and batch.records(Portion)[0][1].target_from == "lilac"
    assert thumb.presses < 20, thumb.presses
    print(f"started and weighed: {thumb.presses} presses")


def test_a_weight_is_put_right_in_three_presses(phone: Any, shop: App) -> None:
    go(phone, shop, "batch?batch=B-1")
    phone.locator(".st-key-sections").get_by_text("History", exact=True).tap()
    settled(phone)
    thumb = Thumb(phone)
    thumb.press(phone.get_by_role("button", name="bar 1: 106.6"))
    thumb.type(phone.get_by_label("Grams, the tare taken off"), "106.8")
    thumb.button("Save")
    with Journal.open(shop.folder) as journal:
        weights = [weighing.grams for _, weighing in journal.batch("B-1").records(Weighing)]
    assert 106.8 in weights and 106.6 not in weights
    assert thumb.presses == 3


def test_bars_are_called_back_in_two_presses(phone: Any, shop: App) -> None:
    with Journal.open(shop.folder) as journal:
        high = AlkaliTest("meter", 12.0, 0.1, 1.0)
        workflow.enter(journal, "B-1", high, at=NOW - timedelta(hours=3), by="Ann", now=NOW, confirmed=True)
    go(phone, shop, "materials")
    thumb = Thumb(phone)
    shot(phone, "phone", "recall")
    thumb.button("Call them back")
    see(phone, "Corner shop (invented)")
    assert not small_targets(phone)
    assert_accessible(phone)
    thumb.button("Sign: call them back")
    with Journal.open(shop.folder) as journal:
        assert journal.batch("B-1").of(Decision)[-1].record.act == "withdraw"
    assert thumb.presses == 2


@pytest.mark.parametrize("slug", [*all_pages(), *(f"batch {name}" for name in SECTIONS), "batches start"])
def test_every_target_is_as_large_as_a_fingertip(slug: str, full_app: App, phone: Any) -> None:
    page, _, part = slug.partition(" ")
    go(phone, full_app, f"{page}?batch=B-1")
    if part == "start":
        phone.get_by_role("button", name="Start a batch").tap()
    elif part:
        phone.locator(".st-key-sections").get_by_text(part, exact=True).tap()
    settled(phone)
    assert small_targets(phone) == []
    assert_accessible(phone)


def test_calendar_menu_and_forms_are_as_large_as_a_fingertip(full_app: App, phone: Any) -> None:
    go(phone, full_app, "batch?batch=B-1")
    phone.locator(".st-key-sections").get_by_text("Log", exact=True).tap()
    settled(phone)
    for name in ("a weight", "an alkali test", "a surface check"):
        phone.get_by_role("radio", name=name).tap()
        settled(phone)
        assert small_targets(phone) == [], name
        assert_accessible(phone)
        shot(phone, "phone", name.replace(" ", "-"))
    phone.get_by_role("button", name="Choose date and time").first.tap()
    phone.get_by_role("gridcell").first.wait_for()
    assert small_targets(phone) == []
    phone.keyboard.press("Escape")
    phone.get_by_role("button", name="More", exact=True).last.tap()
    menu = phone.locator(".st-key-more")
    menu.wait_for()
    assert small_targets(phone) == []
    menu.get_by_text("Compare", exact=True).tap()
    settled(phone)
    assert not menu.is_visible(), "the menu closes after a choice"
    assert not phone.get_by_text("Press Enter to").count()


def test_pictures_come_first_and_what_is_asked_of_them_is_folded_away(full_app: App, phone: Any) -> None:
    go(phone, full_app, "batches")
    top = phone.locator('[class*="st-key-card-"] img').first.bounding_box()["y"]
    assert top < phone.viewport_size["height"] / 2
    for name in ("Pour again", "Find"):
        press(phone, name)
        assert not small_targets(phone)
        assert_accessible(phone)
        if name == "Pour again":
            phone.keyboard.press("Escape")
            settled(phone)
    phone.get_by_label("Find a name or code").fill("B-2")
    phone.keyboard.press("Enter")
    see(phone, re.compile("^Shown: 1 of "))


def test_a_backup_is_downloaded_to_the_phone_and_restores_the_journal(
    full_app: App, phone: Any, tmp_path: Path
) -> None:
    go(phone, full_app, "backup")
    with phone.expect_download() as begun:
        phone.get_by_role("button", name="Download a backup to this device").tap()
    assert begun.value.suggested_filename == f"curejournal-{NOW:%Y-%m-%d}.zip"
    begun.value.save_as(tmp_path / "backup.zip")
    restore(tmp_path / "backup.zip", tmp_path / "restored", lambda: NOW)
    with Journal.open(full_app.folder) as journal, Journal.open(tmp_path / "restored") as restored:
        assert restored.head() == journal.head()
