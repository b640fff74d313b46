"""A journal as one file, verified while it is written and before anything is put back.

The file is a ZIP archive in which every member is stored as it is, so its size
bounds what can come out of it: `manifest.json` with the SHA-256 and size of
each member, `journal.sqlite`, and the originals under `photos/`.
"""

from __future__ import annotations

import hashlib
import os
import re
import secrets
import shutil
import zipfile
from collections.abc import Callable, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from typing import BinaryIO

from pydantic import TypeAdapter, ValidationError
from sqlalchemy.exc import DBAPIError

from curejournal.base.messages import msg
from curejournal.journal.backup_piece import take_up
from curejournal.journal.blueprint import strangers
from curejournal.journal.check import Progress, check, check_rows, halves
from curejournal.journal.copying import read_only
from curejournal.journal.database import DATABASE, engine_for, known_revisions, revision_of, sqlite_url
from curejournal.journal.errors import BackupRefused, JournalDamaged, NotAJournal, UpgradeFailed, in_plain_words
from curejournal.journal.files import PART, clear_pieces, in_use, make_folder, new_folder, written_on, written_whole
from curejournal.journal.opening import open_database
from curejournal.journal.photos import Shelf
from curejournal.journal.seals import head as head_of
from curejournal.journal.stored import damaged_rows

_MANIFEST = "manifest.json"
_MEMBER = re.compile(r"journal\.sqlite|photos/([0-9a-f]{2})/\1[0-9a-f]{62}\.[a-z0-9]{1,7}")
_NAME = "curejournal-%Y%m%dT%H%M%SZ.zip"
# Bytes read at once.
_CHUNK = 1 << 20


@dataclass(frozen=True)
class Member:
    """A file of a backup: its SHA-256 and its size in bytes."""

    sha256: str
    size: int


@dataclass(frozen=True)
class Manifest:
    """What a backup holds. `left_out` are the hashes of photos that were missing or damaged already.

    `head` is the head of the journal's chain of rows; backups of early versions have none.
    """

    format: str
    made_at: datetime
    files: dict[str, Member]
    left_out: tuple[str, ...] = ()
    head: str = ""


_FORMAT = msg("curejournal backup 1")
_MANIFEST_JSON = TypeAdapter(Manifest)


@dataclass(frozen=True)
class Backup:
    """A backup on disk, or a journal restored from one: where it is, what it holds, which photos it lacks.

    `head` stands for every row in it: printed, it tells later whether one was changed or taken out.
    """

    path: Path
    photos: int
    left_out: tuple[str, ...]
    head: str


def write_backup(
    take: Callable[[Path], None], shelf: Shelf, to: Path, now: datetime, progress: Progress | None = None
) -> Backup:
    """Write a journal into one file, which takes its name only after all of it was read back and verified.

    One that was cut short is gone on with: each photo that it has already is verified, and not written again.

    Parameters
    ----------
    take : callable
        Writes the database, as of one moment, into the SQLite file given.
    shelf : Shelf
        The folder of its photos.
    to : Path
        The file, or a folder in which to make one named by the time.
    now : datetime
        The time.
    progress : callable, optional
        Told how many times a photo was written or read back, and how many times in all.

    Raises
    ------
    BackupRefused
        If the file exists already, or does not verify.
    JournalDamaged
        If a row of the journal is not as it was kept: what is damaged is never called a backup.
    """
    if to.is_dir():
        to = to / now.astimezone(UTC).strftime(_NAME)
    if to.exists():
        raise BackupRefused(
            msg("The file {to} exists already.", to=to), msg("Choose another name: backups are never overwritten.")
        )
    make_folder(to.parent)
    name = "curejournal-" if to.name.startswith("curejournal-") else to.name
    database = to.with_name(f"{to.name}.{secrets.token_hex(4)}.sqlite{PART}")
    try:
        with written_on(to, name) as file:
            clear_pieces(to.parent, name)
            take(database)
            photos, steps = _photos_in(database), count(1)

            def tell() -> None:
                if progress:
                    progress(next(steps), 2 * len(photos))

            with in_use(database):
                head = _verified(database)
                manifest = _fill(file, database, photos, shelf, Manifest(_FORMAT, now, {}, (), head), tell)
            file.flush()
            with zipfile.ZipFile(file) as archive:
                _verify(archive, _read_manifest(archive), tell=tell)
    finally:
        database.unlink(missing_ok=True)
    return Backup(to, len(manifest.files) - 1, manifest.left_out, head)


