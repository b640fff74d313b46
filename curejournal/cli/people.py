"""Who may sign in where the app is served to a network."""

from __future__ import annotations

import sys
import time
from typing import Annotated

import segno
import typer

from curejournal.auth.people import People, Person
from curejournal.auth.second_factor import (
    SecondFactor,
    fits_now,
    new_recovery_codes,
    new_secret,
    recovery_hash,
    uri,
)
from curejournal.base.messages import join, msg
from curejournal.cli.options import DEFAULT_JOURNAL, AsJson, JournalAt, Mistyped, open_journal, print_json
from curejournal.cli.speech import said, tell, tell_all

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
        print_json(
            [{"name": one.name, "reads_only": one.reads_only, "asks_code": one.second is not None} for one in people]
        )
    else:
        tell_all(_may(person) for person in people)


def remove(name: Name, journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False) -> None:
    """Let a person sign in no longer; their sessions end, their entries stay."""
    People(journal).remove(name)
    if as_json:
        print_json({"removed": name})
    else:
        tell(msg("{name} may sign in no longer.", name=name))


def second_factor(
    name: Name,
    off: Annotated[bool, typer.Option("--off", help="Ask for none any longer.")] = False,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Ask a person for a code of an authenticator app at each sign-in; shows what to scan, and codes for paper."""
    people = People(journal)
    person = people.known(name)
    recovery: tuple[str, ...] = ()
    if not off:
        secret = new_secret()
        address = uri(secret, person.name)
        out = sys.stderr if as_json else sys.stdout
        tell(msg("Scan this with an authenticator app on the phone of {name}:", name=person.name), to=out)
        segno.make(address).terminal(out=out, compact=True)
        print(f"{secret}\n{address}", file=out, flush=True)
        if not fits_now(secret, _line(said(msg("The code that the app shows now"))), time.time()):
            raise Mistyped(
                msg("This is not the code that the app should show: nothing was changed."),
                msg("Set the phone’s clock and this computer’s to the right time, and try again."),
            )
        recovery = new_recovery_codes()
    people.set_second(name, SecondFactor(secret, tuple(map(recovery_hash, recovery))) if recovery else None)
    if as_json:
        print_json({"name": person.name, "asks_code": bool(recovery), "recovery_codes": list(recovery)})
    elif off:
        tell(msg("{name} is asked for no code any longer. Earlier sessions have ended.", name=person.name))
    else:
        tell(msg("{name} is asked for a code from now on. Earlier sessions have ended.", name=person.name))
        tell(msg("Write these down, on paper: each lets {name} in once if the phone is lost.", name=person.name))
        print("\n".join(recovery))


def _line(prompt: str) -> str:
    if not sys.stdin.isatty():
        return sys.stdin.readline()
    typed: str = typer.prompt(prompt)
    return typed
