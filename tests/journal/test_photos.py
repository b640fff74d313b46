"""Original photos are kept byte for byte."""

from __future__ import annotations

import hashlib
from datetime import datetime, timedelta, timezone

import pytest

from curejournal.batch.records import PhotoNote
from curejournal.journal.errors import EntryRefused, JournalDamaged
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import Journal

TAKEN = datetime(2026, 3, 1, 10, 30, tzinfo=timezone(timedelta(hours=-5)))
FACTS = PhotoFacts(".jpg", 4000, 3000, TAKEN, "exif", "IMG_1.jpg")


def test_a_photo_comes_back_byte_for_byte_with_its_facts(journal: Journal) -> None:
    data = bytes(range(256)) * 99
    kept = journal.keep_photo(data, FACTS)
    assert kept.sha256 == hashlib.sha256(data).hexdigest()
    assert (kept.size, kept.facts) == (len(data), FACTS)
    assert journal.photo(kept.sha256) == kept
    assert journal.photo_bytes(kept.sha256) == data
    assert kept.facts.taken_at is not None
    assert kept.facts.taken_at.utcoffset() == TAKEN.utcoffset()


def test_the_same_photo_twice_is_one_photo_under_its_first_name(journal: Journal) -> None:
    first = journal.keep_photo(b"same", FACTS)
    second = journal.keep_photo(b"same", PhotoFacts(".jpg", 4000, 3000, None, None, "copy of IMG_1.jpg"))
    assert first == second
    assert len([path for path in (journal.location / "photos").rglob("*") if path.is_file()]) == 1


def test_a_photo_without_a_date_is_kept(journal: Journal) -> None:
    kept = journal.keep_photo(b"undated", PhotoFacts(".png", 1, 1, None, None, "scan.png"))
    assert journal.photo(kept.sha256).facts.taken_at is None


@pytest.mark.parametrize("spoil", [lambda p: p.write_bytes(p.read_bytes()[:-1]), lambda p: p.unlink()])
def test_a_spoilt_photo_is_noticed_and_mended_by_the_same_photo(journal: Journal, spoil) -> None:
    kept = journal.keep_photo(b"original", FACTS)
    spoil(next((journal.location / "photos").rglob("*.jpg")))
    with pytest.raises(JournalDamaged):
        journal.photo_bytes(kept.sha256)
    assert journal.keep_photo(b"original", FACTS) == kept
    assert journal.photo_bytes(kept.sha256) == b"original"


@pytest.mark.parametrize(
    ("name", "kept_as"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\Users\\me\\IMG.jpg", "IMG.jpg"),
        ("a\nb\x00\udcff\u202egpj.jpg", "a\ufffdb\ufffd\ufffd\ufffdgpj.jpg"),
        ("<img src=x>.jpg", "<img src=x>.jpg"),
        ("мыло 🧼.jpg", "мыло 🧼.jpg"),
    ],
)
def test_a_file_name_is_kept_as_text_only(journal: Journal, name: str, kept_as: str) -> None:
    kept = journal.keep_photo(name.encode("utf-8", "replace"), PhotoFacts(".jpg", 1, 1, None, None, name))
    assert journal.photo(kept.sha256).facts.original_name == kept_as


@pytest.mark.parametrize("suffix", ["jpg", ".JPG", "./x", ".", "", ".jpg/../x", ".toolongname"])
def test_an_odd_suffix_is_refused_before_anything_is_written(journal: Journal, suffix: str) -> None:
    with pytest.raises(EntryRefused):
        journal.keep_photo(b"x", PhotoFacts(suffix, 1, 1, None, None, "x"))
    assert not (journal.location / "photos").exists()


def test_the_photos_of_a_batch_are_those_of_its_current_entries_in_order(journal: Journal) -> None:
    journal.start_batch("B-1", "Oat", at=TAKEN, by="Ana")
    for day in (3, 1, 2):
        at = TAKEN + timedelta(days=day)
        photo = journal.keep_photo(b"%d" % day, PhotoFacts(".jpg", 1, 1, at, "exif", f"{day}.jpg"))
        entry = journal.add("B-1", PhotoNote(), at=at, by="Ana", photo=photo.sha256)
    journal.withdraw(entry.id, why="other batch", by="Ana", at=TAKEN)
    assert [photo.facts.original_name for photo in journal.photos_of("B-1")] == ["1.jpg", "3.jpg"]


def test_a_derived_picture_is_made_once_and_again_when_lost(journal: Journal) -> None:
    kept = journal.keep_photo(b"original", FACTS)
    made = []

    def make() -> bytes:
        made.append(1)
        return b"small"

    assert journal.derived(kept.sha256, "small-640.jpg", make) == b"small"
    assert journal.derived(kept.sha256, "small-640.jpg", make) == b"small"
    assert len(made) == 1
    next((journal.location / "derived").rglob("small-640.jpg")).unlink()
    assert journal.derived(kept.sha256, "small-640.jpg", make) == b"small"
    assert len(made) == 2


@pytest.mark.parametrize("name", ["", "../x", "a/b", ".hidden", "A.jpg"])
def test_a_derived_picture_stays_in_its_folder(journal: Journal, name: str) -> None:
    with pytest.raises(EntryRefused):
        journal.derived("0" * 64, name, lambda: b"")
