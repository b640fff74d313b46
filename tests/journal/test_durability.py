"""Confirmed means on the disk, in the right order."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from sqlalchemy import event, text

from curejournal.journal import files
from curejournal.journal.store import Journal, PhotoFacts
from tests.journal.under_fire import filled

AT = datetime(2026, 3, 1, 10, 30, tzinfo=timezone(timedelta(hours=2)))


def test_a_photo_is_on_the_disk_under_its_name_before_its_row_is(
    journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    steps = []

    def noted(name: str, act):
        def both(*given):
            result = act(*given)
            steps.append(name)
            return result

        return both

    monkeypatch.setattr(files, "sync", noted("file on disk", files.sync))
    monkeypatch.setattr(files, "sync_folder", noted("name on disk", files.sync_folder))
    monkeypatch.setattr(Path, "replace", noted("named", Path.replace))
    event.listen(journal._engine, "commit", lambda connection: steps.append("row"))
    journal.keep_photo(b"a picture", PhotoFacts(".jpg", 4, 3, AT, "exif", "a.jpg"))
    assert steps[-4:] == ["file on disk", "named", "name on disk", "row"]


def test_every_sqlite_connection_is_durable_and_keeps_references(tmp_path: Path) -> None:
    filled(tmp_path, 1)
    with Journal.open(tmp_path / "journal") as journal, journal._reading() as one, journal._writing() as two:
        for connection in (one, two):
            settings = {
                name: connection.scalar(text(f"PRAGMA {name}"))
                for name in ("journal_mode", "synchronous", "foreign_keys")
            }
            # 2 is FULL (sqlite.org/pragma.html#pragma_synchronous).
            assert settings == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}


def test_a_reader_sees_one_moment_whatever_is_written_meanwhile(tmp_path: Path, database_url: str | None) -> None:
    with Journal.open(tmp_path, url=database_url) as journal:
        count = text("SELECT count(*) FROM batch")
        with journal._reading() as connection:
            assert connection.scalar(count) == 0
            journal.start_batch("B-1", "Oat", at=AT, by="Ana")
            assert connection.scalar(count) == 0
        with journal._reading() as connection:
            assert connection.scalar(count) == 1
