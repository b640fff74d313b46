"""Asking a gate without a server, as its protocol (ASGI) has it; and an app behind that tells what reached it."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

from curejournal.auth.asgi import App
from curejournal.auth.gate import AppTalk, Gate
from curejournal.auth.request_filter import RequestFilter
from curejournal.auth.sessions import Keeper

HOST = "192.0.2.7:8501"
ORIGIN = {"host": HOST, "origin": f"http://{HOST}"}
POLICY = "default-src 'self'"
AWAY = b"go to the sign-in page"


def _run(talk: Coroutine[Any, Any, None]) -> None:
    """Run a talk to its end in a thread of its own: a browser that tests drive keeps this one's loop busy."""
    with ThreadPoolExecutor(1) as aside:
        aside.submit(asyncio.run, talk).result()


@dataclass
class Behind:
    """An app that keeps what reached it; over a websocket it opens a session and repeats what it hears."""

    scopes: list[Any] = field(default_factory=list)
    heard: list[bytes] = field(default_factory=list)

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        self.scopes.append(scope)
        if scope["type"] == "http":
            await send({"type": "http.response.start", "status": 200, "headers": []})
            await send({"type": "http.response.body", "body": b"the journal"})
            return
        await receive()
        await send({"type": "websocket.accept"})
        await send({"type": "websocket.send", "bytes": b"opened " + str(len(self.scopes)).encode()})
        while (message := await receive())["type"] == "websocket.receive":
            self.heard.append(message["bytes"])
            await send({"type": "websocket.send", "bytes": b"heard"})

    def header(self, name: str) -> list[str]:
        """A header of the last request that reached it."""
        return [value.decode() for key, value in self.scopes[-1]["headers"] if key.decode().lower() == name]


def opened(data: bytes) -> str | None:
    return f"session-{data[7:].decode()}" if data.startswith(b"opened ") else None


def gate_around(behind: Behind, keeper: Keeper, *, secure: bool = False, hosts: Iterable[str] = ("192.0.2.7",)) -> App:
    """The gate with what stands before it."""
    return RequestFilter(Gate(behind, keeper, secure=secure, talk=AppTalk(opened, AWAY)), hosts, POLICY)


@dataclass(frozen=True)
class Answer:
    status: int
    headers: dict[str, str]
    text: str

    @property
    def cookie(self) -> str:
        return self.headers["set-cookie"].partition(";")[0]


def scope_of(kind: str, path: str, headers: Mapping[str, str], method: str = "GET", query: str = "") -> dict[str, Any]:
    raw = [(name.lower().encode(), value.encode("latin-1")) for name, value in headers.items()]
    client = ("192.0.2.50", 4711)
    scope = {"type": kind, "path": path, "query_string": query.encode(), "headers": raw, "client": client}
    return scope | ({"method": method} if kind == "http" else {})


def ask(
    gate: App,
    path: str,
    method: str = "GET",
    headers: Mapping[str, str] = ORIGIN,
    form: Mapping[str, str] | bytes = b"",
    query: str = "",
) -> Answer:
    sent: list[Any] = []
    body = form if isinstance(form, bytes) else urlencode(form).encode()

    async def receive() -> Any:
        return {"type": "http.request", "body": body, "more_body": False}

    async def send(message: Any) -> None:
        sent.append(message)

    _run(gate(scope_of("http", path, headers, method, query), receive, send))
    start, rest = sent[0], sent[1:]
    told = {name.decode().lower(): value.decode() for name, value in start["headers"]}
    return Answer(start["status"], told, b"".join(message.get("body", b"") for message in rest).decode())


def sign_in(gate: App, name: str, passphrase: str, headers: Mapping[str, str] = ORIGIN, to: str = "/") -> Answer:
    return ask(gate, "/sign-in", "POST", headers, {"name": name, "passphrase": passphrase, "to": to})


def talk(
    gate: App, headers: Mapping[str, str], said: Iterable[bytes | Any] = (), path: str = "/_stcore/stream"
) -> list[Any]:
    """All that a websocket is sent; callables among what is said are called at that moment."""
    sent: list[Any] = []

    async def run() -> None:
        coming: asyncio.Queue[Any] = asyncio.Queue()
        coming.put_nowait({"type": "websocket.connect"})

        async def send(message: Any) -> None:
            sent.append(message)

        talking = asyncio.create_task(gate(scope_of("websocket", path, headers), coming.get, send))
        for words in said:
            await asyncio.sleep(0.02)
            if callable(words):
                words()
            else:
                coming.put_nowait({"type": "websocket.receive", "bytes": words})
        await asyncio.sleep(0.02)
        coming.put_nowait({"type": "websocket.disconnect", "code": 1001})
        await asyncio.wait_for(talking, 10)

    _run(run())
    return sent
