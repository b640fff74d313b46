"""Files written so that they are whole or not there, whatever happens in between."""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from curejournal.journal.errors import FolderInUse

try:
    from fcntl import F_FULLFSYNC, fcntl  # type: ignore[attr-defined,unused-ignore]
except ImportError:  # only macOS has it
    F_FULLFSYNC = None

PART = ".part"
"""How the name of a file ends while it is being written."""


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
def written_whole(path: Path, mode: int = 0o666) -> Iterator[BinaryIO]:
    """A file to write into; it takes its name only once all of it is on the disk.

    If anything fails on the way, what was written is removed and `path` stays as it was.
    `mode` is who may do what with it, before the system takes away what it never grants.
    """
    part = path.with_name(f"{path.name}.{secrets.token_hex(4)}{PART}")
    try:
        part.touch(mode, exist_ok=False)
        with part.open("wb") as file:
            yield file
            file.flush()
            sync(file.fileno())
        part.replace(path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


@contextmanager
def new_folder(to: Path) -> Iterator[Path]:
    """A folder to fill; it takes its name only if nothing fails on the way.

    Raises
    ------
    FolderInUse
        If there is something of this name that is not an empty folder.
    """
    if to.exists() and (not to.is_dir() or any(to.iterdir())):
        raise FolderInUse(f"{to} exists already and is not empty.", "Choose a new folder: nothing is ever replaced.")
    to = to.absolute()
    part = to.with_name(f".{to.name}.{secrets.token_hex(4)}{PART}")
    try:
        make_folder(part)
        yield part
        if to.exists():
            to.rmdir()
        part.rename(to)
    finally:
        shutil.rmtree(part, ignore_errors=True)
    sync_folder(to.parent)
