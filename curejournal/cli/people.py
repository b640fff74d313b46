"""Who may sign in where the app is served to a network."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from curejournal.auth.people import People, Person
from curejournal.base.messages import join, msg
from curejournal.cli.options import DEFAULT_JOURNAL, AsJson, JournalAt, Mistyped, open_journal, print_json
from curejournal.cli.speech import tell, tell_all

Name = Annotated[str, typer.Argument(help="The person's name: it stands under what they enter.")]


def add(
    name: Name,
    read_only: Annotated[bool, typer.Option("--read-only", help="They may look, not enter anything.")] = False,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Let a person sign in, or give one another passphrase or other rights; asks for it twice, or reads a line."""
    with open_journal(journal):
        pass  # where no journal can be, nobody needs to sign in
    people = People(journal)
    known = people.find(name)
    person = people.add(name, _passphrase(), reads_only=read_only)
    if as_json:
        print_json({"name": person.name, "reads_only": person.reads_only, "was_known": known is not None})
    else:
        told = [_may(person)]
        if known:
            told.append(msg("Sessions with the earlier passphrase have ended."))
        tell(join(" ", told))


def _may(person: Person) -> str:
    if person.reads_only:
        return msg("{name} may read.", name=person.name)
    return msg("{name} may read and write.", name=person.name)


def _passphrase() -> str:
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    typed: str = typer.prompt("Passphrase", hide_input=True)
    if typer.prompt("The same again", hide_input=True) != typed:
        raise Mistyped(msg("The two passphrases differ."), msg("Try again."))
    return typed


def list_people(journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False) -> None:
    """List who may sign in, and who only to read."""
    people = People(journal).all()
    if as_json:
        print_json([{"name": person.name, "reads_only": person.reads_only} for person in people])
    else:
        tell_all(_may(person) for person in people)


def remove(name: Name, journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False) -> None:
    """Let a person sign in no longer; their sessions end, their entries stay."""
    People(journal).remove(name)
    if as_json:
        print_json({"removed": name})
    else:
        tell(msg("{name} may sign in no longer.", name=name))
