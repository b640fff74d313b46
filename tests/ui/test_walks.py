"""A maker's whole ways: the first run, the day of the pour, today's list, two dates, a card; on desktop and phone."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from curejournal.batch.records import ColourReading, Event, ScalarReading, Weighing
from curejournal.journal.store import Journal
from curejournal.workflow.demo import pictures_folder
from tests.ui import steps
from tests.ui.conftest import App

PICTURES = pictures_folder()


@dataclass
class Effort:
    """What a walk asks of a person: presses, characters typed, words on the pages.

    In seconds: 1.1 to point, 1.35 to decide before each, 0.28 a character (Card, Moran and Newell, 1980, *Comm. ACM*
    23, 396; from memory: an average typist), 238 words a minute (Brysbaert, 2019, *J. Memory and Language* 109; from
    memory: silent reading of non-fiction in English).
    """

    presses: int = 0
    characters: int = 0
    words: int = 0

    @property
    def seconds(self) -> float:
        """If every word is read before each press."""
        return self.presses * (1.1 + 1.35) + self.characters * 0.28 + self.words / 238 * 60


class Newcomer:
    """Somebody at the app for the first time, who reads all that is shown before going on."""

    def __init__(self, window: Any) -> None:
        self.window, self.effort = window, Effort()

    def read(self) -> None:
        """Every word of a page; the ways above it and the line below it stay the same, and signs are no words."""
        self.effort.words += self.window.evaluate(
            "[...document.querySelectorAll('.st-key-page *')].flatMap(e => [...e.childNodes])"
            ".filter(n => n.nodeType === 3 && n.parentElement.checkVisibility()"
            " && !n.parentElement.closest('[data-testid=stIconMaterial], style, details:not([open]) > :not(summary)'))"
            ".reduce((sum, n) => sum + n.textContent.split(/\\s+/).filter(w => /[a-z0-9]/i.test(w)).length, 0)"
        )

    def tap(self, what: Any) -> None:
        what.click()
        self.effort.presses += 1
        steps.settled(self.window)

    def type(self, label: str, text: str, number: int = 0) -> None:
        field = self.window.get_by_label(label, exact=True).nth(number)
        field.fill(text)
        field.press("Tab")
        self.effort.presses += 1
        self.effort.characters += len(text)
        steps.settled(self.window)

    def choose(self, label: str, option: str) -> None:
        field = self.window.get_by_role("combobox", name=re.compile(rf"\b{label}$")).first
        field.click()
        self.window.keyboard.type(option)
        self.window.get_by_role("option", name=option, exact=True).click()
        self.effort.presses += 2
        self.effort.characters += len(option)
        steps.settled(self.window)


@pytest.mark.mostly("phone")
def test_from_an_empty_journal_to_a_measured_photo_of_a_batch_with_its_recipe(
    size: str, window: Any, start_app: Any, tmp_path: Path, record_property: Any
) -> None:
    app = start_app(tmp_path)
    steps.go(window, app, "")
    maker = Newcomer(window)
    maker.read()
    maker.tap(window.get_by_role("link", name="1. Print the window card"))
    maker.read()
    with window.expect_download():
        maker.tap(window.get_by_role("button", name="Download the card (PDF)"))
    maker.tap(window.get_by_role("link", name="Next: start a batch"))
    maker.read()
    maker.type("Name", "Oat")
    maker.choose("Oil", "olive")
    maker.type("grams", "1000", 0)
    steps.assert_fits(window)
    maker.type("grams", "300", 1)
    maker.choose("Alkali", "NaOH")
    maker.type("grams", "128", 2)
    steps.see(window, re.compile("Lye burns"))
    maker.tap(window.get_by_role("button", name="Start the batch"))
    maker.read()
    maker.tap(window.get_by_role("link", name="Add photos"))
    maker.read()
    maker.effort.presses += 2  # the phone's own choice of a picture
    steps.upload(window, PICTURES / "chamomile-1.jpg")
    steps.see(window, steps.graded("soap"))
    steps.see(window, re.compile(r"L\* "))
    maker.tap(window.get_by_role("button", name="Keep photo and colour"))
    steps.see(window, re.compile("chamomile-1.jpg: placed"))
    (reading,) = steps.current(app, "B-1", ColourReading)
    assert reading.photo
    seconds = maker.effort.seconds
    record_property("figures", f"first run, {size}: {maker.effort}, {seconds:.0f} s for a person who reads every word")
    # Three minutes, and the words that a slow page shows once more on its way.
    assert seconds < 200


@pytest.mark.mostly("desktop")
def test_a_demo_stands_beside_the_makers_own_journal(window: Any, size: str, start_app: Any, tmp_path: Path) -> None:
    if size == "phone":
        pytest.skip("one build of the demo is enough")
    app = start_app(tmp_path / "own", afresh=True, XDG_DATA_HOME=str(tmp_path / "data"))
    steps.go(window, app, "")
    window.get_by_role("link", name="Rather look around first?").click()
    steps.settled(window)
    window.get_by_role("button", name="Look at the demo journal").click()
    steps.see(window, re.compile("You can leave this page"))
    window.get_by_role("link", name="Batches", exact=True).click()
    steps.see(window, re.compile("Measuring the demo"))
    window.get_by_role("link", name="Settings", exact=True).click()
    window.get_by_role("link", name="Demo journal").click()
    window.get_by_text("Demo journal, all invented.").first.wait_for(timeout=240_000)
    steps.settled(window)
    steps.see(window, re.compile("things to do today"))
    steps.assert_fits(window)
    steps.press(window, "Back to my journal")
    steps.see(window, re.compile("Your journal is empty"))
    with Journal.open(app.folder) as journal:
        assert not journal.names(), "the maker's own journal is untouched"


def pour_again(window: Any, app: App, size: str) -> str:
    """Start a batch like an earlier one: three presses from the list of batches."""
    steps.go(window, app, "batches")
    with Journal.open(app.folder) as journal:
        before = set(journal.names())
    steps.press(window, "Pour again")
    steps.press(window, "Chamomile")
    steps.press(window, "Start the batch")
    steps.see(window, "not poured yet")
    with Journal.open(app.folder) as journal:
        (code,) = set(journal.names()) - before
    return code


@pytest.mark.mostly("phone")
def test_a_batch_like_an_earlier_one_takes_three_presses_and_opens_where_it_is_written_down(
    size: str, window: Any, full_app: App
) -> None:
    code = pour_again(window, full_app, size)
    for name in ("Trace", "Thickening", "Poured"):
        box = window.get_by_role("button", name=name, exact=True).bounding_box()
        assert box["height"] >= 64 and box["width"] >= 64
        steps.press(window, name)
        steps.see(window, re.compile(f"^✓ Saved: .*{name.lower()}"))
    assert [entry.record.kind for entry in steps.current(full_app, code, Event)] == ["trace", "thickening", "poured"]
    steps.assert_fits(window)
    steps.assert_accessible(window)
    undo = window.get_by_role("button", name="Undo", exact=True)
    undo.wait_for(state="visible")
    box = undo.bounding_box()
    assert 0 <= box["y"] <= window.viewport_size["height"], "in sight, wherever the page was scrolled to"
    steps.press(window, "Undo")
    steps.sent(window)
    assert [entry.record.kind for entry in steps.current(full_app, code, Event)] == ["trace", "thickening"]


@pytest.mark.mostly("phone")
def test_a_temperature_and_a_note_are_stamped_with_the_time(size: str, window: Any, full_app: App) -> None:
    code = f"C-{size}"
    steps.go(window, full_app, f"batch?batch={code}")
    steps.section(window, "Log")
    window.get_by_label("Temperature, °C").fill("38.5")
    steps.press(window, "Save temperature")
    steps.see(window, re.compile("^✓ Saved: .*batter temperature"))
    window.get_by_label("Note", exact=True).fill("riced a little")
    steps.press(window, "Save note")
    steps.see(window, re.compile("^✓ Saved: .*riced a little"))
    assert steps.current(full_app, code, ScalarReading)[-1].record == ScalarReading("batter temperature", 38.5)
    assert steps.current(full_app, code, Event)[-1].record.note == "riced a little"


@pytest.mark.mostly("phone")
def test_what_was_typed_and_not_kept_yet_stays_when_something_else_is_kept(
    size: str, window: Any, full_app: App
) -> None:
    code = pour_again(window, full_app, size)
    window.get_by_label("Note", exact=True).fill("smells of almonds")
    window.get_by_label("Temperature, °C").fill("41")
    for name in ("Trace", "Save temperature", "Save note", "Save note"):
        steps.press(window, name)
        steps.sent(window)
        window.wait_for_timeout(2_000)  # the page is redrawn with what was kept
        steps.settled(window)
    notes = [entry.record.note for entry in steps.current(full_app, code, Event) if entry.record.kind == "note"]
    assert notes == ["smells of almonds"]
    assert steps.current(full_app, code, ScalarReading)[-1].record.value == 41


@pytest.mark.mostly("phone")
def test_a_page_closed_and_opened_again_goes_on_with_the_pour(size: str, window: Any, full_app: App) -> None:
    code = pour_again(window, full_app, size)
    steps.press(window, "Trace")
    steps.sent(window)
    address = window.url
    window.goto("about:blank")
    window.goto(address)
    steps.settled(window)
    steps.see(window, re.compile(r"\d\d:\d\d: trace"))
    steps.press(window, "Poured")
    steps.sent(window)
    assert [entry.record.kind for entry in steps.current(full_app, code, Event)] == ["trace", "poured"]


@pytest.mark.mostly("desktop")
def test_a_weight_is_entered_from_todays_list(size: str, window: Any, full_app: App) -> None:
    code = pour_again(window, full_app, size)
    with Journal.open(full_app.folder) as journal:
        journal.add(code, Event("poured"), at=journal.batch("B-1").poured_at, by="Ann")
    steps.go(window, full_app, "today")
    row = window.locator(f".st-key-row-{code}")
    row.get_by_role("button", name="Weigh the marked bars").click()
    steps.settled(window)
    first = row.get_by_label("1. bar 1: grams")
    first.fill("128.4")
    first.press("Tab")
    steps.press(window, "Save")
    steps.see(window, re.compile(f"Kept for {code}"))
    assert "today" in window.locator("h1").inner_text()
    assert [entry.record.grams for entry in steps.current(full_app, code, Weighing)] == [128.4]


@pytest.mark.mostly("phone")
def test_a_photo_is_taken_in_from_todays_list(size: str, window: Any, full_app: App) -> None:
    code = f"C-{size}"
    steps.go(window, full_app, "today")
    row = window.locator(f".st-key-row-{code}")
    row.get_by_role("button", name=re.compile("^Photograph")).click()
    steps.settled(window)
    before = len(steps.current(full_app, code, ColourReading))
    steps.upload(window, PICTURES / "chamomile-6.jpg")
    steps.see(window, steps.graded("chamomile"))
    steps.press(window, "Keep photo and colour")
    steps.see(window, re.compile("chamomile-6.jpg: (placed|there already)"))
    assert len(steps.current(full_app, code, ColourReading)) == before + 1
    assert "today" in window.locator("h1").inner_text()


@pytest.mark.mostly("desktop")
def test_two_dates_are_compared_by_pulling_one_slider(size: str, window: Any, full_app: App) -> None:
    steps.go(window, full_app, "compare?batch=B-1")
    swatches = window.locator(".swatch.wide")
    left, right = swatches.nth(0).bounding_box(), swatches.nth(1).bounding_box()
    assert abs(left["x"] + left["width"] - right["x"]) < 3 and left["y"] == right["y"], "the colours touch"
    assert "27 Sep 2026" in swatches.nth(0).inner_text()
    thumbs = window.get_by_role("slider")
    start, end = thumbs.nth(0).bounding_box(), thumbs.nth(1).bounding_box()
    middle = start["y"] + start["height"] / 2
    third = start["x"] + (end["x"] - start["x"]) / 2
    steps.drag(window, size, (start["x"] + start["width"] / 2, middle), (third, middle))
    steps.settled(window)
    assert "27 Sep 2026" not in swatches.nth(0).inner_text()
    steps.see(window, re.compile("differ|proven"))
    steps.assert_fits(window)


@pytest.mark.mostly("phone")
def test_two_batches_stand_side_by_side_with_both_journeys_in_one_chart(size: str, window: Any, full_app: App) -> None:
    steps.go(window, full_app, "compare?batch=B-1")
    window.get_by_text("Beside another batch or portion").click()
    steps.settled(window)
    maker = Newcomer(window)
    maker.choose("Beside which", f"C-{size} · Chamomile")
    assert window.locator(".swatch.wide").count() == 2
    steps.see(window, "Both journeys")
    window.get_by_test_id("stVegaLiteChart").locator("canvas, svg").first.wait_for()
    told = steps.see(window, re.compile("B-1 Plain · soap: ")).inner_text()
    assert f"C-{size} Chamomile · chamomile: " in told and "after the pour, by the curves" in told
    steps.assert_fits(window)
    steps.assert_accessible(window)


@pytest.mark.parametrize(
    "way",
    [
        pytest.param("beside a 24-patch chart", marks=pytest.mark.mostly("desktop")),
        pytest.param("by its own white paper", marks=pytest.mark.mostly("phone")),
    ],
)
def test_a_printed_card_is_measured_step_by_step(
    way: str, size: str, window: Any, start_app: Any, tmp_path: Path
) -> None:
    app = start_app(tmp_path)
    steps.go(window, app, "cards")
    window.get_by_text("Measure a printed card (enrol it)").click()
    steps.settled(window)
    window.get_by_label("2. The name written on it").fill("W-01")
    window.get_by_label("2. The name written on it").press("Tab")
    steps.settled(window)
    window.get_by_text(way, exact=True).click()
    steps.settled(window)
    steps.upload(window, *(PICTURES / f"enrol-{number}.jpg" for number in (1, 2, 3)))
    steps.press(window, "4. Measure the card")
    steps.see(window, re.compile("are known now"))
    window.get_by_text("How does it hold out?").click()
    steps.settled(window)
    assert window.locator(".card-picture i").count() > 40
    steps.see(window, re.compile("are needed to see whether a patch changes"))
    steps.assert_fits(window)
    steps.assert_accessible(window)
    with Journal.open(app.folder) as journal:
        (card,) = journal.cards()
    kind = "enrolled" if way.startswith("beside") else "relative"
    assert f'kind = "{kind}"' in card.toml
