"""What would work on one system alone: found by reading the code, since the tests run on Linux.

What breaks elsewhere is text in another encoding (Windows reads cp1252), modules and calls that only some systems have,
and dates written by the C library's own signs.
"""

from __future__ import annotations

import ast
import io
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from curejournal.cli import main

ROOT = Path(__file__).parents[1] / "curejournal"
SOURCES = sorted(ROOT.rglob("*.py"))
ONLY_SOME = {
    *("fcntl", "pwd", "grp", "resource", "termios", "tty", "pty", "syslog", "readline", "curses"),
    *("msvcrt", "winreg", "winsound", "_winapi"),
}
"""Modules that are not on every system (the library reference names their availability)."""
ONLY_POSIX = {
    *(
        "os.fork",
        "os.getuid",
        "os.geteuid",
        "os.getgid",
        "os.killpg",
        "os.setsid",
        "os.getpgid",
        "os.chown",
        "os.uname",
    ),
    *("os.mkfifo", "os.statvfs", "os.nice", "os.sched_getaffinity", "os.getloadavg", "os.O_NOFOLLOW", "os.O_DIRECTORY"),
    *("signal.SIGKILL", "signal.SIGHUP", "signal.SIGCHLD", "signal.alarm", "signal.pthread_sigmask", "time.tzset"),
}
TEXT = {"read_text", "write_text"}


def faults(source: str) -> Iterator[str]:
    """What in a module would not work everywhere; a line whose guard says why it may is not named."""
    tree = ast.parse(source)
    guarded = {id(node) for block in ast.walk(tree) if _guards(block) for node in ast.walk(block)}
    for node in ast.walk(tree):
        if isinstance(node, (ast.Import, ast.ImportFrom)) and id(node) not in guarded:
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else [node.module or ""]
            yield from (f"{node.lineno}: {name} is not on every system" for name in names if name in ONLY_SOME)
        elif isinstance(node, ast.Attribute) and id(node) not in guarded and ast.unparse(node) in ONLY_POSIX:
            yield f"{node.lineno}: {ast.unparse(node)} is not on every system"
        elif isinstance(node, ast.Call):
            yield from (f"{node.lineno}: {fault}" for fault in _of_call(node))
        # A chart's own language (utcFormat, of D3) means the same everywhere.
        elif isinstance(node, ast.Constant) and "utcFormat(" not in source and re.search("%-[a-zA-Z]", str(node.value)):
            yield f"{node.lineno}: %- in a date is glibc's own"


def _guards(node: ast.AST) -> bool:
    """Whether a block only acts where the system has it: a try, or a test of the platform or of the name."""
    if isinstance(node, ast.Try):
        return True
    if isinstance(node, ast.With):
        return "suppress" in ast.unparse(node.items[0])
    return isinstance(node, (ast.If, ast.IfExp)) and any(
        word in ast.unparse(node.test) for word in ("platform", "os.name", "hasattr")
    )


def _of_call(call: ast.Call) -> Iterator[str]:
    function, given = ast.unparse(call.func), {word.arg: word.value for word in call.keywords}
    name = function.rpartition(".")[2]
    texts = [argument.value for argument in call.args if isinstance(argument, ast.Constant)]
    says = "encoding" in given or any(
        str(text).lower().replace("-", "").startswith(("utf8", "ascii")) for text in texts
    )
    if name in TEXT and not says:
        yield f"{name} without an encoding"
    if function == "open" or (name == "open" and isinstance(call.func, ast.Attribute) and _opens_a_path(call)):
        mode = given.get("mode") or next(iter(call.args[1:] if function == "open" else call.args), None)
        binary = isinstance(mode, ast.Constant) and "b" in str(mode.value)
        if not binary and not says:
            yield "open without an encoding"
    if function.startswith("subprocess.") and "text" in given and not says:
        yield "a command's text without an encoding"
    if name in {"NamedTemporaryFile"} and "delete" not in given:
        yield "an open temporary file cannot be opened again on Windows"


def _opens_a_path(call: ast.Call) -> bool:
    # Image.open, zipfile's and Journal's own open are not of text.
    owner = ast.unparse(call.func.value) if isinstance(call.func, ast.Attribute) else ""
    return (
        owner.split(".")[-1] in {"path", "file", "folder", "to", "target", "part"} or "Path(" in owner or "/" in owner
    )


def test_it_works_on_every_system() -> None:
    found = {path.relative_to(ROOT).as_posix(): list(faults(path.read_text("utf-8"))) for path in SOURCES}
    assert {name: these for name, these in found.items() if these} == {}


@pytest.mark.parametrize(
    "line",
    [
        "import fcntl",
        "os.getuid()",
        "signal.SIGKILL",
        "path.read_text()",
        "open('x')",
        "path.open('w')",
        "day.strftime('%-d %B')",
        "subprocess.run(['x'], text=True)",
    ],
)
def test_what_does_not_is_found(line: str) -> None:
    assert list(faults(line))


def test_no_file_of_the_program_has_a_name_that_windows_refuses() -> None:
    names = [path.relative_to(ROOT).as_posix() for path in ROOT.rglob("*") if "__pycache__" not in path.parts]
    assert not [name for name in names if set(name) & set('<>:"|?*\\')]
    assert len({name.casefold() for name in names}) == len(names)
    assert max(map(len, names)) < 120  # of the 260 that a path may have there


@pytest.mark.parametrize("encoding", ["cp1252", "cp437", "ascii"])
def test_a_console_of_another_encoding_is_written_to(encoding: str, monkeypatch: pytest.MonkeyPatch) -> None:
    console = io.TextIOWrapper(io.BytesIO(), encoding)
    monkeypatch.setattr(sys, "stdout", console)
    monkeypatch.setattr(sys, "argv", ["curejournal", "batch", "start", "--help"])
    with pytest.raises(SystemExit) as ended:
        main()  # its help says ΔE00
    assert ended.value.code == 0
    console.flush()
    assert b"E00" in console.buffer.getvalue()  # type: ignore[attr-defined]
