"""Which photos a check has verified, kept while it goes on, so that one that was cut short is taken up again."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TextIO

from curejournal.journal.files import make_folder

# Seconds for which a check that was cut short is gone on with; ours: a disk that fails does so over days.
_GOES_ON_S = 86_400


class SeenPhotos:
    """Photos that were verified, for as long as their files are as they were then."""

    def __init__(self, seen: set[str], file: TextIO | None) -> None:
        self._seen, self._file = seen, file

    def __contains__(self, path: Path) -> bool:
        """Whether a photo was verified, and its file is still of that size and time."""
        return bool(self._seen) and _state(path) in self._seen

    def note(self, path: Path) -> None:
        """Note a photo that was verified."""
        if self._file is not None and path not in self:
            with suppress(OSError):
                self._file.write(f"{_state(path)}\n")


def _state(path: Path) -> str:
    try:
        state = path.stat()
    except OSError:
        return ""
    return f"{path.name} {state.st_size} {state.st_mtime_ns}"


@contextmanager
def seen_photos(note: Path) -> Iterator[SeenPhotos]:
    """The photos that a check of less than a day ago had verified when it was cut short; with its end the note goes.

    Parameters
    ----------
    note : Path
        The file in which they are noted, a line each, as they are verified.
    """
    seen, file = set[str](), None
    with suppress(OSError, ValueError):
        begun, *lines = note.read_text("utf-8").splitlines()
        if 0 <= time.time() - float(begun) < _GOES_ON_S:
            seen = {line for line in lines if line}
    with suppress(OSError):  # where nothing may be written, a full disk too, each check begins again
        make_folder(note.parent)
        if not seen:
            note.write_text(f"{time.time()}\n", "utf-8")
        file = note.open("a", encoding="utf-8", buffering=1)
    try:
        yield SeenPhotos(seen, file)
    finally:
        if file is not None:
            with suppress(OSError):
                file.close()
    with suppress(OSError):
        note.unlink(missing_ok=True)
