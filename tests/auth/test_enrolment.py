"""A second factor turned on and off from a browser: by who knows the passphrase, once the phone was seen to work."""

from __future__ import annotations

import re

import pytest

from curejournal.auth.asgi import App
from curejournal.auth.enrolment import PATH, WAITS_S
from curejournal.auth.people import People
from curejournal.auth.second_factor import RECOVERY_CODES, STEP_S, code_at
from curejournal.auth.sessions import LIMITS
from tests.auth.asking import ORIGIN, Answer, ask, sign_in
from tests.auth.conftest import ANN, BEN, Clock

NAME = "Ann (invented)"


def signed_in(gate: App, code: str = "", name: str = NAME, passphrase: str = ANN) -> dict[str, str]:
    """The headers of one who is signed in."""
    form = {"name": name, "passphrase": passphrase, "code": code}
    return ORIGIN | {"cookie": ask(gate, "/sign-in", "POST", form=form).cookie}


def secret_on(page: Answer) -> str:
    return "".join(re.findall(r"<p><code>([A-Z2-7 ]+)</code></p>", page.text)[0].split())


def code_now(secret: str, clock: Clock, steps: int = 0) -> str:
    return code_at(secret, int(clock.now // STEP_S) + steps)


@pytest.fixture
def guarded(gate: App, clock: Clock) -> str:
    """The secret of one who turned it on."""
    mine = signed_in(gate)
    secret = secret_on(ask(gate, PATH, "POST", mine, {"passphrase": ANN}))
    done = ask(gate, PATH, "POST", mine, {"step": "confirm", "code": code_now(secret, clock)})
    assert (done.status, done.headers["location"]) == (303, "/sign-in?to=/people")
    return secret


def test_one_who_turns_it_on_is_asked_for_a_code_at_the_next_sign_in(gate: App, clock: Clock, people: People) -> None:
    mine, elsewhere = signed_in(gate), signed_in(gate)
    assert "Show what to scan" in ask(gate, PATH, headers=mine).text
    page = ask(gate, PATH, "POST", mine, {"passphrase": ANN})
    secret, recovery = secret_on(page), re.findall("(?:[a-z2-7]{4}-){5}[a-z2-7]{4}", page.text)
    assert page.status == 200 and len(recovery) == RECOVERY_CODES and "<svg" in page.text
    assert people.known(NAME).second is None, "nothing is asked for before the phone was seen to work"
    wrong = ask(gate, PATH, "POST", mine, {"step": "confirm", "code": code_now(secret, clock, 5)})
    assert wrong.status == 403 and secret_on(wrong) == secret and people.known(NAME).second is None
    ask(gate, PATH, "POST", mine, {"step": "confirm", "code": code_now(secret, clock)})
    for cookie in (mine, elsewhere):
        assert ask(gate, "/", headers=cookie).status == 401, "earlier sessions have ended"
    assert sign_in(gate, NAME, ANN).status == 403
    assert ask(gate, "/", headers=signed_in(gate, code_now(secret, clock))).status == 200
    assert ask(gate, "/", headers=signed_in(gate, recovery[0])).status == 200


def test_turning_it_off_takes_passphrase_and_code(gate: App, guarded: str, clock: Clock, people: People) -> None:
    mine = signed_in(gate, code_now(guarded, clock))
    assert "Ask for no code any longer" in ask(gate, PATH, headers=mine).text
    for form in ({"passphrase": ANN}, {"passphrase": "wrong", "code": code_now(guarded, clock, 1)}):
        assert ask(gate, PATH, "POST", mine, form).status == 403
        assert people.known(NAME).second is not None
    spent = {"passphrase": ANN, "code": code_now(guarded, clock)}
    assert ask(gate, PATH, "POST", mine, spent).status == 403, "a code counts once here too"
    assert ask(gate, PATH, "POST", mine, {"passphrase": ANN, "code": code_now(guarded, clock, 1)}).status == 303
    assert people.known(NAME).second is None
    assert sign_in(gate, NAME, ANN).status == 303


def test_who_finds_a_device_lying_open_turns_nothing_on_or_off(gate: App, people: People) -> None:
    mine = signed_in(gate)
    for _ in range(LIMITS["address"]):
        page = ask(gate, PATH, "POST", mine, {"passphrase": "a guess, and another"})
        assert page.status == 403 and "<svg" not in page.text
    assert ask(gate, PATH, "POST", mine, {"passphrase": ANN}).status == 429, "guesses are counted as at the sign-in"
    assert people.known(NAME).second is None


def test_what_was_shown_counts_for_its_own_session_and_for_a_while(gate: App, clock: Clock, people: People) -> None:
    mine, other = signed_in(gate), signed_in(gate, name="Ben (invented)", passphrase=BEN)
    assert ask(gate, PATH, "POST", mine, {"step": "confirm", "code": "123456"}).status == 403, "nothing was shown"
    secret = secret_on(ask(gate, PATH, "POST", mine, {"passphrase": ANN}))
    assert ask(gate, PATH, "POST", other, {"step": "confirm", "code": code_now(secret, clock)}).status == 403
    assert secret not in ask(gate, PATH, headers=mine).text, "shown once"
    clock.now += WAITS_S
    late = ask(gate, PATH, "POST", mine, {"step": "confirm", "code": code_now(secret, clock)})
    assert late.status == 403 and "begin again" in late.text
    assert [person.second for person in people.all()] == [None, None]


@pytest.mark.parametrize("headers", [ORIGIN, ORIGIN | {"cookie": "curejournal=nobody"}])
def test_one_who_is_not_signed_in_gets_nothing(headers: dict[str, str], gate: App) -> None:
    assert ask(gate, PATH, "POST", headers, {"passphrase": ANN}).status == 401


def test_another_page_turns_nothing_on(gate: App, people: People) -> None:
    mine = signed_in(gate)
    for origin in ("http://example.org", "null"):
        assert ask(gate, PATH, "POST", mine | {"origin": origin}, {"passphrase": ANN}).status == 403
    assert people.known(NAME).second is None


def test_where_it_cannot_be_kept_it_is_told_and_nothing_is_asked_for(
    gate: App, clock: Clock, people: People, monkeypatch: pytest.MonkeyPatch
) -> None:
    mine = signed_in(gate)
    secret = secret_on(ask(gate, PATH, "POST", mine, {"passphrase": ANN}))

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(People, "_write", full)
    assert ask(gate, PATH, "POST", mine, {"step": "confirm", "code": code_now(secret, clock)}).status == 503
    assert people.known(NAME).second is None and sign_in(gate, NAME, ANN).status == 303


def test_the_pages_hold_no_script_and_are_not_kept(gate: App) -> None:
    mine = signed_in(gate)
    for page in (ask(gate, PATH, headers=mine), ask(gate, PATH, "POST", mine, {"passphrase": ANN})):
        assert page.headers["cache-control"] == "no-store"
        assert "default-src 'none'" in page.headers["content-security-policy"]
        assert not re.search(r"<script|\son\w+=|\sstyle=|javascript:", page.text)
