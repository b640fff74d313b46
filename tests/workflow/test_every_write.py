"""Every press of the app that writes, each statement of its write failing in turn, in each way in which a disk fails.

Which presses write is found in the source (`tests/writers.py`). One press is one write: of a press that failed nothing
is kept, what is said is true, and pressed again it does all that it says. Commands: `tests/cli/test_safe.py`.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event

from curejournal import workflow
from curejournal.base.errors import CureJournalError
from curejournal.batch.photo_view import PhotoView
from curejournal.batch.records import AlkaliTest, Portion, Weighing
from curejournal.batch.sales import Complaint
from curejournal.batch.stock import MaterialLot
from curejournal.batch.workshop import TagId
from curejournal.colour.difference import Interval
from curejournal.journal.database import DATABASE
from curejournal.journal.errors import DiskFull, JournalBusy, JournalNotWritable
from curejournal.journal.store import Journal
from curejournal.judging.limits import Limits
from curejournal.materials.effects import TestPour
from curejournal.photo import analysis
from curejournal.soap.recipe import Additive
from curejournal.workflow import customers, materials, photos, readers, room, settings, stock
from curejournal.workflow.photos import Answers, Clock, Source, adding, commit, importing, strips
from curejournal.workflow.photos.showing import keep_view
from curejournal.workflow.photos.tags import tag_text
from curejournal.workflow.presses import keep_presses, read_sending
from tests.judging.batches import RECIPE
from tests.photo.windows import window
from tests.rolls import BROWN, BY, CREAM, HOME, NOW, POURED, TAKEN, analysed_once, picture, take, three_batches
from tests.ui.journals import plain_jpeg
from tests.workflow.test_presses import press
from tests.writers import pressed_in_the_app

FAULTS = {sqlite3.SQLITE_FULL: DiskFull, sqlite3.SQLITE_BUSY: JournalBusy, sqlite3.SQLITE_IOERR: JournalNotWritable}
"""What SQLite tells of a full disk, a lock that is held, and a disk that is broken; and what the maker reads then."""
NOTHING_KEPT = {
    DiskFull: "The last entry was not kept; everything confirmed before it is safe.",
    JournalBusy: "Nothing in the journal was changed.",
    JournalNotWritable: "Open the journal again to see whether the last entry was kept; everything confirmed before is "
    "safe.",
}
HOW: dict[str, Any] = {"by": BY, "now": NOW}
ENTERED: dict[str, Any] = {"at": NOW, **HOW}
WEIGHED = [Weighing(f"bar {number}", 100.0 + number) for number in (1, 2, 3)]
SCALE = Source("scale.jpg", lambda: plain_jpeg(9))
LOGGED = b"time;temp C\n" + b"".join(b"2026-%02d-28 12:00;18.5\n" % month for month in (8, 9, 10))


def waiting(journal: Journal) -> str:
    return journal.unfiled_photos()[0].sha256


def placed(journal: Journal) -> str:
    return next(entry.photo for entry in journal.batch("B-1").entries if entry.photo)


def add_photo(journal: Journal) -> None:
    data = picture(CREAM, seed=7)
    seen = analysed_once(data, commit.cards_for(journal, window()))
    photos.add_analysed(journal, "B-1", Source("new.jpg", lambda: data), seen, Answers(), **HOW)


def press_at_the_pour(journal: Journal) -> None:
    body = {"journal": "x", "sent_at": round(1000 * NOW.timestamp()), "offset": 60}
    one = {**press(1, "note"), "by": BY, "at": body["sent_at"], "note": "thick"}
    keep_presses(journal, read_sending(json.dumps({**body, "presses": [one]}).encode()), clock=NOW.astimezone(UTC))


def values() -> bytes:
    patches = workflow.find_card("chart24").patches[1:]
    return "\n".join(["id,L,a,b", *(",".join(map(str, (one.id, *one.lab_d50))) for one in patches)]).encode()


def keep_room(journal: Journal) -> None:
    room.keep_room_file(journal, room.preview_room_file(LOGGED, UTC), "room.csv", **HOW)


POUR = TestPour("clove", 1.5, False, ("clove",), Interval(8, 6, 10), Interval(2, 1, 3))
PRESSES: dict[str, Callable[[Journal], object]] = {
    "batches:set_target": lambda j: workflow.set_target(j, "B-2", "top", "swatch", lab=(80, 2, 14), **HOW),
    "batches:start_batch": lambda j: workflow.start_batch(j, "N-1", "New", records=[RECIPE, Portion("a")], **ENTERED),
    "cards:card_with_values": lambda j: workflow.card_with_values(
        j, workflow.find_card("chart24"), values(), source="values.csv", name="mine"
    ),
    "cards:enrol_card": lambda j: workflow.enrol_card(j, window(), [plain_jpeg(1)], None, "W-9"),
    "corrections:take_back": lambda j: workflow.take_back(j, j.batch("B-1").entries[-1], why="wrong", **HOW),
    "corrections:undo": lambda j: workflow.undo(j, *(one.id for one in j.batch("B-1").entries[-2:]), why="no", **HOW),
    "customers:enter_complaint": lambda j: customers.enter_complaint(
        j, "B-1", Complaint("orange spots", bars=1), plain_jpeg(8), "sent.jpg", **ENTERED
    ),
    "customers:erase_name": lambda j: customers.erase_name(j, j.contacts()[0].id, why="she asked", **HOW),
    "customers:fill_order": lambda j: customers.fill_order(
        j, [("B-1", 2), ("B-2", 1)], name="Ott (invented)", confirmed=True, **ENTERED
    ),
    "entering:enter_all": lambda j: workflow.enter_all(
        j, "B-1", WEIGHED, photo=SCALE, settings={"scale_step_g": 0.5}, **ENTERED
    ),
    "materials.test_pours:start_test_pour": lambda j: materials.start_test_pour(j, POUR, **HOW),
    "photos.adding:add_analysed": add_photo,
    "photos.inbox:place": lambda j: photos.place(
        j, waiting(j), Answers("B-3", portions=("a", "b")), card=window(), **HOW
    ),
    "photos.inbox:set_aside": lambda j: photos.set_aside(j, waiting(j), why="not ours", by=BY),
    "photos.inbox:set_clock": lambda j: photos.set_clock(
        j, [placed(j)], Clock(HOME, timedelta(hours=1)), card=window(), **HOW
    ),
    "photos.showing:keep_view": lambda j: keep_view(j, "B-1", placed(j), PhotoView(cover=True), **HOW),
    "photos.strips:enrol_strip_key": lambda j: strips.enrol_strip_key(
        j, plain_jpeg(2), window(), "half steps", "L-77", {}, by=BY
    ),
    "photos.strips:keep_strip": lambda j: strips.keep_strip(
        j, "B-1", SCALE, AlkaliTest("strip", 9.5, 0.5, 1.0), **ENTERED
    ),
    "photos.surfaces:confirm_surface": lambda j: photos.confirm_surface(
        j, photos.item_of(j, placed(j), window(), NOW), None, by=BY
    ),
    "photos.tags:tag_text": lambda j: tag_text(j, "B-1"),
    "presses:keep_presses": press_at_the_pour,
    "readers:keep_habits": lambda j: readers.keep_habits(j, readers.Habits("oz and °F"), zone="UTC", name="K"),
    "room:keep_room_file": keep_room,
    "rules:save_limits": lambda j: workflow.save_limits(j, Limits(min_age_days=35)),
    "rules:set_batch_rules": lambda j: workflow.set_batch_rules(j, "B-1", {"min_age_days": 90}, "wet", **HOW),
    "rules:set_recipe_rules": lambda j: workflow.set_recipe_rules(j, "castile", {"min_age_days": 200}, "olive alone"),
    "settings:change_settings": lambda j: settings.change_settings(j, time_zone="Europe/Lisbon", zone_declined=""),
    "stock:enter_lot": lambda j: stock.enter_lot(j, MaterialLot("olive", "OL-1", supplier="A mill (invented)"), **HOW),
    "verdicts:decide": lambda j: workflow.decide(j, "B-1", "hold", signed_by=BY, statement="kept", on=NOW),
}  # fmt: skip
LONG_WORK = {"photos.importing:import_photos", "demo:build_demo"}
"""Many writes with a bar that shows how far they are: what was kept is said, and again goes on from there
(`tests/cli/test_safe.py`, `tests/workflow/test_intake_kill.py`)."""
ONE_OR_THE_OTHER = {"curejournal.ui.forms.enrolment:_made", "curejournal.ui.forms.business:_rules"}
"""Functions of the app that call one of two use cases, by what was chosen."""


def test_every_press_that_writes_is_tried_here() -> None:
    assert set(pressed_in_the_app()) == PRESSES.keys() | LONG_WORK


def test_one_press_calls_one_use_case_that_writes() -> None:
    called: dict[str, set[str]] = {}
    for use_case, functions in pressed_in_the_app().items():
        for function in functions:
            called.setdefault(function, set()).add(use_case)
    assert {function for function, use_cases in called.items() if len(use_cases) > 1} == ONE_OR_THE_OTHER


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A journal with a photo that is placed, one that waits, a recipe with a scent, and a customer."""
    folder = tmp_path_factory.mktemp("workshop") / "journal"
    with pytest.MonkeyPatch.context() as patch, Journal.open(folder) as journal:
        analyse_once(patch)
        three_batches(journal)
        scented = workflow.start_batch(journal, "S-1", "Scented", at=POURED, by=BY, now=NOW, records=[Portion("a")])
        recipe = replace(RECIPE, additives=(Additive("clove", "fragrance", 20.0),))
        journal.add(scented.code, recipe, at=POURED, by=BY)
        take(journal, ("a.jpg", picture(CREAM)), ("b.jpg", picture(CREAM, BROWN, code="", at=TAKEN, seed=1)))
        customers.fill_order(journal, [("B-1", 1)], name="Kaja (invented)", confirmed=True, **ENTERED)
        assert waiting(journal) != placed(journal)
    return folder


