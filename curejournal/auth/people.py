"""Who may sign in: names, rights, and what proves a passphrase; in a file beside the ledger that never leaves it."""

from __future__ import annotations

import os
import secrets
import unicodedata
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from pydantic import TypeAdapter, ValidationError

from curejournal.auth.second_factor import SecondFactor
from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg
from curejournal.journal.errors import in_plain_words
from curejournal.journal.files import make_folder, written_whole
from curejournal.journal.text import plain_text

FILE = "people.json"
"""Its name in a journal's folder. Backups, exports and bundles are made of ledger and photos, so it is in none."""

SHORTEST = 15
"""Characters of a passphrase that stands alone (NIST SP 800-63B-4, 3.1.1.2; from memory)."""
LONGEST = 256
"""Characters; more than anybody types, few enough to hash. Ours."""
DIFFERENT = 5
"""Different characters, so that it is no key held down. Ours."""

GUESSES = 10**10
"""What a guesser who begins with the most common ones needs at least, by the estimate of zxcvbn, whose best score
begins there (Wheeler 2016, USENIX Security, "zxcvbn: low-budget password strength estimation"; from memory)."""
_ESTIMATED = 72  # characters that zxcvbn takes: beyond, its time grows with the square of the length

# RFC 9106, the second recommended option: 64 MiB, three passes; the library's own default, stated to stay.
_HASHER = PasswordHasher(time_cost=3, memory_cost=65536, parallelism=4)


class PassphraseWeak(CureJournalError):
    """A passphrase that could be guessed."""


class NoSuchPerson(CureJournalError):
    """Nobody of this name may sign in."""


class PeopleUnreadable(CureJournalError):
    """The list of people is damaged, or others on this computer can read it."""


@dataclass(frozen=True)
class Person:
    """Someone who may sign in; `proof` is the hash of the passphrase, salt and cost included.

    With a `second` factor, a code is asked for beside the passphrase.
    """

    name: str
    proof: str = field(repr=False)
    reads_only: bool = False
    second: SecondFactor | None = None


_LIST = TypeAdapter(tuple[Person, ...])


@cache
def _nobody() -> Person:
    """Verified for a name that is not known, which then takes as long as one that is."""
    return Person("", _HASHER.hash(secrets.token_hex()))


