"""A code beside the passphrase: RFC 6238's own, one step of drift, each counted once, codes on paper, the command."""

from __future__ import annotations

import base64
import re
import subprocess
import time
from pathlib import Path

import pytest

from curejournal.auth.people import FILE, People
from curejournal.auth.second_factor import (
    RECOVERY_CODES,
    STEP_S,
    SecondFactor,
    Spent,
    code_at,
    new_recovery_codes,
    new_secret,
    recovery_hash,
    spend,
    uri,
)
from curejournal.auth.sessions import LIMITS, SPENT_FILE, Keeper, TooManyTries
from curejournal.base.errors import CureJournalError
from tests.auth.asking import Behind, ask, gate_around
from tests.auth.conftest import ANN, BEN, Clock
from tests.command import COMMAND

NAME, HOME = "Ann (invented)", "192.0.2.50"
SECRET = base64.b32encode(b"12345678901234567890").decode()


@pytest.mark.parametrize(
    ("seconds", "code"),
    [
        (59, "94287082"),
        (1111111109, "07081804"),
        (1111111111, "14050471"),
        (1234567890, "89005924"),
        (2000000000, "69279037"),
        (20000000000, "65353130"),
    ],
)
def test_codes_are_those_of_the_standard(seconds: int, code: str) -> None:
    """RFC 6238, appendix B, SHA-1: codes of 8 digits, of which ours are the last 6 (both are remainders)."""
    assert code_at(SECRET, seconds // STEP_S) == code[-6:]


@pytest.mark.parametrize(("steps", "right"), [(-2, False), (-1, True), (0, True), (1, True), (2, False)])
def test_a_clock_may_be_off_by_one_step(steps: int, right: bool) -> None:
    typed = code_at(SECRET, 1000 + steps)
    assert (spend(SecondFactor(SECRET), typed, 1000 * STEP_S + 7, Spent()) is not None) is right


def test_a_code_counts_once_and_none_before_it_counts_after_it() -> None:
    factor, now = SecondFactor(SECRET), 1000 * STEP_S
    spent = spend(factor, code_at(SECRET, 1000), now, Spent())
    assert spent is not None
    assert spend(factor, code_at(SECRET, 1000), now, spent) is None
    assert spend(factor, code_at(SECRET, 999), now, spent) is None
    assert spend(factor, code_at(SECRET, 1001), now, spent) is not None


@pytest.mark.parametrize("code", ["", "000000", "28708", "2870822", "２８７０８２", "x" * 40, "\udcff"])
def test_what_is_no_code_opens_nothing(code: str) -> None:
    assert spend(SecondFactor(SECRET, (recovery_hash("abcd"),)), code, 59, Spent(5)) is None


def test_each_code_on_paper_counts_once_however_it_is_spelt() -> None:
    codes = new_recovery_codes()
    assert len(set(codes)) == RECOVERY_CODES
    assert all(re.fullmatch("([a-z2-7]{4}-){5}[a-z2-7]{4}", code) for code in codes), "120 bits"
    factor = SecondFactor(SECRET, tuple(map(recovery_hash, codes)))
    spent = spend(factor, f" {codes[3].upper().replace('-', ' ')} ", 0, Spent())
    assert spent is not None
    assert spend(factor, codes[3], 0, spent) is None
    assert spend(factor, codes[4], 0, spent) is not None


def test_a_secret_is_long_and_an_app_can_read_its_address() -> None:
    secret = new_secret()
    assert len(base64.b32decode(secret)) == 20, "RFC 4226, R6: 160 bits"
    assert secret != new_secret()
    assert uri(SECRET, "Ann & Bo") == (
        f"otpauth://totp/Cure%20journal:Ann%20%26%20Bo?secret={SECRET}&issuer=Cure%20journal"
    )


@pytest.fixture
def guarded(people: People, clock: Clock, tmp_path: Path) -> Keeper:
    clock.now = 1_000_000.0
    people.set_second(NAME, SecondFactor(SECRET, (recovery_hash("abcd-efgh-ijkl-mnop"),)))
    return Keeper(people, clock, tmp_path)


def now_code(clock: Clock) -> str:
    return code_at(SECRET, int(clock.now // STEP_S))


def test_the_passphrase_alone_lets_nobody_in_who_has_a_code(guarded: Keeper, clock: Clock) -> None:
    assert guarded.sign_in(NAME, ANN, HOME) is None
    assert guarded.sign_in(NAME, "wrong", HOME, now_code(clock)) is None
    assert guarded.sign_in(NAME, ANN, HOME, now_code(clock)) is not None
    assert guarded.sign_in("Ben (invented)", BEN, HOME) is not None, "who has none is asked for none"


def test_no_code_counts_again_after_a_restart(guarded: Keeper, people: People, clock: Clock, tmp_path: Path) -> None:
    for code in (now_code(clock), "abcd-efgh-ijkl-mnop"):
        assert guarded.sign_in(NAME, ANN, HOME, code) is not None
        assert Keeper(people, clock, tmp_path).sign_in(NAME, ANN, HOME, code) is None
    assert (tmp_path / SPENT_FILE).stat().st_mode & 0o077 == 0


def test_no_code_counts_at_two_servers_of_a_journal(
    guarded: Keeper, people: People, clock: Clock, tmp_path: Path
) -> None:
    other = Keeper(people, clock, folder=tmp_path)
    code = code_at(SECRET, int(clock() // STEP_S))
    assert guarded.sign_in(NAME, ANN, HOME, code) is not None
    assert other.sign_in(NAME, ANN, HOME, code) is None


def test_wrong_codes_are_tries_and_tries_are_limited(guarded: Keeper, clock: Clock) -> None:
    for _ in range(LIMITS["address"]):
        assert guarded.sign_in(NAME, ANN, HOME, "000000") is None
    with pytest.raises(TooManyTries):
        guarded.sign_in(NAME, ANN, HOME, now_code(clock))


def test_nobody_is_let_in_by_a_code_of_which_it_cannot_be_kept_that_it_was_used(
    guarded: Keeper, clock: Clock, tmp_path: Path, behind: Behind
) -> None:
    (tmp_path / SPENT_FILE).mkdir()
    with pytest.raises((CureJournalError, OSError)):
        guarded.sign_in(NAME, ANN, HOME, now_code(clock))
    form = {"name": NAME, "passphrase": ANN, "code": now_code(clock)}
    assert ask(gate_around(behind, guarded), "/sign-in", "POST", form=form).status == 503


def test_another_passphrase_leaves_the_code_and_turning_it_off_ends_sessions(
    guarded: Keeper, people: People, clock: Clock
) -> None:
    people.add(NAME, "other copper lantern puddle")
    assert guarded.sign_in(NAME, "other copper lantern puddle", HOME) is None
    token = guarded.sign_in(NAME, "other copper lantern puddle", HOME, now_code(clock))
    assert token is not None
    people.set_second(NAME, None)
    assert guarded.who(token) is None
    assert guarded.sign_in(NAME, "other copper lantern puddle", HOME) is not None


def test_the_page_asks_for_a_code_once_somebody_has_one(
    guarded: Keeper, people: People, clock: Clock, behind: Behind
) -> None:
    gate = gate_around(behind, guarded)
    assert 'name="code"' in ask(gate, "/sign-in").text
    form = {"name": NAME, "passphrase": ANN, "code": "123"}
    wrong = ask(gate, "/sign-in", "POST", form=form)
    assert wrong.status == 403 and "The name, the passphrase or the code is wrong" in wrong.text
    assert ask(gate, "/sign-in", "POST", form=form | {"code": f" {now_code(clock)} "}).status == 303
    people.set_second(NAME, None)
    assert 'name="code"' not in ask(gate, "/sign-in").text


def test_the_command_shows_what_to_scan_and_turns_it_on_once_the_phone_knows_it(people: People, tmp_path: Path) -> None:
    def run(*arguments: str) -> subprocess.Popen[str]:
        command = [*COMMAND, "people", "code", NAME, "--journal", str(tmp_path), *arguments]
        pipe = subprocess.PIPE
        return subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=pipe, text=True)

    for right in (False, True):
        with run() as command:
            assert command.stdin is not None and command.stdout is not None
            lines = []
            while not lines or not lines[-1].startswith("otpauth://"):
                lines.append(command.stdout.readline())
            code = code_at(lines[-2].strip(), int(time.time() // STEP_S)) if right else "12345"
            out, _ = command.communicate(f"{code}\n", timeout=60)
        assert "█" in "".join(lines), "a QR code"
        assert command.returncode == (0 if right else 1)
        assert (People(tmp_path).known(NAME).second is not None) is right
    codes = re.findall("(?:[a-z2-7]{4}-){5}[a-z2-7]{4}", out)
    assert len(codes) == RECOVERY_CODES
    kept = (tmp_path / FILE).read_text()
    assert recovery_hash(codes[0]) in kept and codes[0] not in kept
    with run("--off") as command:
        command.communicate(timeout=60)
    assert People(tmp_path).known(NAME).second is None
