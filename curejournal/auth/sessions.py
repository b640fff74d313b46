"""Tries to sign in, counted; and the sessions of those who did, which end."""

from __future__ import annotations

import hashlib
import secrets
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from curejournal.auth.addresses import network_of
from curejournal.auth.people import People, Person, name_key
from curejournal.auth.second_factor import SecondFactor, Spent, spend
from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg, msg_n
from curejournal.journal.errors import in_plain_words
from curejournal.journal.files import written_whole

IDLE_S = 12 * 3600
"""A session without anything done in it ends after this long: a day in the workshop. Ours."""
LONGEST_S = 7 * 24 * 3600
"""Every session ends after this long. Ours."""
MOST = 20
"""Sessions of one person at a time; the oldest ends when there is one more. Ours."""

WINDOW_S = 3600
LIMITS = {"address": 5, "name": 20, "all": 100}
"""Failed tries within an hour from one address, for one name, and in all. Ours: at 100 an hour, a passphrase of four
words of a list of 7,776 stands for millions of years, and one who mistypes has tries enough."""


class TooManyTries(CureJournalError):
    """No more tries to sign in for now."""


TRIES_FILE = "sign-in-tries.json"
"""Beside the list of people: a restart, or a crash that somebody caused, gives nobody new tries."""

SPENT_FILE = "sign-in-codes-used.json"
"""Beside it, by the hash of each name: no code counts twice, after a restart either."""
_SPENT = TypeAdapter(dict[str, Spent])
_TRIES = TypeAdapter(list[tuple[float, dict[str, str]]])


@dataclass(frozen=True)
class Session:
    """Where and since when a person is signed in.

    Parameters
    ----------
    person : Person
        Who.
    begun, used
        When it began and when something was last done in it, in seconds since 1970.
    address : str
        From where it was begun.
    """

    person: Person
    begun: float
    used: float
    address: str


