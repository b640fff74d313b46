"""The app's server on this computer: its settings come from the program itself, and are checked once it has started.

Neither a configuration file nor the environment can open the app to others: what is given here comes before both.
"""

from __future__ import annotations

import os
import socket
import sys
import tomllib
import weakref
from collections.abc import AsyncIterator, Callable, Iterable, Iterator, Mapping
from contextlib import asynccontextmanager, suppress
from ipaddress import ip_address
from pathlib import Path
from typing import Any, NoReturn

import streamlit as st
from starlette.middleware import Middleware

from curejournal.auth.addresses import NOT_AS_MEANT
from curejournal.auth.connections import bound_connections
from curejournal.auth.handshakes import bound_handshakes
from curejournal.auth.request_filter import RequestFilter
from curejournal.base.errors import CureJournalError
from curejournal.ui.frame import ROUTES, told
from curejournal.ui.shell import content_policy

HOME = "127.0.0.1"
"""Where the app listens unless it stands behind a sign-in: at the loopback address, which no other computer reaches."""

SETTINGS: Mapping[str, Any] = {
    "server.address": HOME,
    # A name that resolves to this address from elsewhere is refused.
    "server.allowedHosts": [HOME, "localhost"],
    "server.enableXsrfProtection": True,
    "server.enableCORS": True,  # Streamlit's name for refusing other origins
    "server.corsAllowedOrigins": [],
    "server.enableAgentApi": False,
    "server.enableStaticServing": False,
    "server.trustedUserHeaders": {},
    "server.unsafeMetricsUserAttributes": [],
    "server.baseUrlPath": "",
    "server.headless": True,
    # A little more than the largest photo that is read (see photo/reading.py), in MB.
    "server.maxUploadSize": 160,
    "server.fileWatcherType": "none",
    # A phone that slept goes on where it was, for half a day (in seconds).
    "server.disconnectedSessionTTL": 43200,
    "browser.gatherUsageStats": False,
    "client.allowedOrigins": [],  # no page of another site steers the app from around it
    "client.showErrorDetails": "none",
    "client.showErrorLinks": False,
    "client.toolbarMode": "minimal",
    "client.showSidebarNavigation": False,
    "global.developmentMode": False,
}

_bound: weakref.WeakSet[socket.socket] = weakref.WeakSet()


class ServerNotAsMeant(CureJournalError):
    """The app would be open to others, or run with other settings, than it should."""


def before_the_app(hosts: Iterable[str], *, secure: bool = False) -> Middleware:
    """Give what stands before the app: it is asked by these names, from its own pages, and by TLS where that is."""
    return Middleware(RequestFilter, hosts=tuple(hosts), policy=content_policy(), secure=secure)


def run(meant: Mapping[str, Any], *middleware: Middleware, behind_proxy: bool = False) -> None:
    """Serve the app until stopped.

    Parameters
    ----------
    meant : mapping
        Streamlit's options that differ from `SETTINGS`; the port at least.
    *middleware
        What stands between the filter of requests and the app.
    behind_proxy : bool
        Whether all connections come from one proxy.
    """
    options = {**SETTINGS, **_theme(), **meant}
    for name in [name for name in os.environ if name.startswith("STREAMLIT_")]:
        del os.environ[name]
    _refuse_to_bind_elsewhere(options["server.address"])
    secure = behind_proxy or "server.sslCertFile" in meant
    bound_connections(behind_proxy=behind_proxy)
    bound_handshakes()
    start = (Path(__file__).parent / "script" / "start.py").absolute()
    try:
        st.App(
            start,
            lifespan=checked({**SETTINGS, **meant}),
            on_script_error=told,
            routes=ROUTES,
            middleware=[before_the_app(options["server.allowedHosts"], secure=secure), *middleware],
        ).run(config=options)
    except ServerNotAsMeant as fault:
        _end(fault)


def checked(meant: Mapping[str, Any] = SETTINGS) -> Callable[[st.App], Any]:
    """Give a lifespan that ends the process, before anything is served, unless all is as meant."""

    @asynccontextmanager
    async def lifespan(_app: st.App) -> AsyncIterator[None]:
        wrong = [f"{name} is not {value!r}" for name, value in meant.items() if not _same(st.get_option(name), value)]
        places = sorted(listening())
        wrong += [f"it listens at {place}" for place in places if not _within(place, meant["server.address"])]
        if wrong:
            _end(_not_as_meant("; ".join(wrong)))
        yield

    return lifespan


def listening() -> set[str]:
    """Give the addresses at which this process really accepts connections, by its own sockets."""
    return {str(one.getsockname()[0]) for one in _own_sockets() if _accepts(one)}


def _own_sockets() -> Iterator[socket.socket]:
    yield from _bound
    with suppress(OSError):  # Windows lists no descriptors; there the bound ones are all that is known
        for number in os.listdir("/dev/fd"):  # noqa: PTH208 - names alone
            with suppress(OSError), socket.socket(fileno=os.dup(int(number))) as one:
                yield one


def _accepts(one: socket.socket) -> bool:
    if one.family not in (socket.AF_INET, socket.AF_INET6) or one.type != socket.SOCK_STREAM:
        return False
    try:
        return bool(one.getsockopt(socket.SOL_SOCKET, socket.SO_ACCEPTCONN))
    except OSError:  # not asked on every system, or closed
        return one.fileno() != -1 and bool(one.getsockname()[1])


def _refuse_to_bind_elsewhere(address: str) -> None:
    """Let this process bind no network address but the one that is meant, whoever asks; for as long as it lives."""

    def hook(event: str, arguments: tuple[Any, ...]) -> None:
        if event == "socket.bind" and isinstance(arguments[1], tuple):
            if not _within(str(arguments[1][0]), address):
                raise _not_as_meant(f"it would listen at {arguments[1][0] or 'every address'}")
            _bound.add(arguments[0])

    sys.addaudithook(hook)


def _within(place: str, meant: str) -> bool:
    if place == meant:
        return True
    try:
        return ip_address(place).is_loopback or place == str(ip_address(meant))
    except ValueError:
        return place == "localhost"


def _same(option: object, meant: object) -> bool:
    return (list(option) if isinstance(option, tuple) else option) == meant


def _not_as_meant(what: str) -> ServerNotAsMeant:
    return ServerNotAsMeant(
        f"The app was not started as it should be: {what}.",
        "Start it with curejournal serve; for others in the network, with curejournal serve --lan.",
        "It has ended, and nothing was served to anybody.",
    )


def _end(fault: CureJournalError) -> NoReturn:
    # At once: an exception from here would be told as a fault of Streamlit, with its traceback.
    print(fault, file=sys.stderr, flush=True)
    os._exit(NOT_AS_MEANT)


def _theme() -> dict[str, Any]:
    """Read how the app looks, as Streamlit's options by their dotted names."""
    file = Path(__file__).with_name("config.toml")
    return dict(_dotted("theme", tomllib.loads(file.read_text("utf-8"))["theme"]))


def _dotted(name: str, value: Any) -> Iterator[tuple[str, Any]]:
    if not isinstance(value, dict):
        yield name, value
        return
    for key, inner in value.items():
        yield from _dotted(f"{name}.{key}", inner)


if __name__ == "__main__":
    run({"server.port": int(sys.argv[1])})
