"""A check notices every kind of damage and is quiet about a whole journal."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from curejournal.base.errors import CureJournalError
from curejournal.journal.database import DATABASE
from curejournal.journal.store import Journal
from tests.journal.under_fire import filled


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    filled(tmp_path, 1)
    return tmp_path / "journal"


def found(folder: Path) -> list[tuple[str, bool]]:
    with Journal.open(folder, create=False) as journal:
        return [(problem.what, problem.serious) for problem in journal.check()]


def first_photo(folder: Path) -> Path:
    return sorted((folder / "photos").rglob("*.jpg"))[0]


def unguarded(folder: Path, statement: str) -> None:
    """Change the database behind the program's back."""
    with closing(sqlite3.connect(folder / DATABASE)) as database:
        guards = database.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in guards:
            database.execute(f"DROP TRIGGER {name}")
        database.execute("PRAGMA foreign_keys=OFF")
        database.execute(statement)
        for _, sql in guards:
            database.execute(sql)
        database.commit()


def test_a_whole_journal_has_no_problems(folder: Path) -> None:
    assert found(folder) == []


def _flip_one_bit(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda path: path.write_bytes(path.read_bytes()[:-1]), "49999 bytes instead of 50000"),
        (lambda path: path.write_bytes(b""), "0 bytes"),
        (_flip_one_bit, "not the one that was kept"),
        (Path.unlink, "missing"),
        (lambda path: (path.unlink(), path.mkdir()), "cannot be read"),
    ],
    ids=["truncated", "emptied", "one bit", "removed", "a folder"],
)
def test_a_spoilt_photo_is_noticed(folder: Path, spoil: Callable[[Path], object], words: str) -> None:
    spoil(first_photo(folder))
    ((what, serious),) = found(folder)
    assert words in what
    assert serious


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE entry SET record = '{\"subject\": 1}' WHERE id = 9", "cannot be read"),
        ("UPDATE entry SET record = 'half a rec' WHERE id = 9", "cannot be read"),
        ("UPDATE entry SET kind = 'moonlight' WHERE id = 9", "'moonlight'"),
        ("UPDATE entry SET at_utc = 'yesterday' WHERE id = 9", "yesterday"),
        ("UPDATE entry SET supersedes = 9 WHERE id = 8", "a later one"),
        ("UPDATE entry SET batch_id = 77 WHERE id = 9", "refers to a batch that is not there"),
        ("UPDATE entry SET supersedes = 999 WHERE id = 9", "refers to a entry that is not there"),
        (f"UPDATE entry SET photo_sha256 = '{'0' * 64}' WHERE id = 9", "refers to a photo that is not there"),
    ],
)
def test_a_row_changed_behind_the_programs_back_is_noticed(folder: Path, statement: str, words: str) -> None:
    unguarded(folder, statement)
    told = " ".join(what for what, _ in found(folder))
    assert words in told
    assert "it is not as it was kept: its hash differs" in told


@pytest.mark.parametrize(
    "statement",
    [
        "DROP TRIGGER entry_keeps_on_delete",
        "DROP INDEX ix_card_name_id",
        "CREATE TRIGGER more AFTER INSERT ON entry BEGIN INSERT INTO setting VALUES (1, 'a', '1', ''); END",
        "CREATE VIEW odd AS SELECT 1",
        "CREATE TABLE odd (id INTEGER)",
    ],
)
def test_a_guard_taken_away_or_a_stranger_put_in_is_noticed(folder: Path, statement: str) -> None:
    with closing(sqlite3.connect(folder / DATABASE)) as database:
        database.execute(statement)
        database.commit()
    problems = found(folder)
    assert len(problems) == 1
    assert "differs from what the program made" in problems[0][0]


def test_a_damaged_database_is_reported_and_its_photos_are_still_looked_at(folder: Path) -> None:
    with closing(sqlite3.connect(folder / DATABASE)) as database:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        (page,) = database.execute(
            "SELECT rootpage FROM sqlite_master WHERE name = 'ix_entry_batch_id_kind_at_utc'"
        ).fetchone()
        (size,) = database.execute("PRAGMA page_size").fetchone()
    data = bytearray((folder / DATABASE).read_bytes())
    data[(page - 1) * size : page * size] = b"\xff" * size
    (folder / DATABASE).write_bytes(data)
    first_photo(folder).unlink()
    problems = [what for what, serious in found(folder) if serious]
    assert "the photo is missing" in problems
    assert len(problems) > 1


