"""Photos that wait to be filed, and photos filed once."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from threading import Barrier, Thread

import pytest

from curejournal.batch.records import PhotoNote
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import Journal

AT = datetime(2026, 3, 1, 10, 30, tzinfo=UTC)


@pytest.fixture
def waiting(journal: Journal) -> str:
    journal.start_batch("B-1", "Oat", at=AT, by="Ana")
    journal.start_batch("B-2", "Rye", at=AT, by="Ana")
    return journal.keep_photo(b"a photo", PhotoFacts(".jpg", 4, 3, AT, "exif", "a.jpg")).sha256


def test_a_photo_waits_until_it_is_filed_and_again_once_that_is_taken_back(journal: Journal, waiting: str) -> None:
    assert [photo.sha256 for photo in journal.unfiled_photos()] == [waiting]
    assert journal.last_naming(waiting) == 0
    (entry,) = journal.file_photo("B-1", waiting, [PhotoNote()], at=AT, by="Ana")
    assert journal.unfiled_photos() == ()
    assert journal.entries_of_photo(waiting) == (("B-1", entry),)
    journal.withdraw(entry.id, why="another batch", by="Ana", at=AT)
    assert [photo.sha256 for photo in journal.unfiled_photos()] == [waiting]
    assert journal.last_naming(waiting) == entry.id
    assert journal.entries_of_photo(waiting) == ()


def test_a_corrected_entry_keeps_its_photo_filed(journal: Journal, waiting: str) -> None:
    (entry,) = journal.file_photo("B-1", waiting, [PhotoNote()], at=AT, by="Ana")
    journal.add("B-1", PhotoNote("better words"), at=AT, by="Ana", supersedes=entry.id, photo=waiting)
    assert journal.unfiled_photos() == ()


def test_a_photo_filed_already_is_not_filed_again(journal: Journal, waiting: str) -> None:
    journal.file_photo("B-1", waiting, [PhotoNote()], at=AT, by="Ana")
    assert journal.file_photo("B-2", waiting, [PhotoNote()], at=AT, by="Ben") == ()
    assert journal.batch("B-2").entries == ()


def test_of_many_who_file_a_photo_at_once_one_does(journal: Journal, waiting: str, database_url: str | None) -> None:
    start, done = Barrier(6), []

    def file(folder: Path) -> None:
        with Journal.open(folder, url=database_url) as own:
            start.wait()
            done.append(own.file_photo("B-1", waiting, [PhotoNote()], at=AT, by="Ana"))

    threads = [Thread(target=file, args=(journal.location,)) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(len(entries) for entries in done) == [0, 0, 0, 0, 0, 1]


def test_a_photo_is_found_by_the_beginning_of_its_hash(journal: Journal, waiting: str) -> None:
    assert [photo.sha256 for photo in journal.photos_named(waiting[:6])] == [waiting]
    assert journal.photos_named("%") == ()
    assert len(journal.photos_named("")) == 1
