"""A full disk, a folder that refuses, a lock that is held: plain words, and nothing lost."""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from sqlalchemy import event, text

from curejournal.base.errors import CureJournalError
from curejournal.batch.records import Event
from curejournal.journal import files
from curejournal.journal.database import DATABASE
from curejournal.journal.errors import DiskFull, JournalBusy, JournalNotWritable
from curejournal.journal.store import Journal, NewEntry, PhotoFacts
from tests.journal.under_fire import PROCESSES, filled

AT = datetime(2026, 3, 1, 10, 30, tzinfo=timezone(timedelta(hours=2)))
FACTS = PhotoFacts(".jpg", 4, 3, AT, "exif", "a.jpg")
NOBODY = 65534


def test_a_database_that_cannot_grow_refuses_the_entry_and_keeps_the_rest(tmp_path: Path) -> None:
    filled(tmp_path, 1)
    long = [NewEntry(Event("note", note="long " * 4000), AT) for _ in range(25)]
    with Journal.open(tmp_path / "journal") as journal:
        before = journal.history("B-1")

        @event.listens_for(journal._engine, "checkout")
        def no_more_room(connection, *_) -> None:
            # SQLite's own full disk: the error is the very one that it gives when the disk is.
            connection.execute(f"PRAGMA max_page_count={connection.execute('PRAGMA page_count').fetchone()[0]}")

        with pytest.raises(DiskFull, match="no room left") as caught:
            journal.add_many("B-1", long, by="Ana")
        assert "was not kept" in caught.value.safe
        assert journal.history("B-1") == before
        assert journal.check() == ()
    with Journal.open(tmp_path / "journal") as journal:
        journal.add_many("B-1", long, by="Ana")


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EDQUOT])
@pytest.mark.parametrize("failing", ["sync", "sync_folder"])
def test_a_disk_too_full_for_a_photo_keeps_neither_file_nor_row(
    journal: Journal, monkeypatch: pytest.MonkeyPatch, code: int, failing: str
) -> None:
    def full(*_: object) -> None:
        raise OSError(code, os.strerror(code))

    with monkeypatch.context() as patch:
        patch.setattr(files, failing, full)
        with pytest.raises(DiskFull):
            journal.keep_photo(b"a picture", FACTS)
    assert journal.check() == ()
    kept = journal.keep_photo(b"a picture", FACTS)
    assert journal.photo_bytes(kept.sha256) == b"a picture"


def test_a_disk_too_full_for_a_backup_leaves_no_half_of_one(
    journal: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    journal.keep_photo(b"a picture", FACTS)
    (tmp_path / "out").mkdir()

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(files, "sync", full)
    with pytest.raises(DiskFull):
        journal.backup(tmp_path / "out")
    assert list((tmp_path / "out").iterdir()) == []


@pytest.mark.parametrize("code", [errno.EIO, errno.ENODEV, errno.ENOENT])
def test_a_stick_pulled_out_in_the_midst_of_a_backup_is_told_in_a_sentence(
    journal: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    def gone(*_: object) -> None:
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(files, "sync", gone)
    with pytest.raises(JournalNotWritable, match="or is not there") as caught:
        journal.backup(tmp_path / "stick.zip")
    assert caught.value.do and not list(tmp_path.glob("stick*"))


def test_a_lock_held_too_long_is_said_to_be_one_and_passes(tmp_path: Path) -> None:
    filled(tmp_path, 1)
    with Journal.open(tmp_path / "journal", patience_s=0.05) as journal:
        other = sqlite3.connect(tmp_path / "journal" / DATABASE, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(JournalBusy, match="another window or program"):
            journal.add("B-1", Event("cut"), at=AT, by="Ana")
        assert len(journal.history("B-1")) == 40, "reading goes on meanwhile"
        other.execute("ROLLBACK")
        other.close()
        journal.add("B-1", Event("cut"), at=AT, by="Ana")


def test_a_lock_held_too_long_on_a_server_is_said_to_be_one(tmp_path: Path, database_url: str | None) -> None:
    with (
        Journal.open(tmp_path, url=database_url) as one,
        Journal.open(tmp_path, url=database_url, patience_s=0.05) as two,
    ):
        one.start_batch("B-1", "Oat", at=AT, by="Ana")
        with one._writing() as connection:
            connection.execute(text("SELECT 1"))
            with pytest.raises(JournalBusy):
                two.add("B-1", Event("cut"), at=AT, by="Ana")
            assert two.history("B-1") == ()
        two.add("B-1", Event("cut"), at=AT, by="Ana")


@pytest.fixture
def open_to_all() -> Iterator[Path]:
    """A folder that every user may enter, which pytest's own is not."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    yield folder
    for path in (folder, *folder.rglob("*")):
        path.chmod(0o755 if path.is_dir() else 0o644)
    shutil.rmtree(folder)


def _as_nobody(act: Callable[[Path], object], folder: Path, answers) -> None:
    if os.geteuid() == 0:
        # No folder is closed to root.
        os.setgid(NOBODY)
        os.setuid(NOBODY)
    try:
        answers.put(("done", act(folder)))
    except CureJournalError as error:
        answers.put((type(error).__name__, str(error)))
    except Exception as error:
        answers.put(("crash", repr(error)))


def _outcome(act: Callable[[Path], object], folder: Path) -> tuple[str, object]:
    answers = PROCESSES.Queue()
    process = PROCESSES.Process(target=_as_nobody, args=(act, folder, answers))
    process.start()
    outcome = answers.get(timeout=60)
    process.join()
    return outcome


def _add(folder: Path) -> None:
    with Journal.open(folder / "journal") as journal:
        journal.add("B-1", Event("cut"), at=AT, by="Ana")


def _keep(folder: Path) -> None:
    with Journal.open(folder / "journal") as journal:
        journal.keep_photo(b"another picture", FACTS)


def _derive(folder: Path) -> bytes:
    with Journal.open(folder / "journal") as journal:
        return journal.derived("0" * 64, "small.jpg", lambda: b"made again")


def _start(folder: Path) -> None:
    Journal.open(folder / "journal").close()


def _close(folder: Path, *, but: str = "") -> None:
    for path in (folder, *folder.rglob("*")):
        is_spared = bool(but) and path.name.startswith(but)
        path.chmod((0o777 if is_spared else 0o555) if path.is_dir() else (0o666 if is_spared else 0o444))


@pytest.mark.parametrize("act", [_start, _add, _keep])
def test_a_read_only_folder_is_said_to_be_so_and_stays_as_it_is(open_to_all: Path, act: Callable[[Path], None]) -> None:
    if act is not _start:
        filled(open_to_all, 1)
    _close(open_to_all)
    outcome, words = _outcome(act, open_to_all)
    assert (outcome, "cannot be written to" in str(words)) == (JournalNotWritable.__name__, True)
    if act is not _start:
        with Journal.open(open_to_all / "journal") as journal:
            assert len(journal.history("B-1")) == 40
            assert journal.check() == ()


def test_closed_photo_folders_refuse_a_photo_but_not_a_weight_or_a_derived_picture(open_to_all: Path) -> None:
    filled(open_to_all, 1)
    _close(open_to_all, but="journal")
    assert _outcome(_add, open_to_all) == ("done", None)
    (open_to_all / "journal" / "derived").mkdir(mode=0o555)
    assert _outcome(_derive, open_to_all) == ("done", b"made again")
    assert _outcome(_keep, open_to_all)[0] == JournalNotWritable.__name__
    with Journal.open(open_to_all / "journal") as journal:
        assert journal.check() == ()
