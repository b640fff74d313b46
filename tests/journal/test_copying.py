"""A journal moves between databases row by row, verified."""

from __future__ import annotations

import sqlite3
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest

from curejournal.batch.records import Event, PhotoNote, Weighing
from curejournal.journal.copying import copy_rows, fingerprint
from curejournal.journal.database import DATABASE
from curejournal.journal.errors import CopyRefused, FolderInUse, JournalDamaged
from curejournal.journal.store import Journal, PhotoFacts
from tests.journal.under_fire import filled

AT = datetime(2026, 3, 1, 10, 30, 0, 123456, tzinfo=timezone(timedelta(hours=2)))
SQL = Path(__file__).parent.parent / "data" / "journal-0001.sql"


@pytest.fixture
def full(tmp_path: Path) -> Path:
    """A journal with a row of every kind, and more entries than one handful."""
    folder = tmp_path / "full"
    folder.mkdir()
    with sqlite3.connect(folder / DATABASE) as database:
        database.executescript(SQL.read_text(encoding="utf-8"))
    database.close()
    with Journal.open(folder) as journal:
        journal.keep_photo(b"the original", PhotoFacts(".jpg", 4000, 3000, AT, "exif", "IMG_1.jpg"))
        journal.start_batch(
            "B-2", "many", at=AT, by="Ana", records=[Weighing(f"bar {k}", k + 0.1) for k in range(1100)]
        )
    return folder


def test_there_and_back_every_row_and_photo_is_the_same(full: Path, tmp_path: Path, database_url: str | None) -> None:
    with Journal.open(full) as journal:
        journal.copy_to(tmp_path / "there", url=database_url)
        with Journal.open(tmp_path / "there", url=database_url, create=False) as there:
            there.copy_to(tmp_path / "back")
            with Journal.open(tmp_path / "back", create=False) as back:
                prints = []
                for one in (journal, there, back):
                    assert one.check() == ()
                    with one._reading() as connection:
                        prints.append(fingerprint(connection))
                assert prints[0] == prints[1] == prints[2]
                assert {name: count for name, (count, _) in prints[0].items()} == {
                    "batch": 2, "entry": 1114, "photo": 1, "card": 2, "setting": 2, "contact": 0, "seal": 1121,
                }  # fmt: skip
                assert back.all_batches() == journal.all_batches()
                assert back.photos_of("Мыло-1") == journal.photos_of("Мыло-1")
                back.photo_bytes(back.photos_of("Мыло-1")[0].sha256)


def test_work_goes_on_in_the_copy_with_fresh_numbers(full: Path, tmp_path: Path, database_url: str | None) -> None:
    with Journal.open(full) as journal:
        journal.copy_to(tmp_path / "there", url=database_url)
        last = journal.history("B-2")[-1]
    with Journal.open(tmp_path / "there", url=database_url, create=False) as there:
        there.start_batch("B-3", "new", at=AT, by="Ana", records=[Event("poured")])
        entry = there.add("B-2", PhotoNote(), at=AT, by="Ana", supersedes=None)
        there.add("B-2", Weighing("bar 1", 1.0), at=AT, by="Ana", supersedes=last.id)
        there.set_setting("house rules", {"days": 99})
        there.keep_card("window", "size = 9")
        assert entry.id > last.id
        assert there.check() == ()


def test_the_database_alone_may_move_with_the_photos_where_they_are(full: Path, postgresql_url: str) -> None:
    with Journal.open(full) as journal:
        journal.copy_to(full, url=postgresql_url)
        with Journal.open(full, url=postgresql_url, create=False) as moved:
            assert moved.all_batches() == journal.all_batches()
            assert moved.check() == ()


def test_nothing_is_copied_over_another_journal(full: Path, tmp_path: Path, database_url: str | None) -> None:
    with Journal.open(tmp_path / "other", url=database_url) as other:
        other.set_setting("mine", 1)
        with Journal.open(full) as journal, pytest.raises((CopyRefused, FolderInUse)):
            journal.copy_to(tmp_path / "other", url=database_url)
        assert other.batches() == ()
        assert other.check() == ()


def test_a_journal_with_a_damaged_photo_is_not_copied(full: Path, tmp_path: Path) -> None:
    next((full / "photos").rglob("*.jpg")).write_bytes(b"x")
    with Journal.open(full) as journal, pytest.raises(JournalDamaged):
        journal.copy_to(tmp_path / "other")


def test_a_copy_that_differs_in_one_value_is_noticed(tmp_path: Path) -> None:
    filled(tmp_path, 1)
    with Journal.open(tmp_path / "journal") as one, Journal.open(tmp_path / "other") as two:
        with pytest.raises(JournalDamaged, match="not the same"), one._reading() as source, two._writing() as target:
            target.exec_driver_sql(
                "CREATE TEMP TRIGGER lie AFTER INSERT ON entry WHEN NEW.id = 7 "
                "BEGIN INSERT INTO setting VALUES (NULL, 'a', '1', '2026-01-01'); END"
            )
            copy_rows(source, target)
        assert two.batches() == ()
