"""A journal as one person may use it: signed by them alone; where they may only read, no method of it writes."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from curejournal import workflow
from curejournal.batch.records import Event, Portion, Weighing
from curejournal.journal.errors import OnlyToRead, SignedByOther
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import Changes, Journal, NewContact, NewEntry
from curejournal.journal.tables import metadata
from curejournal.judging.limits import Limits
from curejournal.workflow.demo import pictures_folder
from curejournal.workflow.photos import Clock, Source, add_photo, import_photos, set_aside, tag_text
from tests.ui.journals import plain_jpeg

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
FACTS = PhotoFacts(".jpg", 64, 48, NOW, "exif", "a.jpg")

WRITES: dict[str, Callable[[Journal, str], object]] = {
    "start_batch": lambda journal, by: journal.start_batch("B-2", "New", at=NOW, by=by),
    "add": lambda journal, by: journal.add("B-1", Event("cut"), at=NOW, by=by),
    "add_many": lambda journal, by: journal.add_many("B-1", [NewEntry(Event("cut"), NOW)], by=by),
    "bring_in": lambda journal, by: journal.bring_in("B-2", "New", at=NOW, by=by, history=()),
    "withdraw": lambda journal, by: journal.withdraw(2, why="wrong", by=by, at=NOW),
    "undo": lambda journal, by: journal.undo(2, why="wrong", by=by, at=NOW),
    "file_photo": lambda journal, by: journal.file_photo("B-1", "0" * 64, [Event("cut")], at=NOW, by=by),
    "keep_photo": lambda journal, by: journal.keep_photo(plain_jpeg(1), FACTS),
    "keep_filed": lambda journal, by: journal.keep_filed("B-1", plain_jpeg(1), FACTS, [Event("cut")], at=NOW, by=by),
    "keep_card": lambda journal, by: journal.keep_card("mine", "text"),
    "set_setting": lambda journal, by: journal.set_setting("people", [by]),
    "set_settings": lambda journal, by: journal.set_settings({"people": [by]}),
    "set_in": lambda journal, by: journal.set_in("rules of recipes", "mine", {}),
    "commit": lambda journal, by: journal.commit(Changes([NewEntry(Event("cut"), NOW, batch="B-1")]), by=by),
    "keep_contact": lambda journal, by: journal.keep_contact(NewContact("Cleo (invented)"), by=by),
    "erase_contact": lambda journal, by: journal.erase_contact(1, why="asked for", by=by, at=NOW),
    "backup": lambda journal, by: journal.backup(journal.location / "elsewhere"),
    "export": lambda journal, by: journal.export(journal.location / "elsewhere"),
    "copy_to": lambda journal, by: journal.copy_to(journal.location / "elsewhere"),
}
SIGNED = ["start_batch", "add", "add_many", "bring_in", "withdraw", "undo", "file_photo", "keep_filed"]
SIGNED += ["commit", "keep_contact", "erase_contact"]
READS = {
    "all_batches", "batch", "batches", "card_text", "cards", "check", "clock", "close", "contact", "contacts",
    "derived", "entries_of_contact", "entries_of_photo", "entries_of_press", "head", "holds_head", "of_workshop",
    "already", "code_of", "seal_of", "state_of_workshop",
    "settings", "find_photo", "history", "last_naming", "names", "of", "open", "photo", "photo_bytes",
    "photos_named", "photos_of", "released_otherwise", "risks", "setting", "underway", "unfiled_photos",
}  # fmt: skip
"""The others: they write nothing, or only what can be made again."""


def picture(number: int) -> bytes:
    return (pictures_folder() / f"chamomile-{number}.jpg").read_bytes()


USE_CASES: dict[str, Callable[[Journal], object]] = {
    "start a batch": lambda j: workflow.start_batch(j, "B-2", "New", at=NOW, by="Ben", now=NOW, records=[]),
    "rename": lambda j: workflow.rename(j, "B-1", "Other", by="Ben", now=NOW),
    "enter": lambda j: workflow.enter(j, "B-1", Weighing("bar 1", 100.0), at=NOW, by="Ben", now=NOW),
    "take back": lambda j: workflow.take_back(j, j.batch("B-1").entries[0], why="wrong", by="Ben", now=NOW),
    "undo": lambda j: workflow.undo(j, 1, why="wrong", by="Ben", now=NOW),
    "sign": lambda j: workflow.decide(j, "B-1", "hold", signed_by="Ben", statement="held back", on=NOW),
    "house rules": lambda j: workflow.save_limits(j, Limits()),
    "take in a photo": lambda j: add_photo(
        j, "B-1", Source("a.jpg", lambda: picture(1)), workflow.find_card("window"), by="Ben", now=NOW
    ),
    "take in many": lambda j: import_photos(
        j, [Source("a.jpg", lambda: picture(1))], card=workflow.find_card("window"), by="Ben", now=NOW,
        clock=Clock(UTC), workers=1,
    ),
    "set aside": lambda j: set_aside(j, j.unfiled_photos()[0].sha256, why="blurred", by="Ben"),
    "make tags": lambda j: tag_text(j, "B-1"),
}  # fmt: skip


@pytest.fixture
def kept(journal: Journal) -> Journal:
    records = [Portion("soap"), Event("poured")]
    journal.start_batch("B-1", "Oat", at=NOW - timedelta(days=30), by="Ann", records=records)
    journal.keep_photo(plain_jpeg(2), FACTS)
    return journal


def everything(journal: Journal) -> tuple[list[object], list[Path]]:
    with journal._reading() as connection:
        rows = [connection.execute(select(table)).all() for table in metadata.sorted_tables]
    return rows, sorted(path for path in journal.location.rglob("*") if path.is_file())


def test_every_method_of_a_journal_is_known_to_write_or_not() -> None:
    public = {name for name, _ in inspect.getmembers(Journal, callable) if not name.startswith("_")}
    assert public == READS | set(WRITES)


@pytest.mark.parametrize("name", WRITES)
def test_one_who_may_only_read_can_write_by_no_method(name: str, kept: Journal) -> None:
    before = everything(kept)
    with pytest.raises(OnlyToRead, match=r"Ben may read this journal, not write in it\. Nothing .* was changed"):
        WRITES[name](kept.of("Ben", reads_only=True), "Ben")
    assert everything(kept) == before


@pytest.mark.parametrize("name", USE_CASES)
def test_every_use_case_that_writes_is_refused_to_one_who_may_only_read(name: str, kept: Journal) -> None:
    before = everything(kept)
    with pytest.raises(OnlyToRead):
        USE_CASES[name](kept.of("Ben", reads_only=True))
    assert everything(kept) == before


@pytest.mark.parametrize("name", SIGNED)
def test_nobody_enters_anything_in_the_name_of_another(name: str, kept: Journal) -> None:
    before = everything(kept)
    with pytest.raises(SignedByOther, match="Ben is signed in and cannot enter anything in the name of Ann"):
        WRITES[name](kept.of("Ben"), "Ann")
    assert everything(kept) == before


def test_what_a_person_enters_is_in_the_journal_of_all(kept: Journal) -> None:
    theirs = kept.of("Ben")
    entry = theirs.add("B-1", Event("cut", bars=9), at=NOW, by="Ben")
    assert entry in kept.batch("B-1").entries
    assert kept.all_batches() == theirs.all_batches() == kept.of("Ann", reads_only=True).all_batches()


def test_the_journal_itself_signs_in_any_name_as_before(kept: Journal) -> None:
    kept.of("Ben", reads_only=True)
    assert kept.add("B-1", Event("cut"), at=NOW, by="Zoe").by == "Zoe"
