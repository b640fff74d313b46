"""Apps that run for a browser: each forked from a process that has imported the program already.

Importing takes longer than most of what is then tried; `test_browser.py` starts one as a maker does too.
"""

from __future__ import annotations

import atexit
import json
import os
import signal
import subprocess
import sys
from functools import cache
from pathlib import Path

from tests.command import become


def started(command: list[str], cwd: Path, environment: dict[str, str], log: Path, *, afresh: bool) -> int:
    """Run `streamlit ...` in a session of its own, with nothing imported yet if `afresh`; gives its process."""
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
    nursery = _nursery()
    assert nursery.stdin is not None and nursery.stdout is not None
    nursery.stdin.write(json.dumps(asked) + "\n")
    nursery.stdin.flush()
    return int(nursery.stdout.readline())


@cache
def _nursery() -> subprocess.Popen[str]:
    nursery = subprocess.Popen(
        [sys.executable, "-m", "tests.ui.served"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    atexit.register(nursery.kill)
    return nursery


def _program() -> None:
    os.execv(sys.executable, [sys.executable, "-m", *sys.argv])


def _serve() -> None:
    from streamlit.web.cli import main

    from curejournal.ui.frame import all_pages

    all_pages()
    # Nobody waits for them: what has ended is gone at once, and can be seen to be.
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    for line in sys.stdin:
        asked = json.loads(line)
        child = os.fork()
        if child == 0:
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            os.setsid()
            os.chdir(asked["cwd"])
            become(asked, _program if asked["afresh"] else main)
        print(child, flush=True)


if __name__ == "__main__":
    _serve()
