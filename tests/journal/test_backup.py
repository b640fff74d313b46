"""A backup is one verified file; what does not verify is not restored."""

from __future__ import annotations

import hashlib
import io
import json
import random
import shutil
import sqlite3
import struct
import zipfile
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from curejournal.base.errors import CureJournalError
from curejournal.journal.backup import last_backup, restore
from curejournal.journal.database import DATABASE
from curejournal.journal.errors import BackupRefused, FolderInUse
from curejournal.journal.store import Journal
from tests.journal.under_fire import filled

NOW = datetime(2026, 5, 1, 12, tzinfo=UTC)


def clock() -> datetime:
    return NOW


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A journal and its backup, of which each test has a copy."""
    place = tmp_path_factory.mktemp("first")
    filled(place, 1)
    with Journal.open(place / "journal", now=clock) as journal:
        journal.backup(place / "backup.zip")
    return place


@pytest.fixture
def folder(first: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(first / "journal", tmp_path / "journal"))


@pytest.fixture
def backup(first: Path, folder: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(first / "backup.zip", tmp_path))


def contents(folder: Path) -> tuple:
    with Journal.open(folder, create=False) as journal:
        photos = journal.photos_of("B-1")
        return journal.all_batches(), journal.history("B-1"), photos, [journal.photo_bytes(p.sha256) for p in photos]


def test_a_restored_journal_is_the_one_that_was_backed_up(folder: Path, backup: Path, tmp_path: Path) -> None:
    restored = restore(backup, tmp_path / "again", clock)
    assert (restored.path, restored.photos, restored.left_out) == (tmp_path / "again", 6, ())
    assert contents(tmp_path / "again") == contents(folder)
    with Journal.open(tmp_path / "again") as journal:
        assert journal.check() == ()


def test_a_backup_may_go_into_a_folder_under_the_name_of_its_time(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "backups").mkdir()
    with Journal.open(folder, now=clock) as journal:
        assert journal.backup(tmp_path / "backups").path.name == "curejournal-20260501T120000Z.zip"
        with pytest.raises(BackupRefused, match="exists already"):
            journal.backup(tmp_path / "backups")


def test_a_backup_tells_each_photo_written_and_read_back(folder: Path, tmp_path: Path) -> None:
    told: list[tuple[int, int]] = []
    with Journal.open(folder) as journal:
        photos = journal.backup(tmp_path / "b.zip", lambda done, total: told.append((done, total))).photos
    assert told == [(done, 2 * photos) for done in range(1, 2 * photos + 1)] and photos == 6


def test_the_time_of_the_latest_backup_is_known_by_its_name(folder: Path, tmp_path: Path) -> None:
    assert last_backup(tmp_path / "nowhere") is None
    (tmp_path / "curejournal-notes.zip").write_bytes(b"")
    assert last_backup(tmp_path) is None
    (tmp_path / "curejournal-20250101T000000Z.zip").write_bytes(b"")
    with Journal.open(folder, now=clock) as journal:
        journal.backup(tmp_path)
    assert last_backup(tmp_path) == NOW


def test_a_backup_and_a_restore_on_any_database_give_the_same_journal(journal: Journal, tmp_path: Path) -> None:
    from tests.journal.test_growth import AT, Event, PhotoFacts

    photo = journal.keep_photo(b"a picture", PhotoFacts(".jpg", 4, 3, AT, "exif", "a.jpg"))
    journal.start_batch("Мыло-1", "Oat", at=AT, by="Ana", records=[Event("poured")])
    journal.add("Мыло-1", Event("cut", bars=12), at=AT, by="Ana", photo=photo.sha256)
    journal.set_setting("days", {"cure": 28})
    journal.keep_card("window", "size = 1")
    restore(journal.backup(tmp_path / "b.zip").path, tmp_path / "again", clock)
    with Journal.open(tmp_path / "again", create=False) as again:
        assert again.history("Мыло-1") == journal.history("Мыло-1")
        assert (again.cards(), again.setting("days")) == (journal.cards(), journal.setting("days"))
        assert again.photo_bytes(photo.sha256) == b"a picture"
        assert again.check() == ()


def test_a_backup_taken_while_others_write_is_of_one_moment(folder: Path, tmp_path: Path) -> None:
    import threading

    from curejournal.batch.records import Weighing

    stop = threading.Event()
    with Journal.open(folder, now=clock) as journal:

        def write() -> None:
            while not stop.is_set():
                journal.add("B-1", Weighing("bar 1", 1.0), at=NOW, by="Ana")

        writer = threading.Thread(target=write)
        writer.start()
        for k in range(3):
            restore(journal.backup(tmp_path / f"{k}.zip").path, tmp_path / f"again-{k}", clock)
        stop.set()
        writer.join()
        history = journal.history("B-1")
    for k in range(3):
        part = contents(tmp_path / f"again-{k}")[1]
        assert history[: len(part)] == part


def test_a_photo_damaged_already_is_left_out_and_said_so(folder: Path, tmp_path: Path) -> None:
    first, second, *_ = sorted((folder / "photos").rglob("*.jpg"))
    first.unlink()
    second.write_bytes(b"x")
    with Journal.open(folder) as journal:
        made = journal.backup(tmp_path / "b.zip")
    assert made.left_out == (first.stem, second.stem)
    restored = restore(made.path, tmp_path / "again", clock)
    assert (restored.photos, restored.left_out) == (4, made.left_out)


def test_a_restore_never_replaces_anything(backup: Path, tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "diary.txt").write_text("mine")
    (tmp_path / "file").write_text("mine")
    for target in ("full", "file", "journal"):
        with pytest.raises(FolderInUse):
            restore(backup, tmp_path / target, clock)
    (tmp_path / "empty").mkdir()
    assert restore(backup, tmp_path / "empty", clock).photos == 6
    with pytest.raises(BackupRefused, match="no file"):
        restore(tmp_path / "typo.zip", tmp_path / "new", clock)


def _members(backup: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(backup) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def _written(members: dict[str, bytes], *, manifest: bool = True, **how: int) -> bytes:
    """An archive with an honest manifest of whatever it holds."""
    out = io.BytesIO()
    if manifest:
        kept = json.loads(members["manifest.json"])
        kept["files"] = {
            name: {"sha256": hashlib.sha256(data).hexdigest(), "size": len(data)}
            for name, data in members.items()
            if name != "manifest.json"
        }
        members = members | {"manifest.json": json.dumps(kept).encode()}
    with zipfile.ZipFile(out, "w", **how) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return out.getvalue()


def _with(name: str) -> Callable[[Path], bytes]:
    return lambda backup: _written(_members(backup) | {name: b"hostile"})


def _without(part: str, **how: bool) -> Callable[[Path], bytes]:
    def make(backup: Path) -> bytes:
        members = _members(backup)
        members.pop(next(name for name in members if part in name))
        return _written(members, **how)

    return make


def _changed(part: str, **how: bool) -> Callable[[Path], bytes]:
    def make(backup: Path) -> bytes:
        members = _members(backup)
        name = next(name for name in members if part in name)
        data = bytearray(members[name])
        data[len(data) // 2] ^= 1
        return _written(members | {name: bytes(data)}, **how)

    return make


def _database(*statements: str) -> Callable[[Path], bytes]:
    def make(backup: Path) -> bytes:
        members = _members(backup)
        with closing(sqlite3.connect(":memory:")) as database:
            database.deserialize(members[DATABASE])
            for statement in statements:
                database.execute(statement)
            database.commit()
            return _written(members | {DATABASE: database.serialize()})

    return make


def _linked(backup: Path) -> bytes:
    members = _members(backup)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in members.items():
            info = zipfile.ZipInfo(name)
            if name == DATABASE:
                info.create_system, info.external_attr = 3, 0o120777 << 16
            archive.writestr(info, data)
    return out.getvalue()


def _twice(backup: Path) -> bytes:
    out = io.BytesIO(backup.read_bytes())
    with zipfile.ZipFile(out, "a") as archive, pytest.warns(UserWarning, match="Duplicate"):
        archive.writestr(DATABASE, b"another")
    return out.getvalue()


def _overlapping(backup: Path) -> bytes:
    """Every photo's directory entry points at the same stored bytes, many times over."""
    data = bytearray(_written({f"photos/ab/ab{k:062x}.jpg": b"" for k in range(200)} | _members(backup)))
    at = data.index(b"PK\x01\x02")
    while (at := data.find(b"PK\x01\x02", at)) >= 0:
        struct.pack_into("<LL", data, at + 20, 40_000, 40_000)
        at += 4
    return bytes(data)


