"""What stands before the app on this computer alone too: own names, own pages, security headers on every answer."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from curejournal.auth.asgi import SECURITY_HEADERS, App
from curejournal.auth.request_filter import CLOSED, RequestFilter
from tests.auth.asking import POLICY, Behind, ask, scope_of, talk

HOME = "127.0.0.1:8501"
OWN = {"host": HOME, "origin": f"http://{HOME}"}
PATHS = ["/", "/batch", "/_stcore/health", "/_stcore/upload_file/a/b", "/media/0123.jpg", "/static/js/index.js"]


@pytest.fixture
def app(behind: Behind) -> App:
    return RequestFilter(behind, ["127.0.0.1", "localhost"], POLICY)


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "127.0.0.1.evil.example",
        "127.0.0.1:port.evil",
        "127.0.0.1:8501.evil",
        "127.0.0.1:",
        "127.0.0.1@evil.example",
        "user@127.0.0.1",
        "127.0.0.1/evil",
        "127.0.0.1?evil",
        " 127.0.0.1",
        "[::1]:8501",
        "",
    ],
)
def test_a_foreign_host_is_refused_on_every_path(host: str, path: str, app: App, behind: Behind) -> None:
    answer = ask(app, path, headers={"host": host})
    assert answer.status == 421
    assert talk(app, {"host": host, "origin": f"http://{host}"})[0]["type"] == "websocket.close"
    assert not behind.scopes


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.1:8501", "localhost:9", "LOCALHOST"])
def test_its_own_names_are_answered(host: str, app: App) -> None:
    assert ask(app, "/", headers={"host": host}).status == 200


@pytest.mark.parametrize(
    "origin",
    [None, "null", "http://127.0.0.1:8502", "http://localhost:8501", "http://127.0.0.1", "https://evil.example"],
)
def test_the_websocket_wants_the_page_s_own_origin(origin: str | None, app: App, behind: Behind) -> None:
    headers = {"host": HOME} | ({"origin": origin} if origin else {})
    assert talk(app, headers) == [{"type": "websocket.close", "code": 1008}]
    for method in ("POST", "PUT", "DELETE"):
        assert ask(app, "/_stcore/upload_file/a/b", method, headers).status == 403
    assert not behind.scopes
    assert talk(app, OWN)[0] == {"type": "websocket.accept"}


@pytest.mark.parametrize("path", [*CLOSED, "//_stcore/metrics", "/_STCORE/metrics/", "/_stcore/agent/openapi.json"])
def test_metrics_and_other_programs_ways_in_are_nobodys(path: str, app: App, behind: Behind) -> None:
    assert ask(app, path, headers=OWN).status == 404
    assert not behind.scopes


@pytest.mark.parametrize("headers", [OWN, {"host": "evil.example"}, {"host": HOME, "origin": "null"}])
@pytest.mark.parametrize(("method", "path"), [("GET", "/"), ("PUT", "/x"), ("GET", "/_stcore/metrics")])
def test_every_answer_has_the_security_headers(method: str, path: str, headers: dict[str, str], app: App) -> None:
    answer = ask(app, path, method, headers)
    assert SECURITY_HEADERS.items() <= answer.headers.items()
    assert "default-src" in answer.headers["content-security-policy"]


@pytest.mark.parametrize(
    ("path", "framed"), [("/", False), ("/componentx", False), ("/component/marking/i.html", True)]
)
def test_a_component_may_stand_in_a_frame_of_the_app_s_own_page_and_nothing_else_may(
    path: str, framed: bool, behind: Behind
) -> None:
    answer = ask(RequestFilter(behind, ["127.0.0.1"], f"{POLICY}; frame-ancestors 'none'"), path, headers=OWN)
    assert answer.headers["x-frame-options"] == ("SAMEORIGIN" if framed else "DENY")
    assert answer.headers["content-security-policy"].endswith("frame-ancestors " + ("'self'" if framed else "'none'"))


@pytest.mark.parametrize("secure", [True, False])
def test_who_came_by_tls_is_told_to_come_by_nothing_else(secure: bool, behind: Behind) -> None:
    """RFC 6797, 7.2: over a connection without TLS the header must not be sent."""
    app = RequestFilter(behind, ["127.0.0.1"], POLICY, secure=secure)
    for path in ("/", "/component/x"):
        assert ("strict-transport-security" in ask(app, path, headers=OWN).headers) is secure


def test_an_answer_keeps_the_headers_that_it_has(behind: Behind) -> None:
    async def own(scope: Any, receive: Any, send: Any) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": [(b"Content-Security-Policy", b"none")]})
        await send({"type": "http.response.body", "body": b""})

    answer = ask(RequestFilter(own, ["127.0.0.1"], POLICY), "/", headers=OWN)
    assert answer.headers["content-security-policy"] == "none"


def test_a_fault_of_the_app_is_answered_without_its_words_and_with_the_headers() -> None:
    sent: list[Any] = []

    async def broken(scope: Any, receive: Any, send: Any) -> None:
        raise RuntimeError("/home/ann/journal is broken")

    async def send(message: Any) -> None:
        sent.append(message)

    async def run() -> None:
        with pytest.raises(RuntimeError):
            await RequestFilter(broken, ["127.0.0.1"], POLICY)(scope_of("http", "/", OWN), None, send)

    asyncio.run(run())
    assert sent[0]["status"] == 500
    assert (b"x-content-type-options", b"nosniff") in sent[0]["headers"]
    assert b"/home/ann" not in sent[1]["body"]


def test_a_refused_handshake_has_the_headers_too_where_the_server_can_send_them(app: App) -> None:
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    scope = scope_of("websocket", "/_stcore/stream", {"host": HOME}) | {"extensions": {"websocket.http.response": {}}}
    asyncio.run(app(scope, None, send))
    assert (sent[0]["type"], sent[0]["status"]) == ("websocket.http.response.start", 403)
    assert (b"x-content-type-options", b"nosniff") in sent[0]["headers"]
