"""What is sound in a damaged journal is written into a new one, and what is not is named."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from curejournal.batch.records import Weighing
from curejournal.journal.database import DATABASE
from curejournal.journal.errors import FolderInUse, JournalDamaged
from curejournal.journal.salvage import salvage
from curejournal.journal.store import Journal
from tests.journal import under_fire
from tests.journal.test_seals import behind_its_back, filled
from tests.journal.test_upgrade_to_seals import DATA

AT = datetime(2026, 5, 1, 12, tzinfo=UTC)


def clock() -> datetime:
    return AT


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    filled(tmp_path / "journal")
    return tmp_path / "journal"


def test_a_whole_journal_is_salvaged_whole(folder: Path, tmp_path: Path) -> None:
    made = salvage(folder, tmp_path / "new", clock)
    assert (made.lost, made.photos, made.kept["entry"]) == ((), 1, 3)
    with Journal.open(folder) as old, Journal.open(tmp_path / "new") as new:
        assert new.all_batches() == old.all_batches()
        assert (new.settings(), new.cards(), new.contacts()) == (old.settings(), old.cards(), old.contacts())
        assert new.check() == ()
    with pytest.raises(FolderInUse):
        salvage(folder, tmp_path / "new", clock)


def test_a_changed_entry_is_left_out_and_named(folder: Path, tmp_path: Path) -> None:
    behind_its_back(folder, "UPDATE entry SET author = CAST(x'ff' AS TEXT) WHERE id = 2")
    made = salvage(folder, tmp_path / "new", clock)
    assert [problem.where for problem in made.lost] == ["entry 2"]
    with Journal.open(tmp_path / "new") as new:
        assert [entry.id for entry in new.history("B-1")] == [1, 3]
        assert new.check() == ()
        new.add("B-1", Weighing("bar 1", 118.0), at=AT, by="Ana")


def test_entries_of_a_lost_batch_and_photo_are_kept_under_placeholders(folder: Path, tmp_path: Path) -> None:
    behind_its_back(folder, "UPDATE batch SET name = 'Eve'", "UPDATE photo SET width = 5")
    made = salvage(folder, tmp_path / "new", clock)
    assert {problem.where.split()[0] for problem in made.lost} >= {"batch", "photo", "entry"}
    with Journal.open(tmp_path / "new") as new:
        assert len(new.history("salvaged-1")) == 3
        assert [problem.what for problem in new.check() if problem.serious] == []


def test_pages_that_are_gone_cost_only_what_was_on_them(tmp_path: Path) -> None:
    under_fire.filled(tmp_path, 1, entries=400)
    folder = tmp_path / "journal"
    with Journal.open(folder) as journal:
        before = {entry.id: entry for entry in journal.history("B-1")}
    with closing(sqlite3.connect(folder / DATABASE)) as database:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        (size,) = database.execute("PRAGMA page_size").fetchone()
        query = "SELECT pageno FROM dbstat WHERE name = 'entry' AND pagetype = 'leaf' ORDER BY pageno"
        try:
            pages = [page for (page,) in database.execute(query)]
        except sqlite3.OperationalError:
            pytest.skip("this SQLite has no dbstat")
    data = bytearray((folder / DATABASE).read_bytes())
    hit = pages[len(pages) // 2]
    data[(hit - 1) * size : hit * size] = b"\xff" * size
    (folder / DATABASE).write_bytes(data)
    made = salvage(folder, tmp_path / "new", clock)
    with Journal.open(tmp_path / "new") as new:
        kept = {entry.id: entry for entry in new.history("B-1")}
        assert new.check() == ()
    assert kept.items() <= before.items()
    assert 350 < len(kept) < 400
    named = {problem.where for problem in made.lost}
    assert {f"entry {number}" for number in before.keys() - kept.keys()} <= named


def test_a_damaged_journal_of_the_first_version_is_salvaged_and_upgraded(tmp_path: Path) -> None:
    (tmp_path / "old").mkdir()
    with closing(sqlite3.connect(tmp_path / "old" / DATABASE)) as old:
        script = (DATA / "before-0002-sqlite.sql").read_text("utf-8")
        old.executescript("\n".join(line for line in script.splitlines() if not line.startswith("CREATE TRIGGER")))
        old.execute("UPDATE card SET toml = CAST(x'80' AS TEXT) WHERE id = 1")
        old.commit()
    with pytest.raises(JournalDamaged):
        Journal.open(tmp_path / "old")
    made = salvage(tmp_path / "old", tmp_path / "new", clock)
    assert "card 1" in {problem.where for problem in made.lost}
    with Journal.open(tmp_path / "new") as new:
        assert len(new.history("Мыло-1")) == 19
        assert {card.name for card in new.cards()} == {"window-A1", "mine"}


@pytest.mark.parametrize("content", [b"", b"not a database at all" * 400])
def test_what_is_no_database_at_all_is_said_so(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "old").mkdir()
    (tmp_path / "old" / DATABASE).write_bytes(content)
    with pytest.raises(JournalDamaged, match="Nothing can be read from this database"):
        salvage(tmp_path / "old", tmp_path / "new", clock)
    assert not (tmp_path / "new").exists()
    shutil.rmtree(tmp_path / "old")
