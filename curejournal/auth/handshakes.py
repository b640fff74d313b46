"""TLS handshakes that are bounded in time and number, from before a connection counts as one."""

from __future__ import annotations

import asyncio
import ssl
from collections.abc import Callable
from typing import Any, cast

from uvicorn.loops import auto

from curejournal.auth.addresses import network_of

HANDSHAKE_S = 10.0
"""A handshake must be over after so long. Ours: a phone needs a fraction of a second; the system's library waits 60."""
MOST_OF_ONE, MOST_IN_ALL = 50, 200
"""Handshakes under way from one address, and in all; the oldest gives way. Ours: with the connections that are done,
fewer than the 1,024 files that a process has at least."""

Factory = Callable[[], asyncio.BaseProtocol]


class Handshake(asyncio.Protocol):
    """A connection until both sides know each other; then it is another's.

    Parameters
    ----------
    factory : callable
        Makes the protocol to which it goes.
    context : ssl.SSLContext
        The server's certificate.
    """

    _open: list[Handshake] = []  # noqa: RUF012 - of this process, oldest first

    def __init__(self, factory: Factory, context: ssl.SSLContext) -> None:
        self._factory, self._context = factory, context
        self._early = bytearray()
        self._transport: asyncio.Transport | None = None
        self._task: asyncio.Task[None] | None = None
        self.network = ""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Begin; the oldest of too many is cut off."""
        self._transport = cast("asyncio.Transport", transport)
        peer = transport.get_extra_info("peername")
        self.network = network_of(peer[0]) if peer else ""
        of_one = [one for one in self._open if one.network == self.network]
        for group, most in ((of_one, MOST_OF_ONE), (self._open, MOST_IN_ALL)):
            if len(group) >= most:
                group[0].cut_off()
        self._open.append(self)
        self._transport.pause_reading()
        self._task = asyncio.get_running_loop().create_task(self._greet(self._transport))

    def data_received(self, data: bytes) -> None:
        """Keep what a browser says in one breath with its last words of the handshake."""
        self._early += data

    def connection_lost(self, exc: Exception | None) -> None:
        """End."""
        self._done()

    def cut_off(self) -> None:
        """End now."""
        self._done()
        if self._transport is not None:
            self._transport.abort()

    async def _greet(self, transport: asyncio.Transport) -> None:
        loop = asyncio.get_running_loop()
        try:
            secure = await loop.start_tls(
                transport, self, self._context, server_side=True, ssl_handshake_timeout=HANDSHAKE_S
            )
        except OSError:  # no TLS, none that is spoken here, too slow, or gone: of no interest, whoever it was
            secure = None
        if secure is None or secure.is_closing() or self not in self._open:
            self.cut_off()
            return
        self._done()
        protocol = cast("asyncio.Protocol", self._factory())
        secure.set_protocol(protocol)
        protocol.connection_made(secure)
        if self._early:
            protocol.data_received(bytes(self._early))

    def _done(self) -> None:
        if self in self._open:
            self._open.remove(self)


class _Loop(asyncio.SelectorEventLoop):
    """An event loop whose servers bound their handshakes."""

    async def create_server(  # type: ignore[override]
        self, protocol_factory: Factory, *where: Any, ssl: ssl.SSLContext | None = None, **options: Any
    ) -> asyncio.Server:
        """Listen."""
        if ssl is None:
            return await super().create_server(protocol_factory, *where, **options)
        return await super().create_server(lambda: Handshake(protocol_factory, ssl), *where, **options)


def bound_handshakes() -> None:
    """Let the server of this process, once it starts, bound the handshakes of those who come by TLS."""
    auto.auto_loop_factory = lambda use_subprocess=False: _Loop
