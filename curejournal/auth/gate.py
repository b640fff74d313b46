"""The gate before the app: nothing of it is given to anybody who is not signed in.

It stands at the level of the protocol (ASGI), so that pages, static files, photos, uploads and the websocket are
all behind it, whatever the app adds. Before it stands a `RequestFilter`: what another site sends does not reach it.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs, quote

from curejournal.auth import enrolment, pages
from curejournal.auth.asgi import (
    POLICY_VIOLATED,
    App,
    Message,
    Receive,
    Scope,
    Send,
    answer,
    form_of,
    headers_of,
    refuse_websocket,
)
from curejournal.auth.people import Person
from curejournal.auth.sessions import LONGEST_S, Keeper, TooManyTries
from curejournal.base.errors import CureJournalError

NAME_HEADER, RIGHTS_HEADER = "x-curejournal-name", "x-curejournal-rights"
"""What the app is told of who asks. Whatever a browser says under such names is taken away."""
READS, WRITES = "reads", "writes"

WRONG = "The name or the passphrase is wrong."
WRONG_WITH_CODE = "The name, the passphrase or the code is wrong, or the code was used before."
UNREADABLE = "Nobody can sign in now: the list of people, or of codes that were used, cannot be read or written."
LOOK_S = 1.0
"""How often an open page is looked at, whether its session still goes on. Ours."""
UPLOADS = "/_stcore/upload_file"


@dataclass(frozen=True)
class AppTalk:
    """What the gate must know of the app's own talk over the websocket.

    `opened` gives the name of the app's session that a message opens, if it opens one; `away` is a message
    that sends the browser to the sign-in page.
    """

    opened: Callable[[bytes], str | None]
    away: bytes


class Gate:
    """An ASGI app around another.

    Parameters
    ----------
    app
        What is behind it.
    keeper : Keeper
        Who is signed in.
    secure : bool
        Whether browsers reach it by TLS, be it that of a proxy.
    talk : AppTalk
        What to know of the app.
    """

    def __init__(self, app: App, keeper: Keeper, *, secure: bool, talk: AppTalk) -> None:
        self._app, self._keeper, self._secure, self._talk = app, keeper, secure, talk
        # The prefix binds it to this host and to TLS (RFC 6265bis, 4.1.3.2).
        self._cookie = "__Host-curejournal" if secure else "curejournal"
        self._enrolment = enrolment.Enrolment(keeper, readable=not secure)
        self._opened: dict[str, str] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or let it through."""
        if scope["type"] == "http":
            await self._http(scope, receive, send)
        elif scope["type"] == "websocket":
            await self._websocket(scope, receive, send)
        else:
            await self._app(scope, receive, send)

    async def _http(self, scope: Scope, receive: Receive, send: Send) -> None:
        path = scope["path"]
        token = self._token(scope)
        person = self._keeper.who(token)
        if path == "/sign-in":
            await self._sign_in(scope, receive, send, token)
        elif person is None and _is_page(scope):
            await answer(send, 303, "", {"location": f"/sign-in?to={quote(_asked(scope), safe='')}"})
        elif person is None:
            await answer(send, 401, pages.refusal("Sign in first."))
        elif path == "/sign-out":
            await self._sign_out(scope, receive, send, token, person)
        elif path == enrolment.PATH:
            await self._enrolment(scope, receive, send, token, person)
        elif person.reads_only and path.startswith(UPLOADS):
            await answer(send, 403, pages.refusal(f"{person.name} may read this journal, not write in it."))
        else:
            await self._app(_told(scope, person), receive, send)

    async def _sign_in(self, scope: Scope, receive: Receive, send: Send, token: str) -> None:
        asked = parse_qs(scope.get("query_string", b"").decode("latin-1"))
        if scope["method"] != "POST":
            await self._ask(send, 200, asked.get("to", ["/"])[0])
            return
        form = await form_of(receive)
        to = form.get("to", "/")
        client = scope.get("client") or ("unknown", 0)
        try:
            name, passphrase = form.get("name", ""), form.get("passphrase", "")
            typed = (name, passphrase, client[0], form.get("code", ""))
            begun = await asyncio.to_thread(self._keeper.sign_in, *typed)
            wrong = WRONG_WITH_CODE if self._keeper.asks_codes() else WRONG
        except TooManyTries as fault:
            await self._ask(send, 429, to, f"{fault.what} {fault.do}")
            return
        except (CureJournalError, OSError):
            await self._ask(
                send,
                503,
                to,
                UNREADABLE,
            )
            return
        if begun is None:
            await self._ask(send, 403, to, wrong)
            return
        self._keeper.sign_out(token)
        await answer(send, 303, "", {"location": _own_path(to), "set-cookie": self._set_cookie(begun, LONGEST_S)})

    async def _ask(self, send: Send, status: int, to: str, wrong: str = "") -> None:
        with_code = False
        with suppress(CureJournalError):  # told once somebody tries to sign in
            with_code = self._keeper.asks_codes()
        shown = pages.sign_in(_own_path(to), wrong=wrong, readable=not self._secure, with_code=with_code)
        await answer(send, status, shown)

    async def _sign_out(self, scope: Scope, receive: Receive, send: Send, token: str, person: Person) -> None:
        if scope["method"] == "POST":
            if (await form_of(receive)).get("everywhere"):
                self._keeper.sign_out_everywhere(person)
            self._keeper.sign_out(token)
            await answer(send, 303, "", {"location": "/sign-in", "set-cookie": self._set_cookie("", 0)})
        else:
            await answer(send, 200, pages.sign_out(person.name, self._signed_in(person)))

    def _signed_in(self, person: Person) -> list[tuple[str, str]]:
        def shown(seconds: float) -> str:
            return datetime.fromtimestamp(seconds).astimezone().strftime("%Y-%m-%d %H:%M")

        return [(shown(one.used), one.address) for one in self._keeper.sessions_of(person)]

    async def _websocket(self, scope: Scope, receive: Receive, send: Send) -> None:
        token = self._token(scope)
        person = self._keeper.who(token)
        if person is None:
            await refuse_websocket(scope, send, pages.refusal("Sign in first."))
            return
        line = _Line(self, token, receive, send)
        try:
            await self._app(self._own_session(_told(scope, person), token), line.hear, line.say)
        finally:
            line.done()

    def _own_session(self, scope: Scope, token: str) -> Scope:
        """Leave out the app's session that a page wants to go on with, unless it was opened by the same sign-in.

        Otherwise what one person left half done on a shared device would be finished with another's rights.
        """

        def own(value: bytes) -> bytes:
            entries = value.decode("latin-1").split(",")
            same = len(entries) > 2 and self._opened.get(entries[2].strip()) == token
            return ",".join(entries if same else entries[:2]).encode("latin-1")

        name = b"sec-websocket-protocol"
        scope["headers"] = [(key, own(value) if key == name else value) for key, value in scope["headers"]]
        return scope

    def note_opened(self, session: str, token: str) -> None:
        """Remember by which sign-in a session of the app was opened."""
        self._opened = {
            known: by for known, by in self._opened.items() if self._keeper.who(by, acts=False) is not None
        } | {session: token}

    @property
    def keeper(self) -> Keeper:
        """Who is signed in."""
        return self._keeper

    @property
    def talk(self) -> AppTalk:
        """What is known of the app."""
        return self._talk

    def _token(self, scope: Scope) -> str:
        try:
            found = SimpleCookie("; ".join(headers_of(scope, b"cookie"))).get(self._cookie)
        except CookieError:
            return ""
        return found.value if found else ""

    def _set_cookie(self, token: str, seconds: int) -> str:
        kept = f"{self._cookie}={token}; Path=/; Max-Age={seconds}; HttpOnly; SameSite=Strict"
        return kept + "; Secure" * self._secure


