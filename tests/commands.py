"""The page of all commands: `python -m tests.commands` writes .docs/commands.md from the commands' own help."""

from __future__ import annotations

from getpass import getuser
from pathlib import Path
from typing import Any

from platformdirs import user_data_path
from typer.main import get_command

from curejournal.cli.commands import COMMANDS, RENAMED, app, help_of

PAGE = Path(__file__).parents[1] / ".docs" / "commands.md"
HEAD = """# The commands of curejournal

Made from the commands' own help by `python -m tests.commands`; `curejournal COMMAND --help` says the same.

Every command takes `--json` and, where it reads or writes a journal, `--journal FOLDER`. Exit codes: 0 done; 1 refused
for the reason given, with what was kept before it if anything was; 2 mistyped; 3 no colour could be measured.
"""
HOME = str(user_data_path("curejournal"))
"""Where this computer keeps data: named in words, since the page is the same on all."""


def page() -> str:
    """Every command by what one is doing: a sentence, how it is typed, its options."""
    parts = [HEAD]
    for panel, commands in COMMANDS.items():
        parts.append(f"## {panel}\n")
        parts += [_one(name) for name in commands]
    parts.append("## Names of before 0.2.0\n")
    parts.append("Whoever types an old name is told the new one.\n")
    parts.append("| before | now |\n| --- | --- |")
    parts += [f"| `{old}` | `{new}` |" for old, new in RENAMED.items()]
    return "\n".join(parts) + "\n"


def _one(name: str) -> str:
    command, context = _found(name)
    with context.scope():
        typed = " ".join(command.collect_usage_pieces(context))
        told = [one.get_help_record(context) for one in command.get_params(context)]
    options = [record for record in told if record and not record[0].startswith(("-h", "--help", "--json"))]
    lines = "".join(f"- `{words}` {_plain(about)}".rstrip() + "\n" for words, about in options)
    return f"### `curejournal {name}`\n\n{help_of(name)}\n\n    curejournal {name} {typed}\n\n{lines}"


def _found(name: str) -> tuple[Any, Any]:
    command: Any = get_command(app)
    context = command.make_context("curejournal", [], resilient_parsing=True)
    for word in name.split(" "):
        command = command.get_command(context, word)
        context = command.context_class(command, info_name=word, parent=context, terminal_width=10_000)
    return command, context


def _plain(about: str) -> str:
    told = " ".join(about.split()).replace(HOME, "your data folder")
    return told.replace(f"default: {getuser()}]", "default: who is logged in]")


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
    print(f"{len(page().splitlines())} lines in {PAGE.name}")
