"""Connections that are bounded in time and number, so that half requests do not keep the app from anybody else."""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import Callable
from typing import Any

import h11
from uvicorn.protocols.http import auto
from uvicorn.protocols.http.h11_impl import H11Protocol

from curejournal.auth.addresses import network_of
from curejournal.auth.asgi import SECURITY_HEADERS

HEADER_S = 10.0
"""A request's first line and headers must have come after this long. Ours: a phone needs a fraction of a second."""
BODY_S, BODY_BYTES = 20.0, 20_000
"""Of a body, so much must come in each such time: 1 kB/s. Ours: the poorest network that still carries a photo."""
LINGER_S = 1.0
"""How long an answer that refuses a body stands before the rest of the body is cut off. Ours."""
MOST_OF_ONE, MOST_IN_ALL = 100, 500
"""Connections of one address, and in all. Ours: a page opens up to seven, a process has at least 1,024 files."""
QUIET_S = 60.0
"""A line of the log is not repeated for so long. Ours."""

_LOG = logging.getLogger("uvicorn.error")


class BoundedConnection(H11Protocol):
    """A connection of the server that must go on: what stands still is closed."""

    _open: list[BoundedConnection] = []  # noqa: RUF012 - of this process, oldest first
    most_of_one = MOST_OF_ONE

    def __init__(self, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        # Nobody needs to know by what program and library the app is served.
        for named in (self.config.encoded_headers, self.server_state.default_headers):
            named[:] = [header for header in named if header[0] != b"server"]
        self._awaited: object = None
        self._timer: asyncio.TimerHandle | None = None
        self._received = 0
        self.network = ""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin, if there is room."""
        super().connection_made(transport)
        self.network = network_of(self.client[0]) if self.client else ""
        self._make_room()
        self._open.append(self)
        self._watch()

    def data_received(self, data: bytes) -> None:
        """Take what came, and look at what is awaited now."""
        self._received += len(data)
        super().data_received(data)
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        """End."""
        self._stop_watching()
        super().connection_lost(exc)

    def on_response_complete(self) -> None:
        """Go on with the next request, unless the body of this one was refused."""
        super().on_response_complete()
        if self.conn.their_state is h11.SEND_BODY and not self.transport.is_closing():
            self._stop_watching()
            self.flow.pause_reading()
            self._timer = self.loop.call_later(LINGER_S, self.transport.abort)

    def send_400_response(self, msg: str) -> None:
        """Answer what is no request, with the headers of every other answer."""
        if self.conn.our_state not in {h11.IDLE, h11.SEND_RESPONSE}:
            self.transport.abort()
            return
        own = {"content-type": "text/plain; charset=utf-8", "connection": "close", "content-security-policy": "sandbox"}
        headers = [(name.encode(), value.encode()) for name, value in (own | SECURITY_HEADERS).items()]
        for event in (
            h11.Response(status_code=400, headers=headers, reason=b"Bad Request"),
            h11.Data(data=msg.encode("ascii")),
            h11.EndOfMessage(),
        ):
            self.transport.write(self.conn.send(event) or b"")
        self.transport.close()

    def _make_room(self) -> None:
        """Close the oldest connection that waits for a request, if there are too many; this one, if none waits."""
        self._open[:] = [one for one in self._open if not one.transport.is_closing()]
        of_one = [one for one in self._open if one.network == self.network]
        for group, most in ((of_one, self.most_of_one), (self._open, MOST_IN_ALL)):
            if len(group) >= most:
                waiting = (one for one in group if one.conn.their_state is h11.IDLE and not one.transport.is_closing())
                next(waiting, self)._end("Too many connections; the oldest was closed.")

    def _watch(self) -> None:
        """Limit the time for what is awaited. A little more of the same is no reason to wait for longer."""
        own = self.transport.get_protocol() is self and not self.transport.is_closing()
        awaited = self.conn.their_state if own else None
        if awaited is self._awaited:
            return
        self._stop_watching()
        self._awaited = awaited
        if awaited is h11.IDLE:
            self._timer = self.loop.call_later(HEADER_S, self._end, "A request was begun and not finished.")
        elif awaited is h11.SEND_BODY:
            self._await_body()

    def _await_body(self) -> None:
        self._received = 0
        self._timer = self.loop.call_later(BODY_S, self._look_at_body)

    def _look_at_body(self) -> None:
        if self._received < BODY_BYTES and not self.flow.read_paused:
            self._end("A request's body did not come on.")
        else:
            self._await_body()

    def _stop_watching(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _end(self, why: str) -> None:
        self._stop_watching()
        _LOG.warning(why)
        self.transport.abort()


class OncePerMinute(logging.Filter):
    """Lets a line through once, then counts those alike for a minute and says how many they were."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        super().__init__()
        self._clock = clock
        self._seen: dict[str, tuple[float, int]] = {}

    def filter(self, record: logging.LogRecord) -> bool:
        """Whether the line is written."""
        line, now = str(record.msg), self._clock()
        since, unsaid = self._seen.get(line, (-QUIET_S, 0))
        if now - since < QUIET_S:
            self._seen[line] = (since, unsaid + 1)
            return False
        self._seen[line] = (now, 0)
        if unsaid:
            record.msg = f"{line.rstrip()} ({unsaid} more like this since)"
        return True


def bound_connections(*, behind_proxy: bool = False) -> None:
    """Let the server of this process, once it starts, accept bounded connections only.

    Parameters
    ----------
    behind_proxy : bool
        Whether all connections are those of one proxy, which then has all of them.
    """
    BoundedConnection.most_of_one = MOST_IN_ALL if behind_proxy else MOST_OF_ONE
    auto.AutoHTTPProtocol = BoundedConnection
    if not any(isinstance(one, OncePerMinute) for one in _LOG.filters):
        _LOG.addFilter(OncePerMinute())