class _Line:
    """A websocket that is cut as soon as its session ends."""

    def __init__(self, gate: Gate, token: str, receive: Receive, send: Send) -> None:
        self._gate, self._token, self._receive, self._send = gate, token, receive, send
        self._accepted = self._cut = False
        self._over = asyncio.create_task(self._until_over())

    def done(self) -> None:
        self._over.cancel()

    async def _until_over(self) -> None:
        while self._gate.keeper.who(self._token, acts=False) is not None:
            await asyncio.sleep(LOOK_S)

    async def hear(self) -> Message:
        heard = asyncio.ensure_future(self._receive())
        await asyncio.wait({heard, self._over}, return_when=asyncio.FIRST_COMPLETED)
        if heard.done():
            message = heard.result()
            if message["type"] != "websocket.receive" or self._gate.keeper.who(self._token) is not None:
                return message
        heard.cancel()
        await self._cut_off()
        return {"type": "websocket.disconnect", "code": POLICY_VIOLATED}

    async def _cut_off(self) -> None:
        self._cut = True
        if self._accepted:
            await self._send({"type": "websocket.send", "bytes": self._gate.talk.away})
        await self._send({"type": "websocket.close", "code": POLICY_VIOLATED})

    async def say(self, message: Message) -> None:
        if self._cut or (self._over.done() and message["type"] == "websocket.send"):
            return
        self._accepted |= message["type"] == "websocket.accept"
        data = message.get("bytes")
        session = self._gate.talk.opened(data) if data else None
        if session:
            self._gate.note_opened(session, self._token)
        await self._send(message)


def _is_page(scope: Scope) -> bool:
    return scope["method"] in {"GET", "HEAD"} and any("text/html" in kind for kind in headers_of(scope, b"accept"))


def _asked(scope: Scope) -> str:
    query = scope.get("query_string", b"").decode("latin-1")
    return quote(scope["path"]) + (f"?{query}" if query else "")


def _own_path(to: str) -> str:
    """A path on this server: nobody is sent anywhere else after the sign-in."""
    fits = to.startswith("/") and not to.startswith(("//", "/sign-", "/_stcore")) and to.isascii() and to.isprintable()
    return to if fits and "\\" not in to else "/"


def _told(scope: Scope, person: Person) -> Scope:
    kept = [(key, value) for key, value in scope["headers"] if not key.lower().startswith(b"x-curejournal-")]
    rights = READS if person.reads_only else WRITES
    told = [(NAME_HEADER.encode(), quote(person.name).encode()), (RIGHTS_HEADER.encode(), rights.encode())]
    return {**scope, "headers": [*kept, *told]}