def _verified(database: Path) -> str:
    """The head of a database whose every row is as it was kept."""
    engine = engine_for(sqlite_url(database), wal=False)
    try:
        with engine.connect() as connection:
            if problems := check_rows(connection):
                raise damaged_rows(
                    [msg("{where}: {what}", where=problem.where, what=problem.what) for problem in problems]
                )
            return head_of(connection)
    finally:
        engine.dispose()


def last_backup(folder: Path) -> datetime | None:
    """When the latest of the backups that were named by their time was made; None if there is none in the folder."""
    times = []
    for path in folder.glob("curejournal-*.zip"):
        with suppress(ValueError):
            times.append(datetime.strptime(path.name, _NAME).replace(tzinfo=UTC))
    return max(times, default=None)


def _fill(
    file: BinaryIO,
    database: Path,
    photos: Sequence[tuple[str, str]],
    shelf: Shelf,
    about: Manifest,
    tell: Callable[[], None],
) -> Manifest:
    files: dict[str, Member] = {}
    left_out: list[str] = []
    names = {(sha256, suffix): f"photos/{sha256[:2]}/{Shelf.named(sha256, suffix)}" for sha256, suffix in photos}
    left = take_up(file, frozenset(names.values()))
    with zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as archive:
        for member in left:
            archive.filelist.append(member)
            archive.NameToInfo[member.filename] = member
            files[member.filename] = Member(Path(member.filename).stem, member.file_size)
        for (sha256, suffix), name in names.items():
            tell()
            if name in files:
                continue
            path = shelf.path(sha256, suffix)
            try:
                # Read twice rather than kept in memory: only a sound photo may enter the archive.
                with path.open("rb") as source:
                    sound = hashlib.file_digest(source, "sha256").hexdigest() == sha256
            except OSError:
                sound = False
            if not sound:
                left_out.append(sha256)
                continue
            with path.open("rb") as source:
                files[name] = _store(archive, name, source)
        # Last, since the next try has another one.
        with database.open("rb") as source:
            files[DATABASE] = _store(archive, DATABASE, source)
        manifest = replace(about, files=files, left_out=tuple(left_out))
        archive.writestr(zipfile.ZipInfo(_MANIFEST), _MANIFEST_JSON.dump_json(manifest, indent=1))
    return manifest


def _photos_in(database: Path) -> list[tuple[str, str]]:
    with closing(read_only(database)) as connection:
        return connection.execute("SELECT sha256, suffix FROM photo ORDER BY sha256").fetchall()


def _store(archive: zipfile.ZipFile, name: str, source: BinaryIO) -> Member:
    digest, size = hashlib.sha256(), 0
    with archive.open(zipfile.ZipInfo(name), "w", force_zip64=True) as target:
        while chunk := source.read(_CHUNK):
            digest.update(chunk)
            size += len(chunk)
            target.write(chunk)
    return Member(digest.hexdigest(), size)


def _hostile(why: str) -> BackupRefused:
    return BackupRefused(
        msg("This file is not a backup that can be trusted: {why}.", why=why),
        msg("Use another backup."),
        msg("Nothing was restored and no journal was changed."),
    )


def _refuse_odd(member: zipfile.ZipInfo) -> None:
    """Refuse a member that no backup of ours has: oddly named, a link, encrypted or packed."""
    if member.filename != _MANIFEST and not _MEMBER.fullmatch(member.filename):
        raise _hostile(msg("it holds a file named {filename}", filename=f"{member.filename[:80]!r}"))
    # The upper half of the attributes is the mode that Unix gave the file; 0o12 is a link.
    if member.external_attr >> 28 == 0o12:
        raise _hostile(msg("it holds a link"))
    if member.header_offset < 0:
        raise _hostile(msg("it is damaged or no backup at all ({error})", error=msg("a place in it is negative")))
    if member.flag_bits & 1:
        raise _hostile(msg("it is encrypted"))
    if member.compress_type != zipfile.ZIP_STORED or member.file_size != member.compress_size:
        raise _hostile(msg("it is packed in a way that backups are not"))


def _read_manifest(archive: zipfile.ZipFile) -> Manifest:
    """The manifest of an archive whose members are exactly those it names, each plain, stored and no larger."""
    members = archive.infolist()
    names = [member.filename for member in members]
    if len(set(names)) < len(names):
        raise _hostile(msg("a name occurs twice"))
    for member in members:
        _refuse_odd(member)
    assert archive.fp is not None
    if sum(member.file_size for member in members) > archive.fp.seek(0, os.SEEK_END):
        raise _hostile(msg("it claims to hold more than its own size"))
    try:
        manifest = _MANIFEST_JSON.validate_json(archive.read(_MANIFEST))
    except KeyError:
        raise _hostile(msg("it has no manifest")) from None
    except ValidationError:
        raise _hostile(msg("its manifest cannot be read")) from None
    if manifest.format != _FORMAT:
        raise BackupRefused(
            msg("This backup was written by another version of the program."),
            msg("Install the newer version to restore it."),
        )
    if {*manifest.files, _MANIFEST} != set(names) or DATABASE not in names:
        raise _hostile(msg("its files are not those of its manifest"))
    return manifest


