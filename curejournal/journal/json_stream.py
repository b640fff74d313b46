"""A long JSON file of plain data, read a row at a time: what is held of it does not grow with its length."""

from __future__ import annotations

import codecs
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from curejournal.base.bounds import IMPORT_ROW_CHARACTERS
from curejournal.base.messages import msg
from curejournal.journal.plain_data import (
    FORMER,
    ROWS,
    Again,
    Data,
    RowsAnew,
    from_text,
    refuse_other,
    refuse_to_hold,
    refused,
    row_from_text,
)

_BLANK = re.compile(r"[ \t\r\n]*")
_CHUNK = 1 << 18
_DECODER = json.JSONDecoder()


class _Text:
    """A file's text from a place on, of which only a stretch is held."""

    def __init__(self, path: Path, place: int = 0) -> None:
        self._file = path.open("rb")
        self._rest, self._held, self._at = b"", "", 0
        self.place = place
        """In bytes, of what is next."""
        self._file.seek(place)
        if place == 0 and self._file.read(3) == codecs.BOM_UTF8:
            self.place = 3
        self._file.seek(self.place)

    def close(self) -> None:
        self._file.close()

    def _more(self) -> bool:
        """Hold more; twice as much each time, so that a long row is not gone through again and again."""
        kept = self._held[self._at :]
        data = self._rest + self._file.read(max(_CHUNK, len(kept)))
        try:
            text, self._rest = data.decode("utf-8"), b""
        except UnicodeDecodeError as error:
            # The last sign may be cut in two.
            if error.start < len(data) - 3 or error.start == 0:
                raise refused(msg("it is not text in UTF-8")) from None
            text, self._rest = data[: error.start].decode("utf-8"), data[error.start :]
        self._held, self._at = kept + text, 0
        return bool(text)

    def _take_to(self, end: int) -> str:
        taken = self._held[self._at : end]
        self._at = end
        self.place += len(taken.encode())
        return taken

    def sign(self) -> str:
        """The next sign that is not blank, without taking it; empty at the end."""
        while True:
            self._take_to(_BLANK.match(self._held, self._at).end())  # type: ignore[union-attr]
            if self._at < len(self._held) or not self._more():
                return self._held[self._at : self._at + 1]

    def take(self, *signs: str) -> str:
        """Take one of these signs."""
        if self.sign() not in signs:
            raise refused(msg("it is not JSON as this program writes it: {sign} is missing", sign=" or ".join(signs)))
        return self._take_to(self._at + 1)

    def value(self) -> tuple[Any, str]:
        """Take a value; with it, its own text."""
        self.sign()
        while True:
            try:
                found, end = _DECODER.raw_decode(self._held, self._at)
            except (ValueError, RecursionError) as error:
                if len(self._held) - self._at > IMPORT_ROW_CHARACTERS:
                    raise refused(msg("a row is far too long")) from error
                if isinstance(error, RecursionError) or not self._more():
                    raise refused(msg("it is not JSON ({error})", error=error)) from error
            else:
                # A number at the end of what is held may go on.
                if end < len(self._held) or not self._more():
                    return found, self._take_to(end)

    def items(self) -> Iterator[str]:
        """Take an array, item by item, each as its text."""
        self.take("[")
        if self.sign() == "]":
            self.take("]")
            return
        while True:
            yield self.value()[1]
            if self.take(",", "]") == "]":
                return


def read_json(path: Path) -> Data:
    """The data of a file, of which every row was seen to be JSON; rows are read again each time they are iterated over.

    Raises
    ------
    DataRefused
    """
    found, places, in_order = _outline(path)
    if found == FORMER or not in_order:
        return from_text(path.read_bytes().decode("utf-8-sig"))
    refuse_other(found)
    for name in ROWS:
        if name not in places and name != "contacts":
            raise refused(msg("{name} is missing", name=name))

    def rows(name: str) -> Again[Any]:
        return Again(lambda: _rows(path, name, places[name]) if name in places else iter(()))

    return RowsAnew(*(rows(name) for name in ("batches", "entries", "photos", "cards", "settings", "contacts")))


def _rows(path: Path, name: str, place: int) -> Iterator[Any]:
    text = _Text(path, place)
    try:
        for row in text.items():
            yield row_from_text(name, row)
    finally:
        text.close()


def _looked_at(text: _Text, name: str, size: int) -> bool:
    """Look at every row of a table; whether they come by number, if they are entries."""
    in_order, last = True, 0
    for item in text.items():
        row = row_from_text(name, item)
        if name == "entries":
            in_order, last = in_order and row.id > last, row.id
            if not in_order:
                refuse_to_hold(size)
    return in_order


def _outline(path: Path) -> tuple[str, dict[str, int], bool]:
    """The format, where each table begins, and whether entries come by number."""
    found, places, in_order = "", dict[str, int](), True
    text, size = _Text(path), path.stat().st_size
    try:
        text.take("{")
        while True:
            name, _ = text.value()
            text.take(":")
            if name == "format":
                found = str(text.value()[0])
                if found == FORMER:
                    refuse_to_hold(size)
            elif name in ROWS and name not in places:
                text.sign()
                places[name] = text.place
                in_order &= _looked_at(text, name, size)
            else:
                raise refused(msg("it has {name}, which a journal does not have", name=f"{str(name)[:40]!r}"))
            if text.take(",", "}") == "}":
                break
        if text.sign():
            raise refused(msg("it goes on after its end"))
    finally:
        text.close()
    return found, places, in_order
