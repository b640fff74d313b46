"""The command line as a user runs it: one process a call, with its own environment, input, output and exit code.

Each is forked from a process that has imported all of the program already, since importing takes ten times as long as
most commands; `tests/cli/test_commands.py` runs the installed command itself too, and `test_light.py` what it imports.
"""

from __future__ import annotations

import atexit
import gc
import importlib
import json
import os
import pkgutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
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
        code = forked("tests.command", asked)
        return Done(code, Path(folder, "out").read_text(), Path(folder, "err").read_text())


def forked(module: str, asked: dict) -> int:
    """Ask the process that runs a module, and its `serve`, for a child; gives what that tells of it."""
    nursery = _nursery(module)
    assert nursery.stdin is not None and nursery.stdout is not None
    nursery.stdin.write(json.dumps(asked) + "\n")
    nursery.stdin.flush()
    return int(nursery.stdout.readline())


@cache
def _nursery(module: str) -> subprocess.Popen[str]:
    nursery = subprocess.Popen([sys.executable, "-m", module], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    atexit.register(nursery.kill)
    return nursery


def serve(main: Callable[[dict], object], told: Callable[[int], int]) -> None:
    """Fork a child for each line that asks for one, to run `main`; the answer is what is told of its number."""
    for line in sys.stdin:
        asked = json.loads(line)
        child = os.fork()
        if child == 0:
            _become(asked, main)
        print(told(child), flush=True)


def _become(asked: dict, main: Callable[[dict], object]) -> None:
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
        main(asked)
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else int(end.code is not None)
    except BaseException:
        import traceback

        traceback.print_exc()
        code = 1
    for stream in (sys.stdout, sys.stderr):
        stream.flush()
    os._exit(code)


def _import_all() -> None:
    """What commands import when they need it, and the steps of a new journal; only `serve` needs the app."""
    import curejournal

    for module in pkgutil.walk_packages(curejournal.__path__, "curejournal."):
        if not module.name.startswith(("curejournal.ui", "curejournal.__main__", "curejournal.journal.migrations")):
            importlib.import_module(module.name)
    importlib.import_module("alembic.command")
    gc.freeze()  # what is here now is never looked through again, and so shared by all that are forked


if __name__ == "__main__":
    from curejournal.cli import main

    _import_all()
    serve(lambda asked: main(), lambda child: os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))