def _verify(
    archive: zipfile.ZipFile, manifest: Manifest, into: Path | None = None, tell: Callable[[], None] | None = None
) -> None:
    """Read every member and compare it with the manifest; write each below a folder, if one is given."""
    for name, member in manifest.files.items():
        if into is None:
            found = _read(archive, name, None)
        elif name != DATABASE and Shelf(into).take_up(Path(name).stem, Path(name).suffix):
            found = member
        else:
            make_folder((into / name).parent)
            with written_whole(into / name) as file:
                found = _read(archive, name, file)
        if found != member or (name != DATABASE and Path(name).stem != found.sha256):
            raise _hostile(msg("{name} is not what its manifest says", name=name))
        if tell and name != DATABASE:
            tell()


def _read(archive: zipfile.ZipFile, name: str, target: BinaryIO | None) -> Member:
    digest, size = hashlib.sha256(), 0
    with archive.open(name) as source:
        while chunk := source.read(_CHUNK):
            digest.update(chunk)
            size += len(chunk)
            if target:
                target.write(chunk)
    return Member(digest.hexdigest(), size)


def restore(source: Path, to: Path, now: Callable[[], datetime], progress: Progress | None = None) -> Backup:
    """Make a journal's folder from a backup; it takes its name only after everything was verified.

    Parameters
    ----------
    source : Path
        The backup.
    to : Path
        The folder; it must not exist, or be empty.
    now : callable
        The clock, for the copy that is made if an old journal has to be upgraded.
    progress : callable, optional
        Told how many times a photo was written or read back, and how many times in all.

    Raises
    ------
    BackupRefused, FolderInUse
        If the backup does not verify, or the folder holds something.
    """
    if not source.is_file():
        raise BackupRefused(msg("There is no file {source}.", source=source), msg("Check the name of the backup."))
    with in_plain_words(to):
        try:
            with zipfile.ZipFile(source) as archive:
                manifest = _read_manifest(archive)
                with new_folder(to) as folder:
                    if sum(member.size for member in manifest.files.values()) > shutil.disk_usage(folder).free:
                        raise BackupRefused(
                            msg("There is not enough room for this backup at {to}.", to=to), msg("Choose another disk.")
                        )
                    writing, checking = halves(progress)
                    steps, photos = count(1), len(manifest.files) - 1
                    _verify(archive, manifest, folder, writing and (lambda: writing(next(steps), photos)))
                    head = _verify_journal(folder, manifest, now, checking)
        except (zipfile.BadZipFile, zipfile.LargeZipFile, EOFError, NotImplementedError, ValueError) as error:
            raise _hostile(msg("it is damaged or no backup at all ({error})", error=error)) from error
    return Backup(to, len(manifest.files) - 1, manifest.left_out, head)


def _verify_journal(folder: Path, manifest: Manifest, now: Callable[[], datetime], progress: Progress | None) -> str:
    """Refuse a database that is damaged, that has anything in it that ours have not, or whose photos are not here.

    Its head is returned.
    """
    try:
        _verify_definition(folder)
        engine = open_database(folder, None, create=False, now=now)
        try:
            problems = check(engine, Shelf(folder), progress)
            with engine.connect() as connection:
                head = head_of(connection)
        finally:
            engine.dispose()
    except DBAPIError as error:
        raise _hostile(msg("its database cannot be read ({orig})", orig=error.orig)) from error
    except (NotAJournal, JournalDamaged, UpgradeFailed) as error:
        raise _hostile(error.what) from error
    for problem in problems:
        if problem.photo not in manifest.left_out:
            raise _hostile(msg("{where}: {what}", where=problem.where, what=problem.what))
    if manifest.head not in ("", head):
        raise _hostile(msg("its rows are not those that were backed up"))
    return head


def _verify_definition(folder: Path) -> None:
    engine = engine_for(sqlite_url(folder / DATABASE))
    try:
        with engine.connect() as connection:
            revision = revision_of(connection, DATABASE)
            if revision not in known_revisions():
                raise _hostile(msg("its database has a version that is not known here"))
            if odd := strangers(connection, str(revision)):
                raise _hostile(
                    msg(
                        "its database has something that a journal does not have, or lacks something ({odd})",
                        odd=", ".join(odd),
                    )
                )
    finally:
        engine.dispose()