def _huge_claim(backup: Path) -> bytes:
    data = bytearray(backup.read_bytes())
    at = data.index(b"PK\x01\x02")
    struct.pack_into("<LL", data, at + 20, 0xFFFFFFF0, 0xFFFFFFF0)
    return bytes(data)


def _before_its_beginning(backup: Path) -> bytes:
    data = bytearray(backup.read_bytes())
    (place,) = struct.unpack_from("<L", data, data.rindex(b"PK\x05\x06") + 16)
    struct.pack_into("<L", data, data.rindex(b"PK\x05\x06") + 16, place + 200)
    return bytes(data)


def _encrypted(backup: Path) -> bytes:
    data = bytearray(backup.read_bytes())
    at = data.index(b"PK\x01\x02")
    data[at + 8] |= 1
    return bytes(data)


def _from_the_future(backup: Path) -> bytes:
    members = _members(backup)
    changed = json.loads(members["manifest.json"]) | {"format": "curejournal backup 2"}
    return _written(members | {"manifest.json": json.dumps(changed).encode()}, manifest=False)


HOSTILE: dict[str, Callable[[Path], bytes]] = {
    "not an archive": lambda backup: b"not a zip at all",
    "empty": lambda backup: b"",
    "cut off": lambda backup: backup.read_bytes()[:-100],
    "cut in the middle": lambda backup: backup.read_bytes()[:100_000],
    "no manifest": _without("manifest.json", manifest=False),
    "no database": _without(DATABASE),
    "a photo that the manifest names is missing": _without(".jpg", manifest=False),
    "a photo that the database names is missing": _without(".jpg"),
    "a changed photo": _changed(".jpg", manifest=False),
    "a changed photo with a manifest to suit": _changed(".jpg"),
    "a changed database": _changed(DATABASE, manifest=False),
    "a changed manifest": lambda backup: _written(_members(backup) | {"manifest.json": b"{}"}, manifest=False),
    "a name that climbs out": _with("../../evil.txt"),
    "a name that climbs out of the photos": _with("photos/ab/../../../evil.jpg"),
    "an absolute name": _with("/tmp/evil.txt"),
    "a Windows name": _with("C:\\evil.txt"),
    "a name with backslashes": _with("photos\\..\\..\\evil.jpg"),
    "a name that only begins well": _with("journal.sqlite/x"),
    "a log beside the database": _with("journal.sqlite-wal"),
    "a photo that no row knows": _with(f"photos/00/{'0' * 64}.jpg"),
    "a folder": _with("photos/"),
    "a link": _linked,
    "the same name twice": _twice,
    "packed": lambda backup: _written(_members(backup), compression=zipfile.ZIP_DEFLATED),
    "a bomb": lambda backup: _written(
        {"journal.sqlite": bytes(10**7)}, manifest=False, compression=zipfile.ZIP_DEFLATED
    ),
    "members that overlap": _overlapping,
    "a claim of 4 GB": _huge_claim,
    "a member that begins before the file": _before_its_beginning,
    "encrypted": _encrypted,
    "written by a newer version": _from_the_future,
    "a database that acts by itself": _database(
        "CREATE TRIGGER act AFTER INSERT ON batch BEGIN INSERT INTO setting VALUES (NULL, 'a', '1', ''); END"
    ),
    "a database without its guards": _database("DROP TRIGGER entry_keeps_on_update"),
    "a database with a view": _database("CREATE VIEW odd AS SELECT 1"),
    "a database with a row that nobody entered": _database(
        "INSERT INTO setting VALUES (NULL, 'a', '1', '2026-01-01 00:00:00.000000')"
    ),
    "a database of a newer version": _database("UPDATE alembic_version SET version_num = '9999'"),
    "a database of something else": _database("DROP TABLE alembic_version"),
    "a database with an unreadable record": _database(
        "INSERT INTO entry (id, batch_id, kind, at_utc, at_offset_minutes, author, recorded_at_utc, record)"
        " VALUES (999, 1, 'weighing', '2026-01-01', 0, 'Eve', '2026-01-01', '{}')"
    ),
    "a database with a lost reference": _database(
        "INSERT INTO entry (id, batch_id, kind, at_utc, at_offset_minutes, author, recorded_at_utc, record)"
        " SELECT 999, 9, kind, at_utc, 0, 'Eve', at_utc, record FROM entry WHERE id = 9"
    ),
}


