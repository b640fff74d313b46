"""The gate, asked as the protocol has it: nothing behind it is reached by anybody who is not signed in."""

from __future__ import annotations

import re
from typing import Any
from urllib.parse import unquote

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from curejournal.auth.asgi import FORM_BYTES, App
from curejournal.auth.people import People
from curejournal.auth.sessions import IDLE_S, LIMITS, Keeper
from tests.auth.asking import AWAY, HOST, ORIGIN, Behind, ask, gate_around, sign_in, talk
from tests.auth.conftest import ANN, BEN, Clock

PATHS = [
    "/",
    "/batch",
    "/index.html",
    "/favicon.png",
    "/_stcore/health",
    "/_stcore/host-config",
    "/_stcore/script-health-check",
    "/_stcore/upload_file/session/file",
    "/_stcore/bidi-components/x/y.js",
    "/component/x/index.html",
    "/media/0123.jpg",
    "/static/js/index.js",
    "/app/static/x",
    "/sign-in/",
    "/sign-in/../media/0123.jpg",
    "//sign-in",
    "/SIGN-IN",
    "/sign-out",
]
PAGE = {"accept": "text/html,application/xhtml+xml"}


def signed_in(gate: App, name: str = "Ann (invented)", passphrase: str = ANN) -> dict[str, str]:
    """The headers of a browser that is signed in."""
    answer = sign_in(gate, name, passphrase)
    assert answer.status == 303
    return ORIGIN | {"cookie": answer.cookie}


@pytest.mark.parametrize("method", ["GET", "HEAD", "POST", "PUT", "DELETE", "PATCH", "OPTIONS"])
@pytest.mark.parametrize("path", PATHS)
def test_nothing_is_given_without_a_session(path: str, method: str, gate: App, behind: Behind) -> None:
    answer = ask(gate, path, method, ORIGIN)
    assert answer.status == 401
    assert "journal" not in re.sub("<title>.*</title>", "", answer.text)
    assert not behind.scopes


@pytest.mark.parametrize("path", PATHS)
def test_one_who_asks_for_a_page_is_led_to_the_sign_in_and_then_to_that_page(path: str, gate: App) -> None:
    answer = ask(gate, path, "GET", ORIGIN | PAGE, query="batch=B-1%2F2")
    assert answer.status == 303
    to = unquote(answer.headers["location"].removeprefix("/sign-in?to="))
    assert to == f"{path}?batch=B-1%2F2"
    led = sign_in(gate, "Ann (invented)", ANN, to=to).headers["location"]
    assert led == ("/" if path.startswith(("//", "/sign-", "/_stcore")) else to)


@pytest.mark.parametrize(
    "to", ["https://example.org/", "//example.org", "/\\example.org", "javascript:alert(1)", "", "/a\r\nx: y", "/\té"]
)
def test_nobody_is_led_anywhere_else_after_the_sign_in(to: str, gate: App) -> None:
    answer = sign_in(gate, "Ann (invented)", ANN, to=to)
    assert (answer.status, answer.headers["location"]) == (303, "/")


@pytest.mark.parametrize("headers", [ORIGIN, ORIGIN | {"cookie": "curejournal=guessed"}])
def test_a_websocket_without_a_session_is_closed_before_it_is_accepted(
    headers: dict[str, str], gate: App, behind: Behind
) -> None:
    assert talk(gate, headers) == [{"type": "websocket.close", "code": 1008}]
    assert not behind.scopes


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    path=st.text(max_size=40).map(lambda text: f"/{text}"),
    method=st.sampled_from(["GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS", "TRACE", "get"]),
    cookie=st.text(st.characters(max_codepoint=255, blacklist_categories=["Cc"]), max_size=60),
    names=st.lists(st.sampled_from(["x-curejournal-name", "x-forwarded-user", "authorization", "accept"]), max_size=3),
    body=st.binary(max_size=200),
)
def test_no_request_drawn_at_random_gets_past(
    path: str, method: str, cookie: str, names: list[str], body: bytes, gate: App, behind: Behind
) -> None:
    headers = ORIGIN | {"cookie": cookie} | dict.fromkeys(names, "Ann")
    answer = ask(gate, path, method, headers, body)
    assert answer.status in {200, 303, 401, 403, 429}
    assert not behind.scopes
    assert "set-cookie" not in answer.headers


def test_one_who_signed_in_is_let_through_and_the_app_is_told_who(gate: App, behind: Behind) -> None:
    headers = signed_in(gate)
    assert ask(gate, "/media/0123.jpg", headers=headers).text == "the journal"
    assert [unquote(name) for name in behind.header("x-curejournal-name")] == ["Ann (invented)"]
    assert behind.header("x-curejournal-rights") == ["writes"]
    talk(gate, signed_in(gate, "Ben (invented)", BEN))
    assert behind.header("x-curejournal-rights") == ["reads"]


