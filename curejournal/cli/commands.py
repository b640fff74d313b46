"""Every command by its name, and the module that holds it: imported when it is called, read when help is asked for."""

from __future__ import annotations

import ast
import importlib
import os
from functools import cache
from importlib.metadata import version
from importlib.util import find_spec
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

DATABASE_URL = "CUREJOURNAL_DATABASE_URL"

GROUPS = {
    "photo": "Photos in the journal: add, import, answer what is asked, correct.",
    "strip": "pH strips, read by photo.",
    "recipe": "A recipe before the pour.",
    "batch": "A batch from pour to release, and its papers.",
    "customer": "Customers: what they got, and erasing a name on request.",
    "material": "Materials, by what they did in all batches.",
    "journal": "The journal as a whole: verify, back up, move.",
    "people": "Who may sign in where the app is served with --lan.",
}
"""The nouns, and what they are about."""

# By what one is doing; in each, command and where it is: a module of this package and a function in it.
COMMANDS: dict[str, dict[str, str]] = {
    "Begin": {
        "demo": "serving:demo",
        "serve": "serving:serve",
    },
    "Measure colours": {
        "card": "photos:card",
        "enrol": "photos:enrol",
        "measure": "photos:measure",
        "photo add": "photos:take_in",
        "photo import": "photo_inbox:intake",
        "photo inbox": "photo_inbox:tray",
        "photo assign": "photo_inbox:place",
        "photo clock": "photo_inbox:clock_of",
        "photo correct": "photo_inbox:corrected",
        "photo contribute": "photos:contribute",
        "strip enrol": "photo_inbox:strip_key_of",
        "strip read": "photo_inbox:strip",
    },
    "Follow a batch": {
        "recipe check": "batches:lye",
        "recipe predict": "documents:expect",
        "batch start": "batches:batch_start",
        "batch list": "batches:batch_list",
        "batch show": "batches:batch_show",
        "batch due": "judging:due",
        "batch rename": "batches:batch_rename",
        "batch portion": "batches:batch_portion",
        "batch recipe": "documents:recipe_out",
        "batch target": "judging:intend",
        "batch note": "batches:batch_note",
        "batch weigh": "batches:weigh",
        "batch test": "batches:test",
        "batch surface": "batches:surface",
        "batch weighed": "batches:weighed",
        "batch packet": "batches:packet",
        "batch reading": "batches:reading",
        "batch history": "maintenance:history",
        "batch undo": "maintenance:undo",
        "batch darkened": "business:darkened",
        "batch place": "business:place",
        "journal room": "business:room_import",
    },
    "Judge and release": {
        "judge": "judging:judge",
        "batch release": "judging:release",
        "batch hold": "judging:hold",
        "batch withdraw": "judging:withdraw",
        "batch keep-on-sale": "judging:keep_on_sale",
        "batch accept-colour": "judging:accept_colour",
        "batch out": "judging:bars_out",
        "batch rules": "business:rules",
        "batch order": "business:order",
        "batch back": "business:back",
        "batch complaint": "business:complaint",
        "batch recall": "business:recall",
        "customer list": "business:customer_list",
        "customer show": "business:customer_show",
        "customer erase": "business:customer_erase",
    },
    "Ask all batches": {
        "material list": "documents:materials_list",
        "material show": "documents:material",
        "material cause": "documents:find_causes",
        "material test-pour": "documents:test_pour",
        "material lot": "documents:lot_uses",
        "material outcome": "business:outcome",
        "material enter-lot": "business:lot_enter",
    },
    "Print and share": {
        "record": "documents:record",
        "batch labels": "documents:labels",
        "batch tags": "photo_inbox:tags",
        "batch calendar": "documents:calendar_file",
        "batch portfolio": "documents:portfolio",
        "batch share": "documents:bundle_out",
        "batch import": "documents:bundle_in",
    },
    "Keep the journal": {
        "settings": "maintenance:settings",
        "journal check": "maintenance:check",
        "journal backup": "maintenance:backup",
        "journal restore": "maintenance:restore",
        "journal export": "maintenance:export",
        "journal import": "maintenance:import_",
        "journal move": "maintenance:move",
        "journal salvage": "maintenance:salvage",
        "people add": "people:add",
        "people code": "people:second_factor",
        "people list": "people:list_people",
        "people remove": "people:remove",
    },
}