@pytest.mark.parametrize("make", HOSTILE.values(), ids=HOSTILE)
def test_a_hostile_or_damaged_backup_is_refused_and_leaves_nothing(
    backup: Path, tmp_path: Path, make: Callable[[Path], bytes]
) -> None:
    hostile = tmp_path / "hostile.zip"
    hostile.write_bytes(make(backup))
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(BackupRefused) as caught:
        restore(hostile, tmp_path / "target", clock)
    assert caught.value.what
    assert sorted(tmp_path.rglob("*")) == before


def test_an_archive_rewritten_honestly_is_still_a_backup(backup: Path, tmp_path: Path) -> None:
    # The builder of the hostile ones is itself sound: they are refused for what they hold.
    (tmp_path / "same.zip").write_bytes(_written(_members(backup)))
    assert restore(tmp_path / "same.zip", tmp_path / "one", clock).photos == 6


@pytest.mark.parametrize("seed", range(40))
def test_a_backup_with_random_damage_is_restored_whole_or_refused(backup: Path, tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    data = bytearray(backup.read_bytes())
    # Where the directory is, damage has the most to say.
    low = 0 if seed % 2 else data.index(b"PK\x01\x02")
    for _ in range(chance.randint(1, 8)):
        data[chance.randrange(low, len(data))] = chance.randrange(256)
    (tmp_path / "damaged.zip").write_bytes(data)
    try:
        restore(tmp_path / "damaged.zip", tmp_path / "target", clock)
    except CureJournalError:
        assert not (tmp_path / "target").exists()
    else:
        assert contents(tmp_path / "target") == contents(tmp_path / "journal")