@pytest.mark.parametrize("name", ["x-curejournal-name", "X-CureJournal-Name", "x-curejournal-rights"])
def test_nobody_says_who_they_are_by_themselves(name: str, gate: App, behind: Behind) -> None:
    headers = signed_in(gate, "Ben (invented)", BEN) | {name: "Ann (invented)"}
    ask(gate, "/", headers=headers)
    assert [unquote(value) for value in behind.header("x-curejournal-name")] == ["Ben (invented)"]
    assert behind.header("x-curejournal-rights") == ["reads"]


def test_one_who_may_only_read_uploads_nothing(gate: App, behind: Behind) -> None:
    headers = signed_in(gate, "Ben (invented)", BEN)
    for method in ("PUT", "POST", "DELETE"):
        assert ask(gate, "/_stcore/upload_file/session/file", method, headers).status == 403
    assert not behind.scopes


@pytest.mark.parametrize("change", [lambda v: v[:-1], lambda v: v + "x", lambda v: v.swapcase(), lambda v: v[::-1]])
def test_a_cookie_that_was_tampered_with_is_nobodys(change: Any, gate: App, behind: Behind) -> None:
    headers = signed_in(gate)
    name, _, value = headers["cookie"].partition("=")
    assert ask(gate, "/", headers=headers | {"cookie": f"{name}={change(value)}"}).status == 401
    assert not behind.scopes


@pytest.mark.parametrize("secure", [False, True])
def test_the_cookie_is_for_this_site_and_no_script(secure: bool, keeper: Keeper, behind: Behind) -> None:
    gate = gate_around(behind, keeper, secure=secure)
    set_cookie = sign_in(gate, "Ann (invented)", ANN).headers["set-cookie"]
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(set_cookie.split("; "))
    assert ("Secure" in set_cookie.split("; ")) == secure
    assert set_cookie.startswith("__Host-") == secure
    assert "Domain" not in set_cookie


def test_a_new_sign_in_has_a_new_cookie_and_ends_the_old_session(gate: App) -> None:
    first = signed_in(gate)
    second = sign_in(gate, "Ann (invented)", ANN, first)
    assert second.cookie != first["cookie"]
    assert ask(gate, "/", headers=first).status == 401


@pytest.mark.parametrize(
    "host", ["example.org", "192.0.2.8", "192.0.2.7.example.org", "", "192.0.2.7@example.org", "["]
)
def test_another_host_is_refused_signed_in_or_not(host: str, gate: App, behind: Behind) -> None:
    headers = signed_in(gate) | {"host": host, "origin": f"http://{host}"}
    assert ask(gate, "/", headers=headers).status == 421
    assert ask(gate, "/sign-in", headers={"host": host}).status == 421
    assert talk(gate, headers)[0]["type"] == "websocket.close"
    assert not behind.scopes


@pytest.mark.parametrize("host", ["192.0.2.7", "192.0.2.7:1", "SOAP.local", "soap.local.:8501", "[2001:db8::7]:8501"])
def test_every_host_that_was_named_is_answered(host: str, keeper: Keeper, behind: Behind) -> None:
    gate = gate_around(behind, keeper, hosts=("192.0.2.7", "soap.local", "2001:db8::7"))
    expected = 421 if host == "soap.local.:8501" else 200
    assert ask(gate, "/sign-in", headers={"host": host}).status == expected


@pytest.mark.parametrize(
    "origin", [None, "null", "http://example.org", "http://192.0.2.7:8502", "http://192.0.2.7", "http://["]
)
def test_what_another_page_sends_is_refused(origin: str | None, gate: App, behind: Behind) -> None:
    cookie = {"cookie": signed_in(gate)["cookie"], "host": HOST}
    headers = cookie | ({"origin": origin} if origin else {})
    for path in ("/sign-in", "/sign-out", "/_stcore/upload_file/session/file"):
        assert ask(gate, path, "POST", headers, {"name": "Ann (invented)", "passphrase": ANN}).status == 403
    assert talk(gate, headers)[0]["type"] == "websocket.close"
    assert not behind.scopes


def test_after_signing_out_the_session_is_over(gate: App) -> None:
    headers = signed_in(gate)
    asked = ask(gate, "/sign-out", headers=headers)
    assert "Ann (invented) is signed in" in asked.text
    assert ask(gate, "/", headers=headers).status == 200, "asking is not signing out"
    done = ask(gate, "/sign-out", "POST", headers)
    assert (done.status, done.headers["location"]) == (303, "/sign-in")
    assert "Max-Age=0" in done.headers["set-cookie"]
    assert ask(gate, "/", headers=headers).status == 401


