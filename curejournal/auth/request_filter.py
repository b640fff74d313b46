"""What stands before the app, on this computer alone too: it is asked by its own names and from its own pages."""

from __future__ import annotations

import re
from collections.abc import Iterable

from curejournal.auth import pages
from curejournal.auth.asgi import (
    App,
    Message,
    Receive,
    Scope,
    Send,
    answer,
    host_name,
    in_own_frame,
    is_from_own_page,
    refuse_websocket,
    secured,
)

CLOSED = ("/_stcore/metrics", "/_stcore/agent")
"""What Streamlit offers to other programs. Nobody's: the journal has no use for it."""

TLS_ALONE_S = 7 * 24 * 3600
"""For so long a browser that came by TLS comes by nothing else (RFC 6797). Ours: as long as the longest session; a name
in a workshop's network may have to do without TLS again."""
FRAMED = "/component/"
"""Where components lie that Streamlit shows in a frame; nothing else of the app may be shown in one."""


class RequestFilter:
    """An ASGI app around another.

    Parameters
    ----------
    app
        What is behind it.
    hosts : iterable of str
        The names and addresses under which it may be asked; anything else is refused, whatever is asked for.
    policy : str
        The content security policy of the app's answers.
    secure : bool
        Whether browsers reach it by TLS; they are then told to come by nothing else for a while.
    """

    def __init__(self, app: App, hosts: Iterable[str], policy: str, *, secure: bool = False) -> None:
        self._app, self._policy = app, policy
        self._always = {"strict-transport-security": f"max-age={TLS_ALONE_S}"} if secure else {}
        self._hosts = frozenset(host.casefold().rstrip(".") for host in hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse a request, or let it through."""
        if scope["type"] == "http":
            await self._http(scope, receive, secured(send, self._headers(scope)))
        elif scope["type"] == "websocket":
            await self._websocket(scope, receive, send)
        else:
            await self._app(scope, receive, send)

    def _headers(self, scope: Scope) -> dict[str, str]:
        if _path(scope).startswith(FRAMED):
            return self._always | in_own_frame(self._policy)
        return self._always | {"content-security-policy": self._policy}

    async def _http(self, scope: Scope, receive: Receive, send: Send) -> None:
        started = False

        async def noting(message: Message) -> None:
            nonlocal started
            started = True
            await send(message)

        if host_name(scope) not in self._hosts:
            await answer(send, 421, pages.refusal("This address is not one of the journal's."))
        elif scope["method"] not in {"GET", "HEAD", "OPTIONS"} and not is_from_own_page(scope):
            await answer(send, 403, pages.refusal("This was not sent by a page of the journal."))
        elif _path(scope).startswith(CLOSED):
            await answer(send, 404, pages.refusal("There is nothing here."))
        else:
            try:
                await self._app(scope, receive, noting)
            except Exception:
                # Answered here, since what the server says by itself has none of the security headers.
                if not started:
                    await answer(send, 500, pages.refusal("The journal could not answer."))
                raise

    async def _websocket(self, scope: Scope, receive: Receive, send: Send) -> None:
        if host_name(scope) not in self._hosts or not is_from_own_page(scope):
            # A page of another port is another's page; and every browser names the page (RFC 6455, 4.1).
            await refuse_websocket(scope, send, pages.refusal("This was not sent by a page of the journal."))
            return
        await self._app(scope, receive, send)


def _path(scope: Scope) -> str:
    return re.sub("/+", "/", scope["path"]).casefold()
