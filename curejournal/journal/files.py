"""Files written so that they are whole or not there, whatever happens in between."""

from __future__ import annotations

import glob
import os
import re
import secrets
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from curejournal.base.messages import msg
from curejournal.journal.errors import FolderInUse

try:
    from fcntl import F_FULLFSYNC, fcntl  # type: ignore[attr-defined,unused-ignore]
except ImportError:  # only macOS has it
    F_FULLFSYNC = None
try:
    from fcntl import LOCK_EX, LOCK_NB, flock
except ImportError:  # Windows: what is open there cannot be removed anyway
    flock = None  # type: ignore[assignment,unused-ignore]

PART = ".part"
"""How the name of a file ends while it is being written."""
_PIECE = re.compile(r".*\.[0-9a-f]{8}(\.sqlite)?\.part(\.[0-9a-f]{8}\.part)?(-journal|-wal|-shm)?")
_PIECE_OF_FILE = re.compile(r"(?!.*\.sqlite\.part).*\.[0-9a-f]{8}\.part")
_IN_USE = "in-use"
TAKEN_UP = "taken-up"
"""In a new folder while it is filled: the photos of earlier tries that were cut short, each try's in a folder of its
own. Whoever fills it may take them from there; what is left of them goes."""
# A piece is locked within moments of being made; ours.
_YOUNG_S = 60


def sync(descriptor: int) -> None:
    """Wait until the file is on the disk, not only in its cache (macOS needs its own call for that)."""
    if F_FULLFSYNC is not None:
        fcntl(descriptor, F_FULLFSYNC)
    else:
        os.fsync(descriptor)


def sync_folder(folder: Path) -> None:
    """Wait until the folder's list of names is on the disk; Windows offers no such call."""
    if os.name == "nt":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def make_folder(folder: Path) -> None:
    """Make a folder and those above it, each on the disk before this returns."""
    missing = [step for step in (folder, *folder.parents) if not step.exists()]
    for step in reversed(missing):
        step.mkdir(exist_ok=True)
        sync_folder(step.parent)


