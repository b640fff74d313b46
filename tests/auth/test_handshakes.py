"""TLS handshakes that are begun and left, over real sockets: they are closed, and nobody else is kept waiting."""

from __future__ import annotations

import asyncio
import socket
import ssl
import threading
import time
from collections.abc import Iterator

import pytest
import trustme

from curejournal.auth import handshakes

HANDSHAKE_S = 2.0
AUTHORITY = trustme.CA()


class Repeats(asyncio.Protocol):
    """Says what it is told."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self.transport = transport

    def data_received(self, data: bytes) -> None:
        self.transport.write(data)  # type: ignore[attr-defined]


@pytest.fixture
def port(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """The port of a server whose handshakes are bounded, more tightly than the app's own."""
    for name, value in {"HANDSHAKE_S": HANDSHAKE_S, "MOST_OF_ONE": 20, "MOST_IN_ALL": 30}.items():
        monkeypatch.setattr(handshakes, name, value)
    monkeypatch.setattr(handshakes.Handshake, "_open", [])
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    AUTHORITY.issue_cert("127.0.0.1").configure_cert(context)
    loop = handshakes._Loop()
    server = loop.run_until_complete(loop.create_server(Repeats, "127.0.0.1", 0, ssl=context))
    thread = threading.Thread(target=loop.run_forever)
    thread.start()
    yield server.sockets[0].getsockname()[1]
    loop.call_soon_threadsafe(loop.stop)
    thread.join(10)
    server.close()
    loop.close()


def begin(port: int, said: bytes = b"", source: str = "127.0.0.1") -> socket.socket:
    line = socket.create_connection(("127.0.0.1", port), timeout=15, source_address=(source, 0))
    line.sendall(said)
    return line


def hello() -> bytes:
    """What a browser says first."""
    out = ssl.MemoryBIO()
    talk = ssl.create_default_context().wrap_bio(ssl.MemoryBIO(), out, server_hostname="127.0.0.1")
    with pytest.raises(ssl.SSLWantReadError):
        talk.do_handshake()
    return out.read()


def repeated(port: int, words: bytes, source: str = "127.0.0.1") -> bytes:
    context = ssl.create_default_context()
    AUTHORITY.configure_trust(context)
    with context.wrap_socket(begin(port, source=source), server_hostname="127.0.0.1") as line:
        line.sendall(words)
        return line.recv(len(words))


def test_a_whole_handshake_leads_on(port: int) -> None:
    assert repeated(port, b"soap") == b"soap"


def test_what_is_said_in_one_breath_with_the_handshake_is_heard(port: int) -> None:
    context = ssl.create_default_context()
    AUTHORITY.configure_trust(context)
    coming, going = ssl.MemoryBIO(), ssl.MemoryBIO()
    talk = context.wrap_bio(coming, going, server_hostname="127.0.0.1")
    with begin(port) as line:
        while True:
            try:
                talk.do_handshake()
                break
            except ssl.SSLWantReadError:
                line.sendall(going.read())
                coming.write(line.recv(65536))
        talk.write(b"soap")
        line.sendall(going.read())  # the handshake's end and the words
        heard = b""
        while not heard:
            coming.write(line.recv(65536))
            try:
                heard = talk.read()
            except ssl.SSLWantReadError:
                continue
    assert heard == b"soap"


@pytest.mark.parametrize(
    "said", [b"", hello()[:40], hello(), b"GET / HTTP/1.1\r\n\r\n"], ids=["nothing", "part", "hello", "not TLS"]
)
def test_one_that_is_left_is_closed_in_time(said: bytes, port: int) -> None:
    with begin(port, said) as line:
        begun = time.monotonic()
        try:
            while line.recv(65536):
                pass
        except ConnectionError:
            pass
        assert time.monotonic() - begun < HANDSHAKE_S + 5


@pytest.mark.parametrize("sources", [1, 10])
def test_many_that_are_left_keep_nobody_waiting(sources: int, port: int) -> None:
    left = [begin(port, hello(), f"127.0.1.{1 + number % sources}") for number in range(200)]
    begun = time.monotonic()
    assert repeated(port, b"soap", "127.0.0.2") == b"soap"
    assert repeated(port, b"soap", "127.0.1.1") == b"soap", "the oldest gave way, so that this one has room"
    assert time.monotonic() - begun < HANDSHAKE_S, "before the first was given up"
    assert len(handshakes.Handshake._open) <= 31
    for line in left:
        line.close()
