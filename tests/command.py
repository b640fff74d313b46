"""The command line as a user runs it: one process a call, with its own environment, input, output and exit code.

Each is forked from a process that has imported the program already, since importing takes longer than most commands;
`tests/test_cli.py` runs the installed command itself too.
"""

from __future__ import annotations

import atexit
import json
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

COMMAND = [str(Path(sys.executable).with_name("curejournal"))]


@dataclass(frozen=True)
class Done:
    """What a command left behind."""

    returncode: int
    stdout: str
    stderr: str


def run_command(*arguments: object, environment: dict[str, str], typed: str = "", seconds: float = 120) -> Done:
    """Run a command to its end."""
    with tempfile.TemporaryDirectory() as folder:
        asked = {
            "arguments": [*COMMAND, *map(str, arguments)],
            "environment": {**os.environ, **environment},
            "folder": folder,
            "seconds": seconds,
        }
        Path(folder, "in").write_text(typed)
        server = _server()
        assert server.stdin is not None and server.stdout is not None
        server.stdin.write(json.dumps(asked) + "\n")
        server.stdin.flush()
        code = int(server.stdout.readline())
        return Done(code, Path(folder, "out").read_text(), Path(folder, "err").read_text())


@cache
def _server() -> subprocess.Popen[str]:
    started = subprocess.Popen(
        [sys.executable, "-m", "tests.command"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    atexit.register(started.kill)
    return started


def _serve() -> None:
    from curejournal.cli import main

    for line in sys.stdin:
        asked = json.loads(line)
        child = os.fork()
        if child == 0:
            become(asked, main)
        print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)


def become(asked: dict, main: object) -> None:
    """Be the command that was asked for: this process's streams, environment and arguments are its own."""
    import signal

    folder = Path(asked["folder"])
    for number, name, how in ((0, "in", os.O_RDONLY), (1, "out", os.O_WRONLY), (2, "err", os.O_WRONLY)):
        os.dup2(os.open(folder / name, how | (os.O_CREAT if number else 0), 0o600), number)
    sys.stdin, sys.stdout, sys.stderr = os.fdopen(0), os.fdopen(1, "w"), os.fdopen(2, "w")
    os.environ.clear()
    os.environ.update(asked["environment"])
    signal.alarm(int(asked["seconds"]))
    sys.argv = asked["arguments"]
    import time

    time.tzset()
    code = 0
    try:
        main()  # type: ignore[operator]
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else int(end.code is not None)
    except BaseException:
        import traceback

        traceback.print_exc()
        code = 1
    for stream in (sys.stdout, sys.stderr):
        stream.flush()
    os._exit(code)


if __name__ == "__main__":
    _serve()