class Keeper:
    """Lets people in and knows who is in. May be used by several threads.

    When the program ends, everybody is signed out; tries that failed are remembered.

    Parameters
    ----------
    people : People
        Who may sign in.
    clock : callable
        Seconds since 1970.
    folder : Path or None
        Where tries are kept; without, they are forgotten when the program ends.
    """

    def __init__(self, people: People, clock: Callable[[], float] = time.time, folder: Path | None = None) -> None:
        self._people, self._clock = people, clock
        self._file = folder / TRIES_FILE if folder else None
        self._spent_file = folder / SPENT_FILE if folder else None
        self._sessions: dict[str, Session] = {}
        self._tries = self._read_tries()
        self._spent = self._read_spent()
        self._lock, self._hashing = threading.Lock(), threading.Lock()

    @property
    def people(self) -> People:
        """Who may sign in."""
        return self._people

    def now(self) -> float:
        """Seconds since 1970."""
        return self._clock()

    def asks_codes(self) -> bool:
        """Whether anybody has a second factor, so that the sign-in page asks for a code."""
        return any(person.second for person in self._people.all())

    def sign_in(self, name: str, passphrase: str, address: str, code: str = "") -> str | None:
        """Begin a session; the token that proves it, or None if name, passphrase or code is wrong.

        Raises
        ------
        TooManyTries, CureJournalError
            See `proven`.
        """
        person = self.proven(name, passphrase, address, code)
        if person is None:
            return None
        token, now = secrets.token_urlsafe(32), self._clock()
        with self._lock:
            theirs = [key for key, session in self._sessions.items() if session.person.name == person.name]
            for key in theirs[: 1 - MOST]:
                del self._sessions[key]
            self._sessions[_key(token)] = Session(person, now, now, address)
        return token

    def proven(self, name: str, passphrase: str, address: str, code: str = "") -> Person | None:
        """Who proved who they are; None if name, passphrase or code is wrong, which is counted.

        Raises
        ------
        TooManyTries
            Without looking at the passphrase, so that nothing can be learnt of it.
        CureJournalError
            If it cannot be kept that a code was used.
        """
        # Not the name itself: it is kept in a file, and some type their passphrase there.
        hidden = hashlib.sha256(name_key(name).encode("utf-8", "surrogatepass")).hexdigest()[:8]
        mine = (self._clock(), {"address": network_of(address), "name": hidden, "all": ""})
        with self._lock:
            self._refuse_too_many(mine)
            # Counted before it is looked at: many at once are no way around the limit.
            self._tries.append(mine)
            self._write_tries()
        # One at a time: a hash takes 64 MiB.
        with self._hashing:
            person = self._people.verify(name, passphrase)
        if person is None:
            return None
        with self._lock:
            if person.second and not self._spend(person.second, hidden, code):
                return None
            self._tries.remove(mine)
            self._write_tries()
        return person

    def _read_tries(self) -> list[tuple[float, dict[str, str]]]:
        try:
            tries = _TRIES.validate_json(self._file.read_bytes()) if self._file else []
        except (OSError, ValidationError):
            return []  # damaged: whoever can do that can also read the list of people
        return [tried for tried in tries if tried[1].keys() == LIMITS.keys()]

    def _write_tries(self) -> None:
        if self._file:
            # On a full disk people can still sign in; then tries are counted until the program ends.
            with suppress(OSError, CureJournalError), written_whole(self._file, 0o600) as file:
                file.write(_TRIES.dump_json(self._tries))

    def _spend(self, factor: SecondFactor, hidden: str, code: str) -> bool:
        """Use a code, once; on the disk before anybody is let in by it."""
        before = self._all_spent()
        spent = spend(factor, code, self._clock(), before.get(hidden, Spent()))
        if spent is None:
            return False
        after = before | {hidden: spent}
        if self._spent_file:
            with in_plain_words(self._spent_file.parent), written_whole(self._spent_file, 0o600) as file:
                file.write(_SPENT.dump_json(after))
        self._spent = after
        return True

    def _all_spent(self) -> dict[str, Spent]:
        """What was used here, and at another server of the same journal."""
        kept = self._read_spent()
        both = {name: (self._spent.get(name, Spent()), kept.get(name, Spent())) for name in self._spent | kept}
        return {
            name: Spent(max(one.step, other.step), tuple(dict.fromkeys((*one.recovery, *other.recovery))))
            for name, (one, other) in both.items()
        }

    def _read_spent(self) -> dict[str, Spent]:
        try:
            return _SPENT.validate_json(self._spent_file.read_bytes()) if self._spent_file else {}
        except (OSError, ValidationError):
            return {}

    def _refuse_too_many(self, mine: tuple[float, dict[str, str]]) -> None:
        now, about = mine
        self._tries = [tried for tried in self._tries if abs(now - tried[0]) < WINDOW_S]
        for what, most in LIMITS.items():
            same = [tried for tried, others in self._tries if others[what] == about[what]]
            if len(same) >= most:
                minutes = (same[-most] + WINDOW_S - now) / 60
                raise TooManyTries(
                    msg("Too many tries to sign in failed."),
                    msg(
                        "Try again in {minutes}. Who is signed in stays so.",
                        minutes=msg_n("{number} minute", "{number} minutes", max(round(minutes + 0.5), 1)),
                    ),
                )

    def who(self, token: str, *, acts: bool = True) -> Person | None:
        """Whose session this is; None if it ended.

        It ends by itself, by signing out, and when the person was removed, has another passphrase or other rights.

        Parameters
        ----------
        token : str
            From `sign_in`.
        acts : bool
            Whether the person does something now, which keeps the session going.
        """
        key, now = _key(token), self._clock()
        with self._lock:
            session = self._sessions.get(key)
            if session is None:
                return None
            if not self._is_fresh(session) or not self._stands(session.person):
                del self._sessions[key]
                return None
            if acts:
                self._sessions[key] = replace(session, used=now)
        return session.person

    def _is_fresh(self, session: Session) -> bool:
        now = self._clock()
        return now - session.begun < LONGEST_S and now - session.used < IDLE_S

    def _stands(self, person: Person) -> bool:
        try:
            return self._people.find(person.name) == person
        except CureJournalError:
            return False

    def sessions_of(self, person: Person) -> tuple[Session, ...]:
        """Where a person is signed in, the session that was used last before the others."""
        with self._lock:
            theirs = [one for one in self._sessions.values() if one.person == person and self._is_fresh(one)]
        return tuple(sorted(theirs, key=lambda one: one.used, reverse=True))

    def sign_out(self, token: str) -> None:
        """End a session."""
        with self._lock:
            self._sessions.pop(_key(token), None)

    def sign_out_everywhere(self, person: Person) -> None:
        """End every session of a person."""
        with self._lock:
            self._sessions = {key: one for key, one in self._sessions.items() if one.person.name != person.name}


def _key(token: str) -> str:
    # What is compared is not what was sent, so that no time tells how much of it was right.
    return hashlib.sha256(token.encode("utf-8", "surrogateescape")).hexdigest()
