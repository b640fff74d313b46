"""The journal kept before seals, with a record of every kind and a setting of every name, opens as it was."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from sqlalchemy import inspect, text

from curejournal import workflow
from curejournal.batch.records import AlkaliTest, Decision, Portion, Weighing
from curejournal.journal import seals
from curejournal.journal.database import DATABASE, engine_for, postgresql_url, sqlite_url
from curejournal.journal.errors import JournalDamaged, UpgradeFailed
from curejournal.journal.record_json import kind_of
from curejournal.journal.store import Journal
from curejournal.journal.stored import stored_rows
from curejournal.journal.tables import metadata
from curejournal.judging.limits import Limits
from curejournal.workflow.photos import strips
from curejournal.workflow.photos.answers import Answers, answers_to
from curejournal.workflow.photos.tags import journal_id

DATA = Path(__file__).parent.parent / "data"
AT = datetime(2026, 3, 1, 10, 30, tzinfo=timezone(timedelta(hours=2)))


@pytest.fixture
def folder(tmp_path: Path, database_url: str | None) -> Path:
    """The journal as version 0001 of the tables wrote it, on SQLite or a server."""
    if database_url is None:
        with closing(sqlite3.connect(tmp_path / DATABASE)) as old:
            old.executescript((DATA / "before-0002-sqlite.sql").read_text("utf-8"))
    else:
        import psycopg

        with psycopg.connect(database_url, autocommit=True) as server:
            server.execute((DATA / "before-0002-postgresql.sql").read_text("utf-8"))
    return tmp_path


def rows(folder: Path, url: str | None) -> dict[str, list[dict]]:
    engine = engine_for(sqlite_url(folder / DATABASE) if url is None else postgresql_url(url))
    with engine.connect() as connection:
        there = set(inspect(connection).get_table_names())
        found = {
            name: [row for _, row in stored_rows(connection, metadata.tables[name])]
            for name in ("batch", "photo", "entry", "card", "setting")
            if name in there
        }
    engine.dispose()
    return found


def test_every_row_is_there_as_it_was_and_sealed(folder: Path, database_url: str | None) -> None:
    before = rows(folder, database_url)
    with Journal.open(folder, url=database_url, create=False) as journal:
        assert {problem.what for problem in journal.check()} == {"the photo is missing"}
        first = journal.head()
    after = rows(folder, database_url)
    for name, kept in before.items():
        for was, now in zip(kept, after[name], strict=False):
            assert {column: now[column] for column in was} == was
    assert len(after["entry"]) == len(before["entry"]) + 7
    with Journal.open(folder, url=database_url, create=False) as journal:
        assert journal.head() == first


def test_it_has_a_record_of_every_kind_and_reads_as_before(folder: Path, database_url: str | None) -> None:
    with Journal.open(folder, url=database_url, create=False) as journal:
        entries = [*journal.history("Мыло-1"), *journal.history("B-2")]
        kinds = "recipe,portion,event,colour,photo,weighing,alkali test,surface,reading"
        kinds += ",bars out,decision,renamed,withdrawn"
        assert {kind_of(entry.record) for entry in entries} == set(kinds.split(","))
        batch = journal.batch("Мыло-1")
        assert batch.name == "Oat and honey"
        assert batch.of(Weighing)[0].record == Weighing("bar 1", 101.5, 0.5, 2.0, 3, True)
        assert batch.portions[0] == Portion(
            "base", 0, (82.0, 1.5, 14.0), "cured earlier batch", 2.5, False, "B-0, base", "window-A1", 0.4
        )
        assert [test.record.method for test in batch.of(AlkaliTest)] == ["titration", "strip"]
        assert [(act.record.act, act.by) for act in batch.of(Decision)] == [("release", "Ana")]
        assert [touched.code for touched in journal.underway()] == ["B-2"]
        # Its release was signed under an earlier edition of the rules.
        assert [touched.code for touched in journal.released_otherwise()] == ["Мыло-1"]
        # As they were kept: the highest pH that is usual was 10.5 then.
        assert workflow.current_limits(journal) == Limits(min_age_days=40, ph_usual_to=10.5)
        assert workflow.place(journal) == "The invented shed"
        assert str(workflow.time_zone(journal)) == "Europe/Lisbon"


def test_what_were_settings_are_entries_of_the_workshop(folder: Path, database_url: str | None) -> None:
    with Journal.open(folder, url=database_url, create=False) as journal:
        assert journal_id(journal) == "ABCDEF"
        keys = strips.strip_keys(journal)
        assert {name: key.lot for name, key in keys.items()} == {"blue": "L-3", "green": "L-2"}
        assert keys["blue"].steps[0].lab == (60.0, 10.0, 40.0)
        second, third = (photo.sha256 for photo in journal.photos_named("") if photo.facts.suffix != ".jpg")
        if journal.photo(second).facts.suffix == ".png":
            second, third = third, second
        at, areas = datetime(2026, 3, 3, 9, tzinfo=UTC), {"base": ((0.0, 0.0), (10.0, 0.0), (10.0, 10.0))}
        said = Answers("B-2", at, ("base",), areas, None, ("colour", "copy"), "", "Ben", 3)
        assert answers_to(journal, second) == said
        assert answers_to(journal, third) == Answers(aside="a finger", by="Ana")
        assert second in {photo.sha256 for photo in journal.unfiled_photos()}
        assert journal.setting("photo " + "0" * 64) == {"by": "Ana"}


@pytest.mark.parametrize("at_seal", [1, 25, 48])
def test_an_upgrade_that_breaks_half_way_leaves_it_as_it_was(
    folder: Path, database_url: str | None, monkeypatch: pytest.MonkeyPatch, at_seal: int
) -> None:
    before = rows(folder, database_url)
    hashed = iter(range(1000))

    def break_at(table: str, row: dict) -> str:
        if next(hashed) == at_seal:
            raise ZeroDivisionError("on purpose")
        return "0" * 64

    with monkeypatch.context() as patched:
        patched.setattr(seals, "row_hash", break_at)
        with pytest.raises(UpgradeFailed, match="on purpose"):
            Journal.open(folder, url=database_url, create=False)
    assert rows(folder, database_url) == before
    with Journal.open(folder, url=database_url, create=False) as journal:
        assert {problem.what for problem in journal.check()} == {"the photo is missing"}
        journal.add("B-2", Weighing("bar 1", 100.0), at=AT, by="Ana")


SPOILT = {
    "batch": "UPDATE batch SET name = CAST(x'ff41' AS TEXT) WHERE id = 1",
    "photo": "UPDATE photo SET original_name = CAST(x'c328' AS TEXT) WHERE suffix = '.jpg'",
    "card": "UPDATE card SET toml = CAST(x'80' AS TEXT) WHERE id = 1",
    "setting": "UPDATE setting SET value = CAST(x'22ff22' AS TEXT) WHERE id = 1",
    "setting that is no JSON": "UPDATE setting SET value = 'half' WHERE id = 1",
    "entry": "UPDATE entry SET author = CAST(x'ff' AS TEXT) WHERE id = 1",
    "entry of no record": "UPDATE entry SET record = '{}' WHERE id = 1",
    "time": "UPDATE batch SET started_at_utc = 'yesterday' WHERE id = 1",
    "offset": "UPDATE batch SET started_at_offset_minutes = 99999 WHERE id = 1",
    "hash": "UPDATE photo SET suffix = '/../' WHERE suffix = '.jpg'",
}


@pytest.mark.parametrize("statement", SPOILT.values(), ids=SPOILT)
def test_a_damaged_journal_is_not_sealed_as_if_it_were_sound(tmp_path: Path, statement: str) -> None:
    with closing(sqlite3.connect(tmp_path / DATABASE)) as old:
        script = (DATA / "before-0002-sqlite.sql").read_text("utf-8")
        old.executescript("\n".join(line for line in script.splitlines() if not line.startswith("CREATE TRIGGER")))
        old.execute(statement)
        old.commit()
        triggers = [line for line in script.splitlines() if line.startswith("CREATE TRIGGER")]
        old.executescript("\n".join(triggers))
    with pytest.raises(JournalDamaged, match="is damaged: "):
        Journal.open(tmp_path, create=False)
    with closing(sqlite3.connect(tmp_path / DATABASE)) as old:
        assert old.execute("SELECT version_num FROM alembic_version").fetchone() == ("0001",)


def test_the_head_is_the_same_on_both_databases(
    tmp_path: Path, folder: Path, database_url: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    with closing(sqlite3.connect(other / DATABASE)) as old:
        old.executescript((DATA / "before-0002-sqlite.sql").read_text("utf-8"))
    with (
        Journal.open(folder, url=database_url, create=False) as one,
        Journal.open(other, create=False, now=lambda: datetime.now(UTC)) as two,
    ):
        assert one.head() == two.head()
        with one._reading() as connection:
            assert connection.scalar(text("SELECT count(*) FROM seal")) > 40
