"""Half requests, over real sockets: what stands still is closed, and nobody else is kept waiting."""

from __future__ import annotations

import http.client
import logging
import socket
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest
import uvicorn

from curejournal.auth import connections
from curejournal.auth.connections import BoundedConnection, OncePerMinute
from curejournal.auth.request_filter import RequestFilter
from tests.auth.asking import POLICY

HALF = b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: "
HEADER_S, BODY_S, LINGER_S = 1.5, 1.5, 0.5


async def reads_bodies(scope: Any, receive: Any, send: Any) -> None:
    """An app that reads the body at /read, and refuses it elsewhere."""
    more = scope["path"] == "/read"
    while more:
        message = await receive()
        more = message["type"] == "http.request" and message["more_body"]
    await send(
        {"type": "http.response.start", "status": 200 if scope["path"] in {"/", "/read"} else 403, "headers": []}
    )
    await send({"type": "http.response.body", "body": b"the journal"})


@pytest.fixture
def port(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """The port of a server with bounded connections and short times."""
    for name, value in {"HEADER_S": HEADER_S, "BODY_S": BODY_S, "LINGER_S": LINGER_S}.items():
        monkeypatch.setattr(connections, name, value)
    monkeypatch.setattr(BoundedConnection, "most_of_one", 20)
    monkeypatch.setattr(BoundedConnection, "_open", [])
    app = RequestFilter(reads_bodies, ["127.0.0.1"], POLICY)
    config = uvicorn.Config(app, http=BoundedConnection, lifespan="off", log_config=None, timeout_graceful_shutdown=1)
    server = uvicorn.Server(config)
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        thread = threading.Thread(target=server.run, args=([listening],))
        thread.start()
        while not server.started:
            time.sleep(0.01)
        yield listening.getsockname()[1]
        server.should_exit = True
        thread.join(20)


def begin(port: int, data: bytes, source: str = "127.0.0.1") -> socket.socket:
    line = socket.create_connection(("127.0.0.1", port), timeout=15, source_address=(source, 0))
    line.sendall(data)
    return line


def seconds_until_closed(line: socket.socket, trickle: bytes = b"") -> float:
    begun = time.monotonic()
    line.settimeout(0.2)
    while time.monotonic() - begun < 12:
        try:
            if trickle:
                line.sendall(trickle)
            if line.recv(65536) == b"":
                break
        except TimeoutError:
            continue
        except OSError:
            break
    else:
        pytest.fail("it was never closed")
    return time.monotonic() - begun


def asked(port: int, source: str = "127.0.0.1") -> int:
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=15, source_address=(source, 0))
    line.request("GET", "/")
    answer = line.getresponse()
    answer.read()
    line.close()
    return answer.status


def test_the_server_does_not_say_what_program_it_is(port: int) -> None:
    for wait in (0, 1.5):  # it writes its headers again each second
        time.sleep(wait)
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=15)
        line.request("GET", "/")
        answer = line.getresponse()
        assert answer.status == 200
        assert "server" not in answer.headers
        line.close()


@pytest.mark.parametrize("begun", [b"", b"G", HALF])
@pytest.mark.parametrize("trickle", [b"", b"x"])
def test_headers_that_do_not_come_in_time_are_not_waited_for(begun: bytes, trickle: bytes, port: int) -> None:
    with begin(port, begun) as line:
        assert seconds_until_closed(line, trickle) > HEADER_S / 2


def test_a_second_request_is_not_waited_for_either(port: int) -> None:
    with begin(port, HALF + b"\r\n\r\n") as line:
        assert line.recv(65536).startswith(b"HTTP/1.1 200")
        line.sendall(HALF)
        seconds_until_closed(line, b"x")


@pytest.mark.parametrize("trickle", [b"", b"x"])
def test_a_body_that_does_not_come_on_is_not_waited_for(trickle: bytes, port: int) -> None:
    head = b"POST /read HTTP/1.1\r\nHost: 127.0.0.1\r\nOrigin: http://127.0.0.1\r\nContent-Length: 1000000\r\n\r\n"
    with begin(port, head) as line:
        assert seconds_until_closed(line, trickle) > BODY_S / 2


def test_a_long_body_that_comes_on_is_read_to_its_end(port: int) -> None:
    head = b"POST /read HTTP/1.1\r\nHost: 127.0.0.1\r\nOrigin: http://127.0.0.1\r\nContent-Length: 600000\r\n\r\n"
    with begin(port, head) as line:
        for _ in range(12):
            line.sendall(b"x" * 50_000)
            time.sleep(2.5 * BODY_S / 12)
        assert line.recv(65536).startswith(b"HTTP/1.1 200")


@pytest.mark.parametrize("origin", [b"", b"Origin: http://127.0.0.1\r\n"])
def test_a_refused_body_is_not_read_to_its_end(origin: bytes, port: int) -> None:
    size = 200_000_000
    line = begin(port, b"PUT /x HTTP/1.1\r\nHost: 127.0.0.1\r\n" + origin + b"Content-Length: %d\r\n\r\n" % size)
    with line:
        assert line.recv(12) == b"HTTP/1.1 403"
        sent = 0
        with pytest.raises(OSError):
            while sent < size:
                sent += line.send(b"x" * 65536)
        assert sent < 20_000_000


def test_half_requests_of_one_address_keep_nobody_waiting(port: int) -> None:
    lines = [begin(port, HALF) for _ in range(60)]
    begun = time.monotonic()
    assert asked(port, "127.0.0.2") == 200
    assert asked(port) == 200, "the oldest gave way, so that this one has room"
    assert time.monotonic() - begun < HEADER_S, "before the first was given up"
    assert len([one for one in BoundedConnection._open if not one.transport.is_closing()]) <= 21
    for line in lines:
        line.close()


def test_what_is_no_request_is_answered_with_the_security_headers(port: int) -> None:
    with begin(port, b"\x00\x01\r\n\r\n") as line:
        answer = line.recv(65536).lower()
    assert answer.startswith(b"http/1.1 400")
    assert b"x-content-type-options: nosniff" in answer
    assert b"content-security-policy" in answer


def test_many_alike_are_one_line_of_the_log() -> None:
    now, written = [0.0], []
    log = logging.getLogger("tests.once")
    log.addFilter(OncePerMinute(lambda: now[0]))
    handler = logging.Handler()
    handler.emit = lambda record: written.append(record.getMessage())  # type: ignore[method-assign]
    log.addHandler(handler)
    for _ in range(1100):
        log.warning("Invalid HTTP request received.")
    log.warning("another %s", "one")
    now[0] = 61.0
    log.warning("Invalid HTTP request received.")
    assert written == [
        "Invalid HTTP request received.",
        "another one",
        "Invalid HTTP request received. (1099 more like this since)",
    ]