def test_one_who_lost_a_phone_signs_out_everywhere(gate: App) -> None:
    phone, here, ben = signed_in(gate), signed_in(gate), signed_in(gate, "Ben (invented)", BEN)
    page = ask(gate, "/sign-out", headers=here).text
    assert page.count("from 192.0.2.50") == 2
    assert ask(gate, "/sign-out", "POST", here, {"everywhere": "yes"}).status == 303
    assert [ask(gate, "/", headers=headers).status for headers in (phone, here, ben)] == [401, 401, 200]


def test_a_session_left_alone_is_over(gate: App, clock: Clock) -> None:
    headers = signed_in(gate)
    clock.now += IDLE_S
    assert ask(gate, "/", headers=headers).status == 401
    assert talk(gate, headers)[0]["type"] == "websocket.close"


def test_a_wrong_passphrase_and_an_unknown_name_are_told_in_the_same_words(gate: App) -> None:
    one, other = sign_in(gate, "Ann (invented)", "wrong"), sign_in(gate, "nobody", ANN)
    assert (one.status, one.text) == (other.status, other.text)
    assert one.status == 403
    assert "The name or the passphrase is wrong." in one.text


def test_too_many_tries_are_refused_even_with_the_right_passphrase(gate: App) -> None:
    for _ in range(LIMITS["address"]):
        assert sign_in(gate, "Ann (invented)", "wrong").status == 403
    answer = sign_in(gate, "Ann (invented)", ANN)
    assert answer.status == 429
    assert "Too many tries" in answer.text
    assert "set-cookie" not in answer.headers


def test_a_list_of_people_that_cannot_be_read_is_told_without_its_place(gate: App, tmp_path: Any) -> None:
    (tmp_path / "people.json").write_bytes(b"damaged")
    answer = sign_in(gate, "Ann (invented)", ANN)
    assert answer.status == 503
    assert str(tmp_path) not in answer.text


@pytest.mark.parametrize("body", [b"", b"x" * (FORM_BYTES + 1), b"name=Ann", b"\xff\xfe", b"&".join([b"a=1"] * 50)])
def test_a_form_that_is_none_is_a_wrong_passphrase(body: bytes, gate: App) -> None:
    assert ask(gate, "/sign-in", "POST", ORIGIN, body).status == 403


def test_what_was_typed_stays_text_on_the_page(gate: App) -> None:
    evil = '/"><script>alert(1)</script>'
    for page in (sign_in(gate, evil, evil, to=evil), ask(gate, "/sign-in", query=f"to={evil}")):
        assert "<script" not in page.text
        assert evil not in page.text


def test_the_pages_hold_no_script_and_may_not_be_framed_or_kept(gate: App) -> None:
    page = ask(gate, "/sign-in")
    assert "<script" not in page.text
    assert page.headers["cache-control"] == "no-store"
    assert page.headers["x-frame-options"] == "DENY"
    policy = page.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert ask(gate, "/", headers=signed_in(gate)).headers["x-frame-options"] == "DENY"


@pytest.mark.parametrize(("secure", "told"), [(False, True), (True, False)])
def test_the_page_says_so_if_others_can_read_along(secure: bool, told: bool, keeper: Keeper, behind: Behind) -> None:
    page = ask(gate_around(behind, keeper, secure=secure), "/sign-in").text
    assert ("Others on this network can read what is sent here" in page) == told


def test_an_open_page_is_sent_away_when_its_session_ends(gate: App, behind: Behind, people: People) -> None:
    headers = signed_in(gate)
    sent = talk(gate, headers, [b"one", lambda: people.remove("Ann (invented)"), b"two"])
    assert behind.heard == [b"one"], "what is said after the end is not heard"
    assert [message.get("bytes") for message in sent if message["type"] == "websocket.send"][-1] == AWAY
    assert sent[-1] == {"type": "websocket.close", "code": 1008}


def test_an_idle_open_page_is_sent_away_by_itself(
    gate: App, behind: Behind, people: People, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("curejournal.auth.gate.LOOK_S", 0.01)
    sent = talk(gate, signed_in(gate), [lambda: people.remove("Ann (invented)")] + [lambda: None] * 5)
    assert sent[-1] == {"type": "websocket.close", "code": 1008}


def protocols(behind: Behind) -> list[str]:
    return [entry.strip() for entry in behind.header("sec-websocket-protocol")[0].split(",")]


def test_a_page_goes_on_where_it_was_only_for_the_same_sign_in(gate: App, behind: Behind) -> None:
    ann = signed_in(gate)
    talk(gate, ann)
    again = {"sec-websocket-protocol": "streamlit, token, session-1"}
    talk(gate, ann | again)
    assert protocols(behind) == ["streamlit", "token", "session-1"]
    for other in (signed_in(gate, "Ben (invented)", BEN), signed_in(gate)):
        talk(gate, other | again)
        assert protocols(behind) == ["streamlit", "token"]
    talk(gate, ann | {"sec-websocket-protocol": "streamlit, token, session-made-up"})
    assert protocols(behind) == ["streamlit", "token"]
