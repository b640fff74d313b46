"""The terminal: one short function per use case.

Exit codes: 0 done; 1 refused, for the reason given, with what was kept before it if anything was;
2 the command itself was mistyped; 3 no colour could be measured.
"""

from __future__ import annotations

import json
import sys

from curejournal.base.errors import CureJournalError
from curejournal.cli.commands import app, command_names

__all__ = ["app", "command_names", "main"]


def main() -> None:
    """Run the command line; errors that a maker can understand become a sentence and an exit code."""
    try:
        app(prog_name="curejournal")
    except CureJournalError as error:
        if "--json" in sys.argv:
            print(json.dumps({"error": {"what": error.what, "safe": error.safe, "do": error.do}}, ensure_ascii=False))
        else:
            print(error, file=sys.stderr)
        sys.exit(1)
