"""Original photos, kept byte for byte under their SHA-256, and pictures derived from them."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from curejournal.base.messages import msg
from curejournal.journal.errors import (
    DiskFull,
    EntryRefused,
    JournalDamaged,
    JournalNotWritable,
    in_plain_words,
)
from curejournal.journal.files import PART, TAKEN_UP, make_folder, written_whole

TakenFrom = Literal["exif", "file name", "maker"]

_SUFFIX = re.compile(r"\.[a-z0-9]{1,7}")
_SHA256 = re.compile(r"[0-9a-f]{64}")
_DERIVED = re.compile(r"[a-z0-9][a-z0-9._-]{0,79}")


@dataclass(frozen=True)
class PhotoFacts:
    """What a photo says of itself.

    `suffix` with its dot, lower case; `width` and `height` in pixels of the
    upright picture; `taken_at` with its offset and where that came from, both None if not known.
    """

    suffix: str
    width: int
    height: int
    taken_at: datetime | None
    taken_from: TakenFrom | None
    original_name: str


@dataclass(frozen=True)
class KeptPhoto:
    """A photo in the journal: its hash, its size in bytes, its facts, and when it came in."""

    sha256: str
    size: int
    facts: PhotoFacts
    received_at: datetime


class Shelf:
    """The folders of photos.

    Parameters
    ----------
    folder : Path
        The journal's folder: originals lie in `photos/ab/abcd….jpg`, what can be rebuilt in `derived/`.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.originals = folder / "photos"
        self.made = folder / "derived"

    @staticmethod
    def named(sha256: str, suffix: str) -> str:
        """The name of an original's file.

        Raises
        ------
        EntryRefused
            If these are no hash and ending, and so might name any file.
        """
        if not _SHA256.fullmatch(sha256) or not _SUFFIX.fullmatch(suffix):
            raise EntryRefused(msg("This is not a photo's hash and kind of file."))
        return f"{sha256}{suffix}"

    def path(self, sha256: str, suffix: str) -> Path:
        """Where an original lies."""
        return self.originals / sha256[:2] / self.named(sha256, suffix)

    @staticmethod
    def hash_of(data: bytes) -> str:
        """The hash under which an original is kept."""
        return hashlib.sha256(data).hexdigest()

    def put(self, data: bytes, suffix: str) -> str:
        """Keep an original and return its hash; it is on the disk when this returns.

        The same bytes again are left as they are, or written again if the kept file is damaged.
        """
        sha256 = self.hash_of(data)
        path = self.path(sha256, suffix)
        with in_plain_words(self.folder):
            if not path.is_file() or hashlib.sha256(path.read_bytes()).hexdigest() != sha256:
                make_folder(path.parent)
                with written_whole(path, part_in=self.folder) as file:
                    file.write(data)
        return sha256

    def take_up(self, sha256: str, suffix: str) -> bool:
        """Put an original in its place that an earlier try to fill this folder has left; whether there was one."""
        name = self.named(sha256, suffix)
        for found in (self.folder / TAKEN_UP).glob(f"*/{sha256[:2]}/{name}"):
            with found.open("rb") as file:
                sound = hashlib.file_digest(file, "sha256").hexdigest() == sha256
            if sound:
                path = self.path(sha256, suffix)
                make_folder(path.parent)
                found.replace(path)
                return True
        return False

    def get(self, sha256: str, suffix: str) -> bytes:
        """An original's bytes, checked against its hash.

        Raises
        ------
        JournalDamaged
            If the file is missing or is not what was kept.
        """
        path = self.path(sha256, suffix)
        try:
            data = path.read_bytes()
        except FileNotFoundError:
            data = b""
        if hashlib.sha256(data).hexdigest() != sha256:
            raise JournalDamaged(
                msg("The photo {name} is {data}.", name=path.name, data="damaged" if data else "missing"),
                msg("Add the same photo again, or restore the latest backup into a new folder."),
                msg("All other photos and entries are safe."),
            )
        return data

    def derived(self, sha256: str, name: str, make: Callable[[], bytes]) -> bytes:
        """A picture made from an original, from the cache if it is there.

        Parameters
        ----------
        sha256 : str
            The original's hash.
        name : str
            What was made and how, such as `small-640.jpg`; a change in the making needs a new name.
        make : callable
            Makes it.
        """
        if not _SHA256.fullmatch(sha256) or not _DERIVED.fullmatch(name):
            raise EntryRefused(msg("This is not the name of a derived picture."))
        path = self.made / sha256[:2] / sha256 / name
        try:
            return path.read_bytes()
        except OSError:
            data = make()
        try:
            with in_plain_words(self.folder):
                make_folder(path.parent)
                with written_whole(path, part_in=self.folder) as file:
                    file.write(data)
        except (JournalNotWritable, DiskFull):
            # A cache: without it the picture is made again each time.
            pass
        return data

    def files(self) -> Iterator[Path]:
        """Every file among the originals, and every file of the journal that was never finished, in order."""
        yield from (path for path in sorted(self.originals.rglob("*")) if not path.is_dir())
        yield from sorted(self.folder.glob(f"*{PART}*"))