@pytest.mark.parametrize(
    "name", ["photos/ab/stray.jpg", "photos/ab/0000.jpg.1234abcd.part", "b.sqlite.1234abcd.part", "b.part-journal"]
)
def test_what_interrupted_work_left_is_reported_as_harmless(folder: Path, name: str) -> None:
    path = folder / name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(b"half a pict")
    ((what, serious),) = found(folder)
    assert "cut short" in what
    assert not serious


def test_progress_is_told_photo_by_photo(folder: Path) -> None:
    told = []
    with Journal.open(folder) as journal:
        journal.check(lambda done, of: told.append((done, of)))
    assert told == [(k, 6) for k in range(1, 7)]


def test_a_guard_taken_away_on_any_database_is_noticed(journal: Journal) -> None:
    from sqlalchemy import text

    assert journal.check() == ()
    is_server = journal._engine.dialect.name == "postgresql"
    with journal._writing() as connection:
        connection.execute(
            text("DROP TRIGGER card_keeps ON card" if is_server else "DROP TRIGGER card_keeps_on_update")
        )
    (problem,) = journal.check()
    assert "card_keeps" in problem.where


def test_a_definition_that_is_no_text_is_told_as_damage(folder: Path) -> None:
    """SQLite quotes it in its message, whose bytes Python then cannot read: that crashed."""
    with closing(sqlite3.connect(folder / DATABASE)) as database:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    data = (folder / DATABASE).read_bytes()
    at = data.index(b"CREATE TABLE batch")
    (folder / DATABASE).write_bytes(data[: at + 13] + b"\xff" + data[at + 14 :])
    (folder / DATABASE).with_suffix(".sqlite-wal").unlink(missing_ok=True)
    with pytest.raises(CureJournalError, match=r"damaged|something else"):
        Journal.open(folder, create=False)


# --- cut short, and taken up again ---------------------------------------------------------


def cut_short(journal: Journal, after: int) -> None:
    def cut(done: int, total: int) -> None:
        if done == after:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        journal.check(cut)


def damaged_unseen(path: Path) -> None:
    """Damage a photo so that neither its size nor its time tells."""
    state = path.stat()
    _flip_one_bit(path)
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))


def test_a_check_that_was_cut_short_goes_on_with_the_photos_that_it_had_not_seen(folder: Path) -> None:
    with Journal.open(folder) as journal:
        cut_short(journal, after=4)
        seen = (folder / "derived" / "checked").read_text().splitlines()[1:]
        assert len(seen) == 4
        paths = {path.name: path for path in (folder / "photos").rglob("*.jpg")}
        by_check = [paths.pop(line.split()[0]) for line in seen]
        cut_short(journal, after=5)
        damaged_unseen(by_check[0])  # which tells whether it is read again
        damaged_unseen(by_check[1])
        assert journal.check() == ()
        assert not (folder / "derived" / "checked").exists(), "that one came to its end"
        assert {problem.photo for problem in journal.check()} == {path.stem for path in by_check[:2]}


@pytest.mark.parametrize("since", ["changed", "a day later", "removed", "the note is rubbish"])
def test_what_was_seen_is_looked_at_again_once_there_is_a_reason(folder: Path, since: str) -> None:
    with Journal.open(folder) as journal:
        cut_short(journal, after=4)
        note = folder / "derived" / "checked"
        begun, first, *rest = note.read_text().splitlines()
        (photo,) = (folder / "photos").rglob(first.split()[0])
        if since == "removed":
            photo.unlink()
        elif since == "changed":
            _flip_one_bit(photo)
        else:
            damaged_unseen(photo)
            early = float(begun) - 86_401 if since == "a day later" else "\x00rubbish"
            note.write_text("\n".join([str(early), first, *rest]))
        assert [problem.photo for problem in journal.check()] == [photo.stem]


def test_the_check_of_a_reader_writes_nothing(folder: Path) -> None:
    with Journal.open(folder) as journal:
        cut_short(journal.of("Eve", reads_only=True), after=4)
        assert not (folder / "derived").exists()
