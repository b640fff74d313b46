"""What killed programs leave half made is recognised and cleared, once it is certain that nobody works with it."""

from __future__ import annotations

import multiprocessing
import os
import resource
import shutil
import signal
import sqlite3
import time
from contextlib import closing
from datetime import UTC, datetime, timedelta
from fcntl import LOCK_EX, flock
from pathlib import Path

import pytest

from curejournal.batch.records import Weighing
from curejournal.journal import store
from curejournal.journal.backup import restore
from curejournal.journal.database import DATABASE
from curejournal.journal.errors import CopyRefused, DiskFull, FolderInUse, JournalNotFound
from curejournal.journal.exchange import bring_in
from curejournal.journal.files import PART, TAKEN_UP, clear_pieces, new_folder, written_whole
from curejournal.journal.photos import Shelf
from curejournal.journal.store import Journal, PhotoFacts
from tests.journal.under_fire import AT, filled

NOW = datetime(2026, 5, 1, 12, tzinfo=UTC)
SPAWN = multiprocessing.get_context("forkserver")


def aged(path: Path) -> Path:
    """As if it had been made an hour ago."""
    past = time.time() - 3600
    for one in (path, *path.rglob("*")):
        os.utime(one, (past, past))
    return path


def _hold(folder: Path, pipe) -> None:
    with written_whole(folder / "backup.zip"), new_folder(folder / "restored"):
        pipe.send("here")
        time.sleep(600)


@pytest.fixture
def worker(tmp_path: Path):
    here, there = SPAWN.Pipe(duplex=False)
    process = SPAWN.Process(target=_hold, args=(tmp_path, there))
    process.start()
    assert here.recv() == "here"
    yield process
    process.kill()
    process.join()


def pieces(folder: Path) -> list[Path]:
    return sorted(path for path in folder.iterdir() if PART in path.name)


def test_pieces_are_cleared_once_the_program_that_made_them_is_gone(tmp_path: Path, worker) -> None:
    left = pieces(tmp_path)
    assert len(left) == 2
    for piece in left:
        aged(piece)
    assert clear_pieces(tmp_path) == () and pieces(tmp_path) == left, "somebody works with them"
    worker.kill()
    worker.join()
    assert sorted(clear_pieces(tmp_path)) == left and pieces(tmp_path) == []


def test_what_was_made_a_moment_ago_and_what_is_not_ours_stays(tmp_path: Path) -> None:
    young = tmp_path / f"b.zip.0123abcd{PART}"
    young.touch()
    others = [tmp_path / name for name in ("notes.part", "a.zip.0123abcd.part.txt", "x.0123ABCD.part")]
    for other in others:
        other.touch()
        aged(other)
    assert clear_pieces(tmp_path) == ()
    aged(young)
    assert clear_pieces(tmp_path, "c.zip") == ()
    assert clear_pieces(tmp_path, "b.zip") == (young,)
    assert all(other.exists() for other in others)


def test_the_next_start_clears_what_an_intake_a_backup_and_a_restore_left(tmp_path: Path) -> None:
    filled(tmp_path, 1, entries=8)
    folder = tmp_path / "journal"
    with Journal.open(folder) as journal:
        made = journal.backup(tmp_path / "backups-are-here.zip").path
    (tmp_path / "kept").mkdir()
    left = [
        folder / f"{'ab' * 32}.jpg.0123abcd{PART}",
        tmp_path / f".journal.0123abcd{PART}",
        tmp_path / "kept" / f"b.zip.0123abcd{PART}",
        tmp_path / "kept" / f"b.zip.0123abcd.sqlite{PART}",
        tmp_path / f".again.0123abcd{PART}",
    ]
    for path in left:
        path.mkdir() if path.name.startswith(".") else path.touch()
        aged(path)
    with Journal.open(folder) as journal:
        assert [path.exists() for path in left] == [False, False, True, True, True]
        journal.backup(tmp_path / "kept" / "b.zip")
    restore(made, tmp_path / "again", lambda: NOW)
    assert not any(path.exists() for path in left)


# --- a move that was cut short -------------------------------------------------------------


