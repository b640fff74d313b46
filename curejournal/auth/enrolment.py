"""A second factor turned on and off from any browser: pages before the app, as the sign-in is, without a script."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field

import segno

from curejournal.auth import pages
from curejournal.auth.asgi import Receive, Scope, Send, answer, form_of
from curejournal.auth.people import Person
from curejournal.auth.second_factor import (
    SecondFactor,
    fits_now,
    new_recovery_codes,
    new_secret,
    recovery_hash,
    uri,
)
from curejournal.auth.sessions import Keeper, TooManyTries
from curejournal.base.errors import CureJournalError

PATH = "/second-factor"
WRONG = "The passphrase is wrong."
WRONG_WITH_CODE = "The passphrase or the code is wrong, or the code was used before."
WRONG_CODE = (
    "This is not the code that the app should show: nothing was changed. Set the phone’s clock to the right time, and "
    "try again."
)
TOO_LATE = "That took too long, or something was changed meanwhile: begin again."
NOT_KEPT = "This cannot be changed now: the list of people cannot be read or written."
WAITS_S = 900
"""Seconds for which what was shown waits for its first code: time to find an app and a pencil. Ours."""


@dataclass(frozen=True)
class _Shown:
    """What a session was shown and has not confirmed yet; it counts for nothing until then."""

    at: float
    secret: str = field(default_factory=new_secret, repr=False)
    recovery: tuple[str, ...] = field(default_factory=new_recovery_codes, repr=False)


class Enrolment:
    """The pages of those who are signed in.

    Parameters
    ----------
    keeper : Keeper
        Who is signed in. The passphrase is asked for again, since a device may lie open; a wrong one counts as a try.
    readable : bool
        Whether others on the network can read what is sent.
    """

    def __init__(self, keeper: Keeper, *, readable: bool) -> None:
        self._keeper, self._readable = keeper, readable
        self._shown: dict[str, _Shown] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send, token: str, person: Person) -> None:
        """Answer one who is signed in with this token."""
        form = await form_of(receive) if scope["method"] == "POST" else {}
        client = scope.get("client") or ("unknown", 0)
        try:
            if form.get("step") == "confirm":
                status, page = self._confirmed(token, person, form.get("code", ""))
            elif form:
                typed = (person.name, form.get("passphrase", ""), client[0], form.get("code", ""))
                proven = await asyncio.to_thread(self._keeper.proven, *typed)
                status, page = self._changed(token, person) if proven else (403, self._asked(person, _wrong(person)))
            else:
                status, page = 200, self._asked(person)
        except TooManyTries as fault:
            status, page = 429, self._asked(person, f"{fault.what} {fault.do}")
        except (CureJournalError, OSError):
            status, page = 503, self._asked(person, NOT_KEPT)
        if status == 303:
            await answer(send, status, "", {"location": "/sign-in?to=/people"})
        else:
            await answer(send, status, page)

    def _asked(self, person: Person, wrong: str = "") -> str:
        return pages.second_factor(person.name, is_on=person.second is not None, wrong=wrong, readable=self._readable)

    def _changed(self, token: str, person: Person) -> tuple[int, str]:
        """After the passphrase: turn it off, or show what to scan."""
        if person.second is not None:
            self._keeper.people.set_second(person.name, None)
            return 303, ""
        now = self._keeper.now()
        fresh = {key: one for key, one in self._shown.items() if now - one.at < WAITS_S}
        self._shown = fresh | {token: _Shown(now)}
        return 200, self._to_scan(person, self._shown[token])

    def _confirmed(self, token: str, person: Person, code: str) -> tuple[int, str]:
        shown, now = self._shown.get(token), self._keeper.now()
        if shown is None or now - shown.at >= WAITS_S or person.second is not None:
            return 403, self._asked(person, TOO_LATE)
        if not fits_now(shown.secret, code, now):
            return 403, self._to_scan(person, shown, WRONG_CODE)
        del self._shown[token]
        factor = SecondFactor(shown.secret, tuple(map(recovery_hash, shown.recovery)))
        self._keeper.people.set_second(person.name, factor)
        return 303, ""

    def _to_scan(self, person: Person, shown: _Shown, wrong: str = "") -> str:
        drawn = segno.make(uri(shown.secret, person.name)).svg_inline(scale=5, border=4, dark="#000", light="#fff")
        return pages.second_factor_to_scan(drawn, shown.secret, shown.recovery, wrong=wrong)


def _wrong(person: Person) -> str:
    return WRONG_WITH_CODE if person.second else WRONG