class People:
    """The people of a journal, as they stand in its folder now.

    Parameters
    ----------
    folder : Path
        The journal's folder.
    """

    def __init__(self, folder: Path) -> None:
        self._file = folder / FILE
        self._seen: tuple[object, tuple[Person, ...]] = (None, ())
        self._nobody = _nobody()

    def all(self) -> tuple[Person, ...]:
        """Everyone who may sign in, by name; read again whenever the file was changed.

        Raises
        ------
        PeopleUnreadable
        """
        with in_plain_words(self._file.parent):
            try:
                found = self._file.stat()
            except FileNotFoundError:
                return ()
            stamp = (found.st_ino, found.st_mtime_ns, found.st_size, found.st_mode)
            if stamp != self._seen[0]:
                if os.name != "nt" and found.st_mode & 0o077:
                    raise PeopleUnreadable(
                        msg("Others on this computer can read {file}.", file=self._file),
                        msg("Take that right away: chmod 600 {file}", file=self._file),
                        msg("The journal is not touched; nobody can sign in until then."),
                    )
                self._seen = (stamp, self._read())
        return self._seen[1]

    def _read(self) -> tuple[Person, ...]:
        try:
            return _LIST.validate_json(self._file.read_bytes())
        except ValidationError as fault:
            raise PeopleUnreadable(
                msg("The list of people {file} is damaged.", file=self._file),
                msg("Remove it, and add each person again: curejournal people add NAME."),
                msg("The journal is not touched; nobody can sign in until then."),
            ) from fault

    def find(self, name: str) -> Person | None:
        """A person by name, in capitals or not, with more spaces or fewer."""
        return next((person for person in self.all() if name_key(person.name) == name_key(name)), None)

    def add(self, name: str, passphrase: str, *, reads_only: bool = False) -> Person:
        """Let a person sign in; one who could already has this passphrase and these rights from now on.

        Raises
        ------
        PassphraseWeak
        EntryRefused
            If the name is none.
        """
        name = plain_text(name, "person", 80)
        known = self.find(name)
        proof = _HASHER.hash(_strong(passphrase, name))
        person = Person(name, proof, reads_only, known.second if known else None)
        self._write((*self._without(name), person))
        return person

    def known(self, name: str) -> Person:
        """A person who may sign in.

        Raises
        ------
        NoSuchPerson
        """
        person = self.find(name)
        if person is None:
            raise NoSuchPerson(
                msg("Nobody called {name} may sign in.", name=name), msg("curejournal people list shows who may.")
            )
        return person

    def remove(self, name: str) -> None:
        """Let a person sign in no longer.

        Raises
        ------
        NoSuchPerson
        """
        self.known(name)
        self._write(self._without(name))

    def set_second(self, name: str, second: SecondFactor | None) -> None:
        """Ask a person for a second factor from now on, or no longer.

        Raises
        ------
        NoSuchPerson
        """
        person = replace(self.known(name), second=second)
        self._write((*self._without(name), person))

    def verify(self, name: str, passphrase: str) -> Person | None:
        """The person of this name and passphrase; None, after the same time, if either is wrong."""
        person = self.find(name) or self._nobody
        try:
            _HASHER.verify(person.proof, _composed(passphrase[: LONGEST + 1]))
        except (VerificationError, InvalidHashError):
            return None
        return person if person is not self._nobody else None

    def _without(self, name: str) -> tuple[Person, ...]:
        return tuple(person for person in self.all() if name_key(person.name) != name_key(name))

    def _write(self, people: tuple[Person, ...]) -> None:
        ordered = tuple(sorted(people, key=lambda person: name_key(person.name)))
        with in_plain_words(self._file.parent):
            make_folder(self._file.parent)
            with written_whole(self._file, 0o600) as file:
                file.write(_LIST.dump_json(ordered, indent=1))


def name_key(name: str) -> str:
    """What two spellings of one person's name have in common: tries are counted by it, and people are found by it."""
    return unicodedata.normalize("NFC", join(" ", unicodedata.normalize("NFKC", name).casefold().split()))


def _composed(passphrase: str) -> str:
    # Keyboards compose letters differently; what looks the same is the same.
    return unicodedata.normalize("NFKC", passphrase)


def _strong(passphrase: str, name: str) -> str:
    composed = _composed(passphrase)
    told = ""
    if len(composed) < SHORTEST:
        told = msg(
            "It has {composed} characters; at least {shortest} are needed.", composed=len(composed), shortest=SHORTEST
        )
    elif len(composed) > LONGEST:
        told = msg(
            "It has {composed} characters; at most {longest} can be used.", composed=len(composed), longest=LONGEST
        )
    elif len(set(composed.casefold().replace(name.casefold(), ""))) < DIFFERENT:
        told = msg("Apart from the name it has fewer than {different} different characters.", different=DIFFERENT)
    elif _is_common(composed, name):
        told = msg(
            "Others use it, or words that are guessed first: a list of common passphrases, sayings or keys has them."
        )
    if told:
        raise PassphraseWeak(
            msg("This passphrase does not do. {told}", told=told),
            msg("Take four or more words that do not belong together."),
        )
    return composed


@cache
def _common_phrases() -> frozenset[str]:
    lines = Path(__file__).with_name("common_phrases.txt").read_text("utf-8").splitlines()
    return frozenset(line for line in lines if not line.startswith("#"))


def _is_common(passphrase: str, name: str) -> bool:
    letters = "".join(sign for sign in passphrase.casefold() if sign.isalnum())
    if any(phrase in letters and len(letters) - len(phrase) < SHORTEST for phrase in _common_phrases()):
        return True
    from zxcvbn import zxcvbn  # its lists of words, for those alone who set a passphrase

    guesses = zxcvbn(passphrase[:_ESTIMATED], user_inputs=[name, *name.split()])["guesses"]
    return bool(guesses < GUESSES)
