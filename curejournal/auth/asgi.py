"""What is asked of the server and answered by it, at the level of its protocol (ASGI)."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable, Mapping, MutableMapping
from typing import Any
from urllib.parse import parse_qs, urlsplit

from curejournal.auth import pages

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

FORM_BYTES = 4096
"""The largest form that is read before the app. Ours."""
POLICY_VIOLATED = 1008
"""RFC 6455, 7.4.1."""

# A name or an address, and a port if any (RFC 9110, 7.2; RFC 3986, 3.2.2): no user, and no word as a port.
_HOST = re.compile(r"(?P<name>\[[0-9A-Fa-f:.]+\]|[0-9A-Za-z_.-]+)(?::[0-9]{1,5})?")


def headers_of(scope: Scope, name: bytes) -> list[str]:
    """The values of a header, each as it came."""
    return [value.decode("latin-1") for key, value in scope["headers"] if key.lower() == name]


def host_name(scope: Scope) -> str:
    """The name or address under which the server was asked, without the port; empty if the request does not say."""
    hosts = headers_of(scope, b"host")
    found = _HOST.fullmatch(hosts[0]) if len(hosts) == 1 else None
    return found["name"].strip("[]").casefold() if found else ""


def is_from_own_page(scope: Scope) -> bool:
    """Whether a browser says that a page of this very address sent it; they all do so (Fetch standard, 3.2)."""
    try:
        return [urlsplit(origin).netloc for origin in headers_of(scope, b"origin")] == headers_of(scope, b"host")
    except ValueError:
        return False


async def answer(send: Send, status: int, page: str, more: Mapping[str, str] | None = None) -> None:
    """Answer with a page of our own."""
    body = page.encode()
    raw = _raw(_page_headers(body) | dict(more or {}))
    await send({"type": "http.response.start", "status": status, "headers": raw})
    await send({"type": "http.response.body", "body": body})


async def refuse_websocket(scope: Scope, send: Send, page: str) -> None:
    """Answer the handshake of a websocket with 403, before it is accepted."""
    if "websocket.http.response" not in (scope.get("extensions") or {}):
        await send({"type": "websocket.close", "code": POLICY_VIOLATED})
        return
    body = page.encode()
    raw = _raw(_page_headers(body) | SECURITY_HEADERS)
    await send({"type": "websocket.http.response.start", "status": 403, "headers": raw})
    await send({"type": "websocket.http.response.body", "body": body})


SECURITY_HEADERS = {
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    # Not "no-referrer": a browser would then not say where a form was sent from.
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}
"""On every answer, beside its content security policy."""


def in_own_frame(policy: str) -> dict[str, str]:
    """The headers of an answer that the app's own pages, and no others, may show in a frame."""
    framed = {"x-frame-options": "SAMEORIGIN"}
    return framed | {"content-security-policy": policy.replace("frame-ancestors 'none'", "frame-ancestors 'self'")}


def secured(send: Send, headers: Mapping[str, str]) -> Send:
    """Add to each answer the security headers that it lacks.

    Parameters
    ----------
    send : callable
        Sends the answer.
    headers : mapping
        What an answer has beside or instead of `SECURITY_HEADERS`: its content security policy at least.
    """
    all_wanted = _raw(SECURITY_HEADERS | dict(headers))

    async def send_secured(message: Message) -> None:
        if message["type"] == "http.response.start":
            present = {key.lower() for key, _ in message.get("headers", [])}
            missing = [(key, value) for key, value in all_wanted if key not in present]
            message = {**message, "headers": [*message.get("headers", []), *missing]}
        await send(message)

    return send_secured


def _page_headers(body: bytes) -> dict[str, str]:
    return {
        "content-type": "text/html; charset=utf-8",
        "content-length": str(len(body)),
        "content-security-policy": pages.POLICY,
        "cache-control": "no-store",
    }


def _raw(headers: Mapping[str, str]) -> list[tuple[bytes, bytes]]:
    return [(name.encode(), value.encode("latin-1")) for name, value in headers.items()]


async def form_of(receive: Receive) -> dict[str, str]:
    """The fields of a form that was sent; none if it is too long, or no form."""
    body = b""
    while len(body) <= FORM_BYTES:
        message = await receive()
        body += message.get("body", b"")
        if message["type"] != "http.request" or not message.get("more_body"):
            break
    if len(body) > FORM_BYTES:
        return {}
    try:
        fields = parse_qs(body.decode("utf-8"), keep_blank_values=True, max_num_fields=10)
    except ValueError:
        return {}
    return {name: values[0] for name, values in fields.items()}
