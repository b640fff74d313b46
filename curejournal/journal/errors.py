"""What can go wrong with a journal, in plain words, and the one place that translates it."""

from __future__ import annotations

import errno
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as PoolTimeout

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg


class JournalNotFound(CureJournalError):
    """There is no journal at this place."""


class NotAJournal(CureJournalError):
    """The file or database holds something else."""


class JournalDamaged(CureJournalError):
    """The database or a photo is not as it was written."""


class JournalNewer(CureJournalError):
    """The journal was written by a newer version of the program."""


class JournalNotWritable(CureJournalError):
    """The journal's folder or database refuses writing."""


class DiskFull(CureJournalError):
    """There is no room left to write."""


class JournalBusy(CureJournalError):
    """Another program held the journal for too long."""


class DatabaseUnreachable(CureJournalError):
    """The database server does not answer, or a driver for it is missing."""


class UpgradeFailed(CureJournalError):
    """A step of the upgrade broke; the journal is as it was."""


class NotInJournal(CureJournalError):
    """The batch, entry, photo, card or setting asked for is not there."""


class EntryRefused(CureJournalError):
    """What was to be entered cannot be kept as it stands."""


class OnlyToRead(CureJournalError):
    """Whoever is signed in may read this journal, not write in it."""


class SignedByOther(CureJournalError):
    """An entry in the name of somebody else than is signed in."""


class SignatureStays(CureJournalError):
    """A signed act was to be corrected, taken back, or brought back."""


class CodeInUse(CureJournalError):
    """A batch with this code exists already."""


class StaleEntry(CureJournalError):
    """The entry to be corrected was changed in the meantime."""


class RecordUnreadable(CureJournalError):
    """A kept record is of a kind or form that this version does not know."""


class BackupRefused(CureJournalError):
    """A backup could not be written or does not verify."""


class DataRefused(CureJournalError):
    """Data from outside cannot be made into a journal."""


class FolderInUse(CureJournalError):
    """There is something already where a new folder was to be."""


class CopyRefused(CureJournalError):
    """There is something already where a journal was to be copied to."""


_UNCERTAIN = msg("Open the journal again to see whether the last entry was kept; everything confirmed before is safe.")


LEAST_ROOM = 256 * 1024
"""Bytes below which a disk counts as full: less than SQLite needs to begin a write. Ours."""


def _full(place: object) -> DiskFull:
    return DiskFull(
        msg("There is no room left on the disk of {place}.", place=place),
        msg("Free some space on that disk, then enter it again."),
        msg("The last entry was not kept; everything confirmed before it is safe."),
    )


def _not_writable(place: object) -> JournalNotWritable:
    return JournalNotWritable(
        msg("{place} cannot be written to.", place=place),
        msg("Check that the folder is not read-only and belongs to you, or choose another."),
    )


def damaged(place: object) -> JournalDamaged:
    """The error for a database in which something is not as it was written."""
    return JournalDamaged(
        msg("The database of the journal at {place} is damaged.", place=place),
        msg("Make a copy of the whole folder first, then restore the latest backup into a new folder."),
        msg("The photos are separate files and are not touched."),
    )


def no_room(place: object) -> bool:
    """Whether there is next to no room left on the disk of a folder: SQLite often calls that an error of the disk."""
    if not isinstance(place, Path):
        return False
    try:
        return shutil.disk_usage(place if place.exists() else place.parent).free < LEAST_ROOM
    except OSError:
        return False


def from_os_error(error: OSError, place: object) -> CureJournalError | None:
    """The plain words for an error of the file system; None if it is no such case."""
    if error.errno in {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}:
        return _full(place)
    if error.errno in {errno.EACCES, errno.EPERM, errno.EROFS, errno.ENOTDIR, errno.EEXIST}:
        return _not_writable(place)
    if error.errno in {errno.EIO, errno.ENODEV, errno.ENXIO, errno.ENOENT}:
        return JournalNotWritable(
            msg("The disk of {place} reported an error, or is not there.", place=place),
            msg("Check the disk and its cable, and try again, or choose another."),
            msg("What was being written was not kept; everything confirmed before is safe."),
        )
    return None


def _from_sqlite(error: sqlite3.Error, place: object) -> CureJournalError | None:
    # The low byte is the primary code; the rest only refines it (sqlite.org/rescode.html).
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if code == sqlite3.SQLITE_FULL:
        return _full(place)
    if code in {sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM}:
        return _not_writable(place)
    if code in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}:
        return _busy(place)
    if code == sqlite3.SQLITE_NOTADB:
        return NotAJournal(
            msg("journal.sqlite in {place} is not a journal, or its beginning is damaged.", place=place),
            msg("Choose the journal's own folder, or restore a backup into a new folder."),
        )
    if code == sqlite3.SQLITE_CORRUPT:
        return damaged(place)
    if "decode to UTF-8" in str(error) or "Could not decode" in str(error):
        return damaged(place)
    if code == sqlite3.SQLITE_IOERR and no_room(place):
        return _full(place)
    if code == sqlite3.SQLITE_IOERR:
        return JournalNotWritable(
            msg("The disk of {place} reported an error.", place=place),
            msg("Check the disk and its cable, copy the folder to another disk, and try again."),
            _UNCERTAIN,
        )
    return None


def _busy(place: object) -> JournalBusy:
    return JournalBusy(
        msg(
            "The journal at {place} is being written to by another window or program, which did not finish.",
            place=place,
        ),
        msg("Close the other one or wait a moment, then try again."),
    )


def _from_postgresql(error: DBAPIError, place: object) -> CureJournalError | None:
    # SQLSTATE classes: PostgreSQL manual, appendix A.
    state = getattr(error.orig, "sqlstate", None) or ""
    if state == "53100":
        return _full(place)
    if state in {"25006", "42501"}:
        return _not_writable(place)
    if state in {"55P03", "40001", "40P01"}:
        return _busy(place)
    if state.startswith(("08", "28", "3D", "53", "57")) or error.connection_invalidated or not state:
        return DatabaseUnreachable(
            msg("The database server of the journal at {place} does not answer or refuses to be opened.", place=place),
            msg("Check that it runs, and the address, name and password in its URL."),
            _UNCERTAIN,
        )
    return None


@contextmanager
def in_plain_words(place: object) -> Iterator[None]:
    """Translate errors of database and file system into errors that a maker can act on.

    What is not known here passes unchanged, since it is a fault of ours.
    """
    plain: CureJournalError | None
    try:
        yield
    except DBAPIError as error:
        origin = error.orig
        plain = _from_sqlite(origin, place) if isinstance(origin, sqlite3.Error) else _from_postgresql(error, place)
        if plain is None:
            raise
        raise plain from error
    except sqlite3.Error as error:
        plain = _from_sqlite(error, place)
        if plain is None:
            raise
        raise plain from error
    except UnicodeDecodeError as error:
        # SQLite's own message quotes the definition of a table, in which there are bytes that are no text.
        raise damaged(place) from error
    except PoolTimeout as error:
        raise _busy(place) from error
    except OSError as error:
        plain = from_os_error(error, place)
        if plain is None:
            raise
        raise plain from error