def test_a_move_that_is_cut_short_leaves_no_journal(
    tmp_path: Path, postgresql_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It used to leave an empty one, which called itself sound."""
    journal = Journal.open(tmp_path / "journal")
    journal.start_batch("B-1", "Oat", at=AT, by="Ana", records=[Weighing("bar 1", 1.0)])

    def cut(*_: object) -> None:
        raise KeyboardInterrupt

    for target, url in (("folder", None), ("server", postgresql_url)):
        with monkeypatch.context() as patched:
            patched.setattr(store, "copy_rows", cut)
            with pytest.raises(KeyboardInterrupt):
                journal.copy_to(tmp_path / target, url=url)
        with pytest.raises(JournalNotFound):
            Journal.open(tmp_path / target, url=url, create=False)
        journal.copy_to(tmp_path / target, url=url)
        with Journal.open(tmp_path / target, url=url, create=False) as there:
            assert there.history("B-1") == journal.history("B-1")
            assert there.head() == journal.head() and there.check() == ()
        with pytest.raises(CopyRefused if url else FolderInUse):
            journal.copy_to(tmp_path / target, url=url)
    journal.close()


# --- a full disk ---------------------------------------------------------------------------


def _read_where_nothing_can_grow(folder: Path, pipe) -> None:
    # No file may grow by a byte, which is what a full disk is to a program.
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    try:
        with Journal.open(folder, create=False) as journal:
            pipe.send((len(journal.history("B-1")), len(journal.batches())))
            journal.add("B-1", Weighing("bar 1", 1.0), at=AT, by="Ana")
    except Exception as error:
        pipe.send(f"{type(error).__name__}: {error}")


def test_reading_goes_on_where_no_file_can_grow(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    filled(tmp_path, 1, entries=8)
    folder = tmp_path / "journal"
    with closing(sqlite3.connect(folder / DATABASE)) as database:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    here, there = SPAWN.Pipe(duplex=False)
    process = SPAWN.Process(target=_read_where_nothing_can_grow, args=(folder, there))
    process.start()
    assert here.recv() == (8, 1)
    assert here.recv().split(":")[0] in ("DiskFull", "JournalNotWritable")
    process.join()
    with Journal.open(folder) as journal:
        assert len(journal.history("B-1")) == 8 and journal.check() == ()


@pytest.mark.parametrize("code", [sqlite3.SQLITE_IOERR, sqlite3.SQLITE_IOERR | (19 << 8), sqlite3.SQLITE_FULL])
def test_a_full_disk_is_told_as_one_whatever_the_database_calls_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    def refuse(*_: object, **__: object) -> None:
        error = sqlite3.OperationalError("disk I/O error")
        error.sqlite_errorcode = code
        raise error

    with Journal.open(tmp_path / "journal") as journal:
        journal.start_batch("B-1", "Oat", at=AT, by="Ana")
        usage = shutil.disk_usage(tmp_path)
        monkeypatch.setattr("curejournal.journal.ledger.put", refuse)
        monkeypatch.setattr(shutil, "disk_usage", lambda _: usage._replace(free=0))
        with pytest.raises(DiskFull, match="no room left"):
            journal.add("B-1", Weighing("bar 1", 1.0), at=AT, by="Ana")
        with pytest.raises(DiskFull):
            journal.keep_photo(b"a picture", PhotoFacts(".jpg", 4, 3, AT, "exif", "a.jpg"))
        assert journal.batch("B-1").entries == ()


# --- cut short, and taken up again ---------------------------------------------------------


def _acts(made: Path, exported: Path):
    """What fills a new folder with photos, by name: each takes a folder and who is told of each photo."""

    def of_journal(method: str):
        def act(folder: Path, to: Path, progress) -> None:
            with Journal.open(folder) as journal:
                getattr(journal, method)(to, progress=progress)

        return act

    return {
        "export": of_journal("export"),
        "move": of_journal("copy_to"),
        "restore": lambda folder, to, progress: restore(made, to, lambda: NOW, progress),
        "import": lambda folder, to, progress: bring_in(exported / "journal.json", to, progress),
    }


@pytest.mark.parametrize("end", ["interrupted", "killed"])
@pytest.mark.parametrize("act", ["export", "move", "restore", "import"])
def test_what_was_copied_before_it_was_cut_short_is_not_copied_again(
    act: str, end: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, to = tmp_path / "journal", tmp_path / "new"
    with Journal.open(folder) as journal:
        for k in range(6):
            journal.keep_photo(b"photo %d" % k, PhotoFacts(".jpg", 4, 3, AT, "exif", "a.jpg"))
        made = journal.backup(tmp_path / "b.zip").path
        journal.export(tmp_path / "out")
    run = _acts(made, tmp_path / "out")[act]

    def cut(done: int, total: int) -> None:
        if done == 4:
            raise KeyboardInterrupt

    if end == "killed":  # nothing was cleared up, and one of its photos is half written
        monkeypatch.setattr(shutil, "rmtree", lambda *_, **__: None)
    with pytest.raises(KeyboardInterrupt):
        run(folder, to, cut)
    monkeypatch.undo()
    assert not to.exists()
    (left,) = pieces(tmp_path)
    aged(left)
    copied = sorted((left / "photos").rglob("*.jpg"))
    assert len(copied) == 4
    copied[0].write_bytes(b"half a ph")
    inodes = {path.name: path.stat().st_ino for path in copied[1:]}
    run(folder, to, None)
    found = {path.name: path for path in (to / "photos").rglob("*.jpg")}
    assert len(found) == 6
    assert {name: found[name].stat().st_ino for name in inodes} == inodes, "those very files"
    assert all(Shelf.hash_of(path.read_bytes()) == path.stem for path in found.values())
    assert pieces(tmp_path) == [] and not (to / TAKEN_UP).exists()


@pytest.mark.parametrize("end", ["interrupted", "killed"])
def test_a_backup_that_was_cut_short_goes_on_with_the_photos_that_it_had(
    end: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    backups = tmp_path / "backups"
    backups.mkdir()
    with Journal.open(tmp_path / "journal", now=lambda: NOW) as journal:
        for k in range(6):
            journal.keep_photo(b"photo %d" % k * 1000, PhotoFacts(".jpg", 4, 3, AT, "exif", "a.jpg"))

        def cut(done: int, total: int) -> None:
            if done == 5:
                raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            journal.backup(backups, cut)
        (left,) = pieces(backups)
        assert left.name.startswith("curejournal-20260501T120000Z.zip.")
        had, inode = left.read_bytes(), left.stat().st_ino
        if end == "killed":  # in the midst of its fourth photo, and no index was written behind them
            left.write_bytes(had[: had.index(b"PK\1\2") - 3000])
        kept = sorted(path for path in (tmp_path / "journal" / "photos").rglob("*.jpg"))
        for path in kept[:3]:
            path.write_bytes(b"damaged since")  # which tells whether it was read again
        later = NOW + timedelta(hours=1)
        monkeypatch.setattr(journal, "_now", lambda: later)
        journal.keep_photo(b"and one that came since", PhotoFacts(".jpg", 4, 3, AT, "exif", "a.jpg"))
        made = journal.backup(backups)
    assert (made.path.name, made.photos, made.left_out) == ("curejournal-20260501T130000Z.zip", 7, ())
    assert made.path.stat().st_ino == inode, "that very file"
    assert pieces(backups) == [] and len(list(backups.iterdir())) == 1
    assert restore(made.path, tmp_path / "again", lambda: NOW).photos == 7


@pytest.mark.parametrize("how", ["another journal's", "changed", "noise", "in use"])
def test_a_piece_of_a_backup_brings_in_nothing_but_sound_photos_of_this_journal(how: str, tmp_path: Path) -> None:
    photos = {"left": b"photo of a batch", "own": b"another photo"}
    for name, data in photos.items():
        with Journal.open(tmp_path / name) as journal:
            journal.keep_photo(photos["left"] if how == "changed" else data, PhotoFacts(".jpg", 4, 3, AT, "exif", "a"))
            journal.backup(tmp_path / f"{name}.zip")
    whole = (tmp_path / "left.zip").read_bytes()
    piece = tmp_path / f"new.zip.0123abcd{PART}"
    piece.write_bytes({"changed": whole.replace(b"of a", b"of b"), "noise": bytes(range(256)) * 99}.get(how, whole))
    with piece.open("rb") as held, Journal.open(tmp_path / "own") as journal:
        if how == "in use":
            flock(held, LOCK_EX)
        made = journal.backup(tmp_path / "new.zip")
    assert (made.photos, made.left_out) == (1, ())
    assert piece.exists() == (how == "in use")
    assert photos["left"] not in made.path.read_bytes() or how == "changed"
    assert restore(made.path, tmp_path / "again", lambda: NOW).photos == 1


def test_photos_of_another_journal_that_were_left_do_not_come_in(tmp_path: Path) -> None:
    left = tmp_path / f".new.0123abcd{PART}" / "photos" / "ab"
    left.mkdir(parents=True)
    (left / f"{'ab' * 32}.jpg").write_bytes(b"another's")
    aged(tmp_path / f".new.0123abcd{PART}")
    with Journal.open(tmp_path / "journal") as journal:
        journal.export(tmp_path / "new")
    assert not list((tmp_path / "new").rglob("*.jpg"))
    assert pieces(tmp_path) == []