RENAMED = {
    "take-in": "photo add",
    "intake": "photo import",
    "tray": "photo inbox",
    "place": "photo assign",
    "clock": "photo clock",
    "corrected": "photo correct",
    "strip-key": "strip enrol",
    "lye": "recipe check",
    "expect": "recipe predict",
    "due": "batch due",
    "intend": "batch target",
    "weigh": "batch weigh",
    "test": "batch test",
    "surface": "batch surface",
    "reading": "batch reading",
    "history": "batch history",
    "undo": "batch undo",
    "release": "batch release",
    "hold": "batch hold",
    "withdraw": "batch withdraw",
    "out": "batch out",
    "materials": "material list",
    "which": "material cause",
    "lot": "material lot",
    "labels": "batch labels",
    "tags": "batch tags",
    "calendar": "batch calendar",
    "portfolio": "batch portfolio",
    "bundle": "batch share",
    "open-bundle": "batch import",
    "check": "journal check",
    "backup": "journal backup",
    "restore": "journal restore",
    "export": "journal export",
    "import": "journal import",
    "move": "journal move",
}
"""What commands were called in 0.1; whoever types the old name is told the new one."""

# A number below zero is a value, not an option.
_NUMBERS = {"batch weigh", "batch test", "batch surface", "batch reading"}


def command_names() -> dict[str, str]:
    """Give every command and the panel of the help that it is in."""
    return {name: panel for panel, commands in COMMANDS.items() for name in commands}


class Later(TyperGroup):
    """A group whose commands are imported when they are called; its help is read from their source.

    The help is plain text: it is printed fast, and by any console.
    """

    def list_commands(self, ctx: Any) -> list[str]:
        """Name the commands and groups directly within this group, in order."""
        before = "" if ctx.parent is None else f"{ctx.info_name} "
        inner = [name.removeprefix(before) for name in command_names() if name.startswith(before)]
        return list(dict.fromkeys(name.split(" ")[0] for name in inner))

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """Import a command, or give a group by its name."""
        name = cmd_name if ctx.parent is None else f"{ctx.info_name} {cmd_name}"
        if name in GROUPS:
            return _group(name)
        if name in command_names():
            return _command(name)
        if name in RENAMED and not ctx.resilient_parsing:
            ctx.fail(f"“{name}” is called “{RENAMED[name]}” now: curejournal {RENAMED[name]} --help tells more.")
        return None

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write the commands by what one is doing."""
        names = self.list_commands(ctx)
        before = "" if ctx.parent is None else f"{ctx.info_name} "
        panels: dict[str, list[str]] = {}
        for name in names:
            first = next(whole for whole in command_names() if f"{whole} ".startswith(f"{before}{name} "))
            panels.setdefault(command_names()[first], []).append(name)
        width = max(map(len, names))
        for panel, inside in panels.items():
            with formatter.section(panel if ctx.parent is None or len(panels) > 1 else "Commands"):
                told = [(name.ljust(width), GROUPS.get(before + name) or help_of(before + name)) for name in inside]
                formatter.write_dl(told)


def help_of(name: str) -> str:
    """Give a command's help, from its source."""
    module, function = _place(name)
    return _docstrings(module)[function]


def _place(name: str) -> tuple[str, str]:
    module, function = COMMANDS[command_names()[name]][name].split(":")
    return f"{__package__}.{module}", function


@cache
def _docstrings(module: str) -> dict[str, str]:
    spec = find_spec(module)
    source = spec.loader.get_source(module) if spec and spec.loader else ""  # type: ignore[attr-defined]
    return {
        node.name: (ast.get_docstring(node) or "").partition("\n\n")[0].replace("\n", " ")
        for node in ast.parse(source or "").body
        if isinstance(node, ast.FunctionDef)
    }


def _new(**how: Any) -> typer.Typer:
    return typer.Typer(add_completion=False, pretty_exceptions_enable=False, rich_markup_mode=None, **how)


def _command(name: str) -> Any:
    module, function = _place(name)
    one = _new()
    settings = {"ignore_unknown_options": name in _NUMBERS}
    one.command(name.split(" ")[-1], context_settings=settings)(getattr(importlib.import_module(module), function))
    return typer.main.get_command(one)


def _group(name: str) -> Any:
    group = _new(cls=Later, no_args_is_help=True, help=GROUPS[name])
    group.callback()(_nothing)
    return typer.main.get_command(group)


def _nothing() -> None:
    """A group does nothing of itself."""


app = typer.Typer(
    cls=Later,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="A photo-based cure and batch quality journal for cold-process soap. Every command takes --json. "
    "Exit codes: 0 done; 1 refused: it says why and what is safe; 2 mistyped; 3 no colour could be measured.",
)


def _say_version(asked: bool) -> None:
    if asked:
        print(f"curejournal {version('curejournal')}")
        raise typer.Exit


@app.callback()
def every_command(
    url: Annotated[
        str | None,
        typer.Option("--url", envvar=DATABASE_URL, help="The journal's database, if it is on a PostgreSQL server."),
    ] = None,
    _version: Annotated[
        bool, typer.Option("--version", callback=_say_version, is_eager=True, help="Say the version and end.")
    ] = False,
) -> None:
    """Take what stands before every command."""
    if url:
        os.environ[DATABASE_URL] = url
