"""Every row is held against its own hash: what was changed, put in or taken out by any means is found and named."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from curejournal.base.errors import CureJournalError
from curejournal.batch.records import BarsOut, Event, Weighing
from curejournal.journal.backup import restore
from curejournal.journal.database import DATABASE
from curejournal.journal.errors import BackupRefused, JournalDamaged
from curejournal.journal.store import Changes, Journal, NewContact, NewEntry, PhotoFacts, Press
from tests.journal.test_backup import _database

AT = datetime(2026, 5, 1, 12, tzinfo=UTC)


def filled(folder: Path) -> None:
    """A journal with rows in every table."""
    with Journal.open(folder) as journal:
        photo = journal.keep_photo(b"a picture", PhotoFacts(".jpg", 4, 3, AT, "exif", "IMG_1.jpg"))
        journal.start_batch("B-1", "Oat and honey", at=AT, by="Ana", records=[Event("poured")])
        journal.add("B-1", Weighing("bar 1", 120.5), at=AT, by="Ana", photo=photo.sha256)
        journal.add("B-1", BarsOut(2, "the market", "sold"), at=AT, by="Ben")
        journal.keep_card("window-A1", "size = 1", "A1")
        journal.set_setting("place", "The invented shed")
        journal.keep_contact(NewContact("Cleo (invented)", "by the bridge"), by="Ana")


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("first") / "journal"
    filled(folder)
    return folder


@pytest.fixture
def folder(first: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(first, tmp_path / "journal"))


def behind_its_back(folder: Path, *statements: str) -> None:
    """Change the database as no guard of it sees."""
    with closing(sqlite3.connect(folder / DATABASE)) as database:
        guards = database.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in guards:
            database.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            database.execute(statement)
        for _, sql in guards:
            database.execute(sql)
        database.commit()
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")


NOT_UTF8 = {
    "batch": "UPDATE batch SET name = CAST(x'4f6174ff' AS TEXT)",
    "photo": "UPDATE photo SET original_name = CAST(x'c328' AS TEXT)",
    "entry": "UPDATE entry SET author = CAST(x'80' AS TEXT) WHERE id = 2",
    "card": "UPDATE card SET toml = CAST(x'ff' AS TEXT)",
    "setting": "UPDATE setting SET value = CAST(x'22ff22' AS TEXT)",
    "contact": "UPDATE contact SET name = CAST(x'ff' AS TEXT)",
}
CHANGED = {
    "a batch renamed": ("UPDATE batch SET name = 'Oat'", "batch 1"),
    "a batch dated back": ("UPDATE batch SET started_at_utc = '2026-04-01 12:00:00.000000'", "batch 1"),
    "a weight": ("UPDATE entry SET record = replace(record, '120.5', '120.6') WHERE id = 2", "entry 2"),
    "an author": ("UPDATE entry SET author = 'Eve' WHERE id = 3", "entry 3"),
    "a photo's time": ("UPDATE photo SET taken_at_utc = '2026-05-02 12:00:00.000000'", "photo "),
    "a card": ("UPDATE card SET toml = 'size = 2'", "card 1"),
    "a setting": ("UPDATE setting SET value = '\"Another shed\"'", "setting 1"),
    "a contact": ("UPDATE contact SET name = 'Eve (invented)'", "contact 1"),
    "a contact blanked by hand": ("UPDATE contact SET name = '', details = '', salt = ''", "contact 1"),
    "an entry taken out": ("DELETE FROM entry WHERE id = 3", "entry 3"),
    "an entry taken out with its seal": (
        "DELETE FROM seal WHERE table_name = 'entry' AND row_key = '3'; DELETE FROM entry WHERE id = 3", "seal ",
    ),
    "an entry put in": (
        "INSERT INTO entry (batch_id, kind, at_utc, at_offset_minutes, author, recorded_at_utc, record) "
        "SELECT batch_id, kind, at_utc, 0, author, recorded_at_utc, record FROM entry WHERE id = 2", "entry 4",
    ),
    "two entries exchanged": (
        "UPDATE entry SET record = (SELECT record FROM entry WHERE id = 1) WHERE id = 2", "entry 2",
    ),
    "a row and its hash": (
        "UPDATE entry SET author = 'Eve' WHERE id = 3;"
        "UPDATE seal SET row_hash = 'ab' WHERE table_name = 'entry' AND row_key = '3'", "seal ",
    ),
}  # fmt: skip


def problems(folder: Path) -> list[str]:
    with Journal.open(folder, create=False) as journal:
        return [f"{problem.where}: {problem.what}" for problem in journal.check() if problem.serious]


def test_a_whole_journal_verifies(folder: Path, tmp_path: Path) -> None:
    assert problems(folder) == []
    with Journal.open(folder) as journal:
        made = journal.backup(tmp_path / "b.zip")
        assert made.head == journal.head()
    assert restore(made.path, tmp_path / "again", lambda: AT).head == made.head


@pytest.mark.parametrize("table", NOT_UTF8)
def test_text_that_is_no_text_is_found_by_check_backup_and_restore(table: str, folder: Path, tmp_path: Path) -> None:
    with Journal.open(folder) as journal:
        good = journal.backup(tmp_path / "good.zip").path
    behind_its_back(folder, NOT_UTF8[table])
    assert any(f"{table} " in line and "not UTF-8" in line for line in problems(folder))
    with Journal.open(folder) as journal, pytest.raises(JournalDamaged, match=f"is damaged: .*{table} "):
        journal.backup(tmp_path / "bad.zip")
    (tmp_path / "hostile.zip").write_bytes(_database(*_unguarded(NOT_UTF8[table]))(good))
    with pytest.raises(BackupRefused):
        restore(tmp_path / "hostile.zip", tmp_path / "again", lambda: AT)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["good.zip", "hostile.zip", "journal"]


def _unguarded(statement: str) -> list[str]:
    table = statement.split()[1]
    return [f"DROP TRIGGER {table}_keeps_on_update", statement]


@pytest.mark.parametrize(("statements", "where"), CHANGED.values(), ids=CHANGED)
def test_what_was_changed_by_any_means_is_found_and_named(
    statements: str, where: str, folder: Path, tmp_path: Path
) -> None:
    behind_its_back(folder, *statements.split(";"))
    found = problems(folder)
    assert any(line.startswith(where) for line in found), found
    with Journal.open(folder) as journal, pytest.raises(JournalDamaged):
        journal.backup(tmp_path / "bad.zip")


def test_a_printed_head_tells_that_the_end_was_cut_off(folder: Path) -> None:
    """A chain shows order, not completeness: what was cut off its end only a head from before shows."""
    with Journal.open(folder) as journal:
        printed = journal.head()
        assert journal.holds_head(printed[:16])
        later = journal.add("B-1", Weighing("bar 1", 119.0), at=AT, by="Ana")
        assert journal.holds_head(printed) and journal.seal_of(later.id) == journal.head() != printed
        cut = journal.head()
    behind_its_back(folder, f"DELETE FROM entry WHERE id = {later.id}", f"DELETE FROM seal WHERE chain = '{cut}'")
    (folder / "journal.last").unlink()
    assert problems(folder) == []
    with Journal.open(folder) as journal:
        assert journal.holds_head(printed) and not journal.holds_head(cut)


def without_its_log(folder: Path, tmp_path: Path) -> None:
    with Journal.open(folder) as journal:
        journal.add("B-1", Weighing("bar 1", 118.0), at=AT, by="Ana")
        shutil.copytree(folder, tmp_path / "copy", ignore=shutil.ignore_patterns("*-wal", "*-shm"))


def with_an_older_log(folder: Path, tmp_path: Path) -> None:
    with Journal.open(folder) as journal:
        journal.add("B-1", Weighing("bar 1", 118.0), at=AT, by="Ana")
        shutil.copytree(folder, tmp_path / "older")
        journal.add("B-1", Weighing("bar 1", 117.0), at=AT, by="Ana")
        shutil.copytree(folder, tmp_path / "copy")
        shutil.copy(tmp_path / "older" / f"{DATABASE}-wal", tmp_path / "copy" / f"{DATABASE}-wal")


@pytest.mark.parametrize("copied", [without_its_log, with_an_older_log])
def test_a_folder_copied_without_its_log_or_with_an_older_one_is_refused(
    copied: Callable[[Path, Path], None], folder: Path, tmp_path: Path
) -> None:
    copied(folder, tmp_path)
    with pytest.raises(JournalDamaged, match="older than its last entry"):
        Journal.open(tmp_path / "copy")
    (tmp_path / "copy" / "journal.last").unlink()
    with Journal.open(tmp_path / "copy") as journal:
        assert journal.check() == ()


def test_the_same_press_sent_twice_is_one_entry(journal: Journal) -> None:
    journal.start_batch("B-1", "Oat", at=AT, by="Ana")
    entries = [NewEntry(Event("trace"), AT, batch="B-1"), NewEntry(Event("note", note="thick"), AT, batch="B-1")]
    press = Press("a key of its own", AT.replace(hour=11))
    made = journal.commit(Changes(entries, press=press, settings={"place": "Shed"}), by="Ana")
    assert journal.commit(Changes(entries, press=press), by="Ana") == made == journal.entries_of_press(press.key)
    assert journal.history("B-1") == made
    assert [(entry.press, entry.pressed_at) for entry in made] == [(press.key, press.at)] * 2
    assert made[0].recorded_at > press.at
    other = journal.commit(Changes(entries, press=Press("another", AT)), by="Ana")
    assert len(journal.history("B-1")) == 4 and other[0].id == made[-1].id + 1
    assert journal.undo(*(entry.id for entry in other), why="twice", by="Ana", at=AT)
    assert journal.batch("B-1").entries == made


def test_all_that_one_press_keeps_is_kept_or_nothing(journal: Journal) -> None:
    facts = PhotoFacts(".jpg", 4, 3, AT, "exif", "a.jpg")
    before = journal.head()
    wrong = Changes(
        [NewEntry(Event("poured"), AT, batch="B-1"), NewEntry(Event("cut"), AT, batch="none")],
        photos=[(b"a picture", facts)],
        settings={"place": "Shed"},
        contact=NewContact("Cleo (invented)"),
    )
    journal.start_batch("B-1", "Oat", at=AT, by="Ana")
    started = journal.head()
    with pytest.raises(CureJournalError, match="no batch none"):
        journal.commit(wrong, by="Ana")
    assert journal.head() == started != before
    assert (journal.setting("place"), journal.contacts(), journal.unfiled_photos()) == (None, (), ())


def test_a_contact_is_erased_on_request_and_the_entries_stay(journal: Journal) -> None:
    first = journal.keep_contact(NewContact("Cleo (invented)", "4 Bridge Row"), by="Ana")
    again = journal.keep_contact(NewContact("Cleo B. (invented)", corrects=first.id), by="Ana")
    other = journal.keep_contact(NewContact("Dan (invented)"), by="Ana")
    assert (again.id, journal.contact(first.id).name) == (first.id, "Cleo B. (invented)")
    erased = journal.erase_contact(first.id, why="she asked for it", by="Ben", at=AT)
    assert journal.contact(first.id).erased
    assert [entry for _, entry in journal.entries_of_contact(first.id)] == [erased]
    assert journal.contacts() == (journal.contact(first.id), other)
    assert journal.check() == ()
    if journal._engine.dialect.name == "sqlite":
        for path in journal.location.iterdir():
            if path.is_file():
                assert b"Bridge Row" not in path.read_bytes()
                assert b"Cleo" not in path.read_bytes()
