"""Tries that are counted, and sessions that end."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from curejournal.auth.people import People, name_key
from curejournal.auth.sessions import IDLE_S, LIMITS, LONGEST_S, MOST, TRIES_FILE, WINDOW_S, Keeper, TooManyTries
from tests.auth.conftest import ANN, BEN, Clock

HOME = "192.0.2.50"


def fail(keeper: Keeper, times: int, name: str = "Ann (invented)", address: str = HOME) -> None:
    for _ in range(times):
        assert keeper.sign_in(name, "wrong", address) is None


@pytest.fixture
def quick(keeper: Keeper, people: People, monkeypatch: pytest.MonkeyPatch) -> Keeper:
    """A keeper whose people are verified without the cost of a hash."""
    right = {"Ann (invented)": ANN, "Ben (invented)": BEN}
    monkeypatch.setattr(
        people, "verify", lambda name, passphrase: people.find(name) if right.get(name) == passphrase else None
    )
    return keeper


def test_a_session_is_its_persons_until_they_sign_out(keeper: Keeper) -> None:
    token = keeper.sign_in("Ann (invented)", ANN, HOME)
    assert token is not None
    assert keeper.who(token).name == "Ann (invented)"
    keeper.sign_out(token)
    assert keeper.who(token) is None


def test_tokens_are_long_and_never_the_same(quick: Keeper) -> None:
    tokens = {quick.sign_in("Ann (invented)", ANN, HOME) for _ in range(10)}
    assert len(tokens) == 10
    assert min(len(token) for token in tokens) >= 43, "256 bits in base 64"


@pytest.mark.parametrize("token", ["", "x", "None", "a" * 10_000, "\udcff"])
def test_a_token_that_was_never_given_is_nobodys(token: str, quick: Keeper) -> None:
    quick.sign_in("Ann (invented)", ANN, HOME)
    assert quick.who(token) is None


def test_a_session_ends_when_nothing_was_done_in_it_for_long(quick: Keeper, clock: Clock) -> None:
    token = quick.sign_in("Ann (invented)", ANN, HOME)
    clock.now += IDLE_S - 1
    assert quick.who(token, acts=False) is not None
    clock.now += 2
    assert quick.who(token) is None
    clock.now -= 3
    assert quick.who(token) is None, "what has ended stays so"


def test_a_session_in_use_goes_on_but_not_for_ever(quick: Keeper, clock: Clock) -> None:
    token = quick.sign_in("Ann (invented)", ANN, HOME)
    begun = clock.now
    while clock.now + IDLE_S / 2 < begun + LONGEST_S:
        clock.now += IDLE_S / 2
        assert quick.who(token) is not None
    clock.now = begun + LONGEST_S
    assert quick.who(token) is None


@pytest.mark.parametrize("change", ["removed", "passphrase", "rights"])
def test_a_change_to_a_person_ends_their_sessions_and_no_others(change: str, keeper: Keeper, people: People) -> None:
    ann, ben = keeper.sign_in("Ann (invented)", ANN, HOME), keeper.sign_in("Ben (invented)", BEN, HOME)
    if change == "removed":
        people.remove("Ann (invented)")
    else:
        people.add("Ann (invented)", ANN, reads_only=change == "rights")
    assert keeper.who(ann) is None
    assert keeper.who(ben).name == "Ben (invented)"


def test_a_list_that_cannot_be_read_ends_every_session(quick: Keeper, tmp_path: object) -> None:
    token = quick.sign_in("Ann (invented)", ANN, HOME)
    (tmp_path / "people.json").write_bytes(b"damaged")
    assert quick.who(token) is None


def test_only_so_many_tries_may_fail_from_one_address(quick: Keeper, clock: Clock) -> None:
    fail(quick, LIMITS["address"])
    with pytest.raises(TooManyTries, match="in 60 minutes"):
        quick.sign_in("Ann (invented)", ANN, HOME)
    assert quick.sign_in("Ann (invented)", ANN, "192.0.2.51") is not None, "another device may"
    clock.now += WINDOW_S
    assert quick.sign_in("Ann (invented)", ANN, HOME) is not None


def test_addresses_of_one_version_6_network_count_as_one(quick: Keeper) -> None:
    for number in range(LIMITS["address"]):
        fail(quick, 1, address=f"2001:db8::{number}")
    with pytest.raises(TooManyTries):
        quick.sign_in("Ann (invented)", ANN, "2001:db8::ffff:1")
    assert quick.sign_in("Ann (invented)", ANN, "2001:db8:0:1::1") is not None


@pytest.mark.parametrize("name", ["Ann (invented)", "nobody of this name"])
def test_only_so_many_tries_may_fail_for_one_name_known_or_not(name: str, quick: Keeper) -> None:
    for number in range(LIMITS["name"]):
        fail(quick, 1, name.upper() if number % 2 else name, f"198.51.100.{number}")
    with pytest.raises(TooManyTries):
        quick.sign_in(name, ANN, "198.51.100.200")


SPELT = [
    "Ann (invented)",
    " Ann (invented)",
    "ANN (INVENTED) ",
    "Ann  (invented)",
    "\tann\u00a0(invented)",
    "Ａnn (invented)",
]


def test_every_spelling_that_finds_a_person_counts_as_a_try_for_that_person(quick: Keeper, people: People) -> None:
    for number in range(LIMITS["name"]):
        spelt = SPELT[number % len(SPELT)] + " " * number
        assert people.find(spelt) is not None
        fail(quick, 1, spelt, f"198.51.100.{number}")
    for spelt in SPELT:
        with pytest.raises(TooManyTries):
            quick.sign_in(spelt, ANN, "198.51.100.200")


@given(st.text(max_size=30), st.text(" \t\u00a0\u2003", max_size=60))
def test_a_name_has_one_key_however_it_is_spaced(name: str, spaces: str) -> None:
    assert name_key(name_key(name)) == name_key(name)
    assert name_key(spaces + name + spaces) == name_key(name)


def test_only_so_many_tries_may_fail_in_all(quick: Keeper) -> None:
    for number in range(LIMITS["all"]):
        fail(quick, 1, f"name {number}", f"198.51.100.{number}")
    with pytest.raises(TooManyTries):
        quick.sign_in("Ann (invented)", ANN, "203.0.113.1")


def test_what_succeeds_does_not_count(quick: Keeper) -> None:
    for _ in range(3 * LIMITS["address"]):
        assert quick.sign_in("Ann (invented)", ANN, HOME) is not None


def test_tries_at_the_same_time_are_no_way_around_the_limit(keeper: Keeper) -> None:
    refused: list[bool] = []

    def one() -> None:
        try:
            keeper.sign_in("Ann (invented)", "wrong", HOME)
        except TooManyTries:
            refused.append(True)

    threads = [threading.Thread(target=one) for _ in range(LIMITS["address"] + 3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(refused) == 3


def test_one_person_has_so_many_sessions_at_most(quick: Keeper) -> None:
    ben = quick.sign_in("Ben (invented)", BEN, HOME)
    tokens = [quick.sign_in("Ann (invented)", ANN, HOME) for _ in range(MOST + 2)]
    assert [quick.who(token) is not None for token in tokens] == [False, False, *[True] * MOST]
    assert quick.who(ben) is not None


def test_tries_survive_a_restart_and_names_are_not_written_down(
    people: People, clock: Clock, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(people, "verify", lambda name, passphrase: None)
    fail(Keeper(people, clock, tmp_path), LIMITS["address"], "a passphrase typed as a name")
    again = Keeper(people, clock, tmp_path)
    with pytest.raises(TooManyTries):
        again.sign_in("Ann (invented)", ANN, HOME)
    kept = tmp_path / TRIES_FILE
    assert "typed" not in kept.read_text("utf-8")
    if os.name != "nt":
        assert kept.stat().st_mode & 0o777 == 0o600
    clock.now += WINDOW_S
    assert Keeper(people, clock, tmp_path).sign_in("Ann (invented)", ANN, HOME) is None, "but it is tried"


@pytest.mark.parametrize("text", [b"", b"{}", b"[[1]]", b'[[1.0, {"x": "y"}]]', b"\xff"])
def test_a_damaged_file_of_tries_locks_nobody_out(text: bytes, people: People, clock: Clock, tmp_path: Path) -> None:
    (tmp_path / TRIES_FILE).write_bytes(text)
    assert Keeper(people, clock, tmp_path).sign_in("Ann (invented)", ANN, HOME) is not None


def test_a_person_sees_where_they_are_signed_in_and_ends_it_everywhere(quick: Keeper, clock: Clock) -> None:
    ben = quick.sign_in("Ben (invented)", BEN, HOME)
    first = quick.sign_in("Ann (invented)", ANN, HOME)
    clock.now += 60
    second = quick.sign_in("Ann (invented)", ANN, "192.0.2.51")
    ann = quick.who(first, acts=False)
    assert [(one.used, one.address) for one in quick.sessions_of(ann)] == [(1060.0, "192.0.2.51"), (1000.0, HOME)]
    quick.sign_out_everywhere(ann)
    assert quick.who(first) is None
    assert quick.who(second) is None
    assert quick.sessions_of(ann) == ()
    assert quick.who(ben) is not None