@contextmanager
def written_whole(path: Path, mode: int = 0o666, part_in: Path | None = None) -> Iterator[BinaryIO]:
    """A file to write into; it takes its name only once all of it is on the disk.

    If anything fails on the way, what was written is removed and `path` stays as it was. What a killed program leaves
    is a piece, which `clear_pieces` knows.

    Parameters
    ----------
    path : Path
        The file.
    mode : int
        Who may do what with it, before the system takes away what it never grants.
    part_in : Path, optional
        The folder in which it lies until then, on the same disk; by default its own.
    """
    part = (part_in or path.parent) / f"{path.name}.{secrets.token_hex(4)}{PART}"
    try:
        part.touch(mode, exist_ok=False)
        with part.open("wb") as file:
            _lock(file.fileno())
            yield file
            file.flush()
            sync(file.fileno())
        part.replace(path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


@contextmanager
def written_on(path: Path, name: str) -> Iterator[BinaryIO]:
    """A file as `written_whole` gives it, in which there may be what an earlier try has left.

    Interrupted from the keyboard, or killed, it stays as a piece for the next try.

    Parameters
    ----------
    path : Path
        The file.
    name : str
        How the names of files begin whose pieces may be gone on with.
    """
    part, interrupted = path.with_name(f"{path.name}.{secrets.token_hex(4)}{PART}"), False
    try:
        with _left(part, name) or part.open("x+b") as file:
            _lock(file.fileno())
            yield file
            file.flush()
            sync(file.fileno())
        part.replace(path)
    except KeyboardInterrupt:
        interrupted = True
        raise
    finally:
        if not interrupted:
            part.unlink(missing_ok=True)
    sync_folder(path.parent)


def _left(part: Path, name: str) -> BinaryIO | None:
    """A piece that an earlier try has left and nobody holds, under its new name."""
    for path in sorted(part.parent.glob(f"{glob.escape(name)}*{PART}")):
        # Held since before anything was written into it, so that one with something in it may be asked for at once.
        if _PIECE_OF_FILE.fullmatch(path.name) and not path.is_symlink() and path.stat().st_size and flock is not None:
            file = path.open("r+b")
            if _lock(file.fileno()):
                path.rename(part)
                return file
            file.close()
    return None


@contextmanager
def new_folder(to: Path) -> Iterator[Path]:
    """A folder to fill; it takes its name only if nothing fails on the way.

    Interrupted from the keyboard, or killed, it stays as a piece, whose photos the next try takes up.

    Raises
    ------
    FolderInUse
        If there is something of this name that is not an empty folder.
    """
    if to.exists() and (not to.is_dir() or any(to.iterdir())):
        raise FolderInUse(
            msg("{to} exists already and is not empty.", to=to), msg("Choose a new folder: nothing is ever replaced.")
        )
    to = to.absolute()
    part = to.with_name(f".{to.name}.{secrets.token_hex(4)}{PART}")
    interrupted = False
    try:
        make_folder(part)
        with in_use(part / _IN_USE):
            _take_up(to, part)
            yield part
        shutil.rmtree(part / TAKEN_UP, ignore_errors=True)
        (part / _IN_USE).unlink()
        if to.exists():
            to.rmdir()
        part.rename(to)
    except KeyboardInterrupt:
        interrupted = True
        raise
    finally:
        if not interrupted:
            shutil.rmtree(part, ignore_errors=True)
    sync_folder(to.parent)


def _take_up(to: Path, part: Path) -> None:
    """Move the photos of earlier tries into a new one, and clear what else they left."""
    for path in to.parent.glob(f".{glob.escape(to.name)}.*{PART}"):
        if path != part and _PIECE.fullmatch(path.name) and path.is_dir() and _abandoned(path):
            for photos in (path / "photos", *(path / TAKEN_UP).glob("*")):
                if photos.is_dir():
                    (part / TAKEN_UP).mkdir(exist_ok=True)
                    photos.rename(part / TAKEN_UP / secrets.token_hex(4))
            shutil.rmtree(path, ignore_errors=True)
    clear_pieces(to.parent, to.name)


@contextmanager
def in_use(path: Path) -> Iterator[None]:
    """Mark a file as one that somebody works with, for as long as this process lives and works; made if not there."""
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        _lock(descriptor)
        yield
    finally:
        os.close(descriptor)


def _lock(descriptor: int) -> bool:
    """Hold a file until it is closed or the process ends; False if another holds it."""
    if flock is None:
        return True
    try:
        flock(descriptor, LOCK_EX | LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:  # a file system without locks
        return True
    return True


def clear_pieces(folder: Path, name: str = "") -> tuple[Path, ...]:
    """Remove what killed programs left half written in a folder, if it is certain that nobody works with it.

    Parameters
    ----------
    folder : Path
        Where to look; not in the folders below it.
    name : str
        Only pieces of the file or folder of this name.
    """
    cleared = []
    with suppress(OSError):
        for path in folder.iterdir():
            ours = _PIECE.fullmatch(path.name) and path.name.removeprefix(".").startswith(name)
            if ours and _abandoned(path):
                if path.is_dir():
                    shutil.rmtree(path, ignore_errors=True)
                else:
                    path.unlink(missing_ok=True)
                cleared.append(path)
    return tuple(cleared)


def _abandoned(path: Path) -> bool:
    mark = path / _IN_USE if path.is_dir() else path
    if flock is None or path.is_symlink():
        return False
    try:
        # A folder is as old as its mark: it changes itself for as long as it is filled.
        made = (mark if mark.exists() else path).stat().st_mtime
        if time.time() - made < _YOUNG_S:
            return False
        descriptor = os.open(mark, os.O_RDWR)
    except FileNotFoundError:
        return path.is_dir()  # killed before its mark was made, or left by an earlier version
    except OSError:
        return False
    try:
        return _lock(descriptor)
    finally:
        os.close(descriptor)
