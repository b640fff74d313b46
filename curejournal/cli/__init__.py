"""The terminal: one short function per use case.

Exit codes: 0 done; 1 refused, for the reason given, with what was kept before it if anything was;
2 the command itself was mistyped; 3 no colour could be measured.
"""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Callable
from typing import Any, TextIO, cast

from curejournal.base.errors import CureJournalError
from curejournal.base.strings import escaped, visible
from curejournal.cli.commands import app, command_names
from curejournal.cli.speech import tell

__all__ = ["app", "command_names", "main"]


class Shown:
    """What is printed, the one place where it is: no character in it does anything to a terminal."""

    def __init__(self, to: TextIO, shown: Callable[[str], str]) -> None:
        self._to, self._shown = to, shown

    def write(self, text: str) -> int:
        """Write text, its unfit characters shown."""
        self._to.write(self._shown(text))
        return len(text)

    def __getattr__(self, name: str) -> Any:
        """All else is as of the stream itself."""
        return getattr(self._to, name)


def main() -> None:
    """Run the command line; errors that a maker can understand become a sentence and an exit code."""
    for_scripts = "--json" in sys.argv
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a console of another encoding shows “?” for a sign that it lacks
            stream.reconfigure(encoding="utf-8" if for_scripts else None, errors="replace")
    shown = escaped if for_scripts else visible
    sys.stdout, sys.stderr = cast(TextIO, Shown(sys.stdout, shown)), cast(TextIO, Shown(sys.stderr, visible))
    try:
        app(prog_name="curejournal")
    except CureJournalError as error:
        if for_scripts:
            print(json.dumps({"error": {"what": error.what, "safe": error.safe, "do": error.do}}, ensure_ascii=False))
        else:
            tell(error.args[0], to=sys.stderr)
        sys.exit(1)
