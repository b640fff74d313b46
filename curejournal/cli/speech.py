"""What the command line says, in the language, units and dates of the journal's readers."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING, TextIO

from curejournal.base.messages import Voice, localise

if TYPE_CHECKING:
    from curejournal.journal.store import Journal

_voices: list[Voice | None] = []


def speak_as_in(journal: Journal) -> None:
    """Speak from now on as the readers of a journal read."""
    from curejournal.workflow.readers import reader_of

    _voices[:] = [reader_of(journal)]


def said(text: str) -> str:
    """Say a message to the reader; anything else stays as it is."""
    return str(localise(text, _voices[0]) if _voices else text).replace("\u00a0", " ")


def tell(text: str, *, to: TextIO | None = None) -> None:
    """Print a message for the reader."""
    print(said(text), file=to or sys.stdout)


def tell_all(texts: Iterable[str]) -> None:
    """Print messages for the reader, each on a line."""
    for text in texts:
        tell(text)