def analyse_once(patch: pytest.MonkeyPatch) -> None:
    """What is measured is not asked here, only what is kept of it."""
    for module in (analysis, adding, commit, importing):
        patch.setattr(module, "analyse", analysed_once)


def rows_of(folder: Path) -> dict[str, list[tuple[Any, ...]]]:
    with sqlite3.connect(folder / DATABASE) as base:
        names = [name for (name,) in base.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {name: base.execute(f'SELECT * FROM "{name}"').fetchall() for name in names}


class Disk:
    """Counts what a journal writes, and refuses one statement of it."""

    def __init__(self, journal: Journal) -> None:
        self.statements, self.writes, self.refuses, self.code = 0, 0, 0, 0
        event.listen(journal._writer, "begin", self._begun)
        event.listen(journal._writer, "before_cursor_execute", self._asked)

    @contextmanager
    def refusing(self, statement: int, code: int) -> Iterator[None]:
        self.statements, self.writes, self.refuses, self.code = 0, 0, statement, code
        yield
        self.refuses = 0

    def _begun(self, _connection: object) -> None:
        self.writes += 1

    def _asked(self, _connection: object, _cursor: object, statement: str, *_: object) -> None:
        if not statement.lstrip().upper().startswith(("INSERT", "UPDATE", "DELETE")):
            return
        self.statements += 1
        if self.statements == self.refuses:
            fault = sqlite3.OperationalError("refused by the test")
            fault.sqlite_errorcode = self.code
            raise fault


@pytest.mark.parametrize("name", PRESSES)
def test_of_a_press_that_fails_nothing_is_kept_and_what_is_said_is_true(
    name: str, workshop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    analyse_once(monkeypatch)
    monkeypatch.setattr(workflow.cards, "enrol", lambda card, *_, copy_id, **__: (card, []))
    monkeypatch.setattr(strips, "check_photo", lambda seen: seen)
    monkeypatch.setattr(strips, "measure", lambda *_: None)
    monkeypatch.setattr(strips, "enrol_key", lambda name, lot, *_: strips.StripKey(name, lot, "window", ()))
    folder = Path(shutil.copytree(workshop, tmp_path / "journal"))
    with Journal.open(folder) as journal:
        if name == "photos.tags:tag_text":  # the id in tags is made with the first of them
            (made,) = journal.of_workshop(TagId)
            journal.withdraw(made.id, why="to be made here", by=BY, at=NOW)
        before, disk, tried = rows_of(folder), Disk(journal), 0
        while True:
            for code, refusal in FAULTS.items():
                with disk.refusing(tried + 1, code):
                    try:
                        PRESSES[name](journal)
                    except CureJournalError as fault:
                        assert type(fault) is refusal, fault
                        assert (fault.safe, bool(fault.what), bool(fault.do)) == (NOTHING_KEPT[refusal], True, True)
                        assert rows_of(folder) == before, f"statement {tried + 1} of {name} failed, and something stays"
                        continue
                break
            else:
                tried += 1
                continue
            break
        assert disk.statements == tried > 0, "pressed again, it does all that it says"
        assert disk.writes == 1, "one press is one write"
        assert rows_of(folder) != before
        assert not any(problem.serious for problem in journal.check())
