"""Apps that run for a browser: each forked from a process that has imported the program already.

Importing takes longer than most of what is then tried; `test_browser.py` starts one as a maker does too.
"""

from __future__ import annotations

import importlib
import os
import signal
import sys
from collections.abc import Callable
from pathlib import Path

from tests.command import forked, serve


def started(command: list[str], cwd: Path, environment: dict[str, str], log: Path, *, afresh: bool) -> int:
    """Run `python -m ...` in a session of its own, with nothing imported yet if `afresh`; gives its process."""
    for name in ("in", "out", "err"):
        (log / name).touch()
    asked = {
        "arguments": command,
        "cwd": str(cwd),
        "environment": environment,
        "folder": str(log),
        "seconds": 3600,
        "afresh": afresh,
    }
    return forked("tests.ui.served", asked)


BREAKS = "CUREJOURNAL_TESTS_BREAK"
"""Names functions of the program, as `module:name`, that fail in a server started with it: an unforeseen fault."""


def _break(named: str) -> None:
    def fail(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a fault made for a test")

    for one in named.split():
        module, _, name = one.partition(":")
        setattr(importlib.import_module(module), name, fail)


def _app(asked: dict, main: Callable[[], object]) -> None:
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    os.setsid()
    os.chdir(asked["cwd"])
    if asked["afresh"]:
        os.execv(sys.executable, [sys.executable, "-m", *sys.argv])
    _break(os.environ.get(BREAKS, ""))
    main()


if __name__ == "__main__":
    from curejournal.ui.frame import load_pages
    from curejournal.ui.server import run

    load_pages()
    # Nobody waits for them: what has ended is gone at once, and can be seen to be.
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    serve(lambda asked: _app(asked, lambda: run({"server.port": int(sys.argv[1])})), lambda child: child)
