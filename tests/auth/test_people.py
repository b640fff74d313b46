"""Who may sign in, and how their passphrases are kept."""

from __future__ import annotations

import json
import os
import stat
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import argon2
import pytest

from curejournal.auth.people import FILE, SHORTEST, NoSuchPerson, PassphraseWeak, People, PeopleUnreadable
from curejournal.journal.errors import EntryRefused
from curejournal.journal.store import Journal
from tests.auth.conftest import ANN


def test_a_passphrase_opens_in_any_case_of_the_name_and_in_any_composition(people: People) -> None:
    assert people.verify("ann (INVENTED) ", ANN) == people.find("Ann (invented)")
    person = people.add("Zoë", "cafe\u0301 kettle rain window")
    assert people.verify("Zoe\u0308", "café kettle rain window") == person


@pytest.mark.parametrize(
    ("name", "passphrase"), [("Ann (invented)", "x" + ANN), ("Nobody", ANN), ("", ""), ("Ann", ANN)]
)
def test_a_wrong_name_or_passphrase_opens_nothing(name: str, passphrase: str, people: People) -> None:
    assert people.verify(name, passphrase) is None


def test_a_passphrase_is_kept_as_an_argon2id_hash_with_the_cost_of_rfc_9106(people: People, tmp_path: Path) -> None:
    text = (tmp_path / FILE).read_text("utf-8")
    assert ANN not in text
    for person in json.loads(text):
        # RFC 9106, section 4, the second recommended option: 64 MiB, 3 passes, 4 lanes, a salt of 16 bytes.
        cost = argon2.extract_parameters(person["proof"])
        assert cost.type is argon2.Type.ID
        assert (cost.memory_cost, cost.time_cost, cost.parallelism, cost.salt_len) == (65536, 3, 4, 16)


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such rights")
def test_only_the_owner_can_read_the_file_and_one_that_others_can_read_is_refused(
    people: People, tmp_path: Path
) -> None:
    people.add("Cleo (invented)", ANN)
    assert stat.S_IMODE((tmp_path / FILE).stat().st_mode) == 0o600
    (tmp_path / FILE).chmod(0o640)
    with pytest.raises(PeopleUnreadable, match="chmod 600"):
        people.all()


@pytest.mark.parametrize("passphrase", ["", "short", "a" * 40, "abab" * 10, "x" * 300, "Ann (invented)" * 3])
def test_a_passphrase_that_could_be_guessed_is_refused(passphrase: str, people: People) -> None:
    before = people.find("Ann (invented)")
    with pytest.raises(PassphraseWeak, match="words that do not belong together"):
        people.add("Ann (invented)", passphrase)
    assert people.find("Ann (invented)") == before


@pytest.mark.parametrize(
    "passphrase",
    [
        "passwordpassword1",
        "qwertyuiopasdfghjkl",
        "123456789012345",
        "1qaz2wsx3edc4rfv",
        "letmeinletmeinletmein",
        "thisismypassword",
        "Password1234567!",
        "soapmakingsoapmaking",
        "correct horse battery staple",
        "Correct-Horse-Battery-Staple!",
        "to be or not to be that is the question",
        "The quick brown fox jumps over the lazy dog.",
        "mary had a little lamb",
        "maythe4thbewithyou",
        "Cleo Marchetti cleo marchetti",
    ],
)
def test_a_passphrase_that_others_use_or_that_is_made_of_such_is_refused(passphrase: str, people: People) -> None:
    with pytest.raises(PassphraseWeak, match="words that do not belong together"):
        people.add("Cleo Marchetti", passphrase)
    assert people.find("Cleo Marchetti") is None


@pytest.mark.parametrize(
    "passphrase", [ANN, "vier Wörter ohne Sinn", "drkftwqpzmhvbnxa", "石鹸 の 熟成 を 待つ 夜 窓辺 茶"]
)
def test_words_that_do_not_belong_together_will_do(passphrase: str, people: People) -> None:
    assert people.add("Cleo Marchetti", passphrase) == people.verify("Cleo Marchetti", passphrase)


def test_the_shortest_passphrase_is_that_of_nist() -> None:
    # NIST SP 800-63B-4, 3.1.1.2: 15 characters where it is the only factor (from memory).
    assert SHORTEST == 15


@pytest.mark.parametrize("name", ["", " ", "a\nb", "\u202egnud", "x" * 81])
def test_a_name_that_cannot_stand_under_an_entry_is_refused(name: str, people: People) -> None:
    with pytest.raises(EntryRefused):
        people.add(name, ANN)


def test_people_are_changed_and_removed_and_another_program_sees_it(people: People, tmp_path: Path) -> None:
    other = People(tmp_path)
    assert [person.name for person in other.all()] == ["Ann (invented)", "Ben (invented)"]
    people.add("ben (invented)", "another four words here")
    assert other.verify("Ben (invented)", "another four words here") is not None
    assert not other.find("Ben (invented)").reads_only
    people.remove("Ann (invented)")
    assert [person.name for person in other.all()] == ["ben (invented)"]
    with pytest.raises(NoSuchPerson):
        people.remove("Ann (invented)")


@pytest.mark.parametrize("text", [b"", b"{}", b"[1]", b'[{"name": "Ann"}]', b"\xff\xfe"])
def test_a_damaged_list_lets_nobody_in(text: bytes, people: People, tmp_path: Path) -> None:
    (tmp_path / FILE).write_bytes(text)
    with pytest.raises(PeopleUnreadable, match="add each person again"):
        people.all()


def test_nothing_that_leaves_the_journal_holds_the_people(tmp_path: Path, known_people: bytes) -> None:
    folder = tmp_path / "journal"
    with Journal.open(folder) as journal:
        journal.start_batch("B-1", "Oat", at=datetime(2026, 3, 1, tzinfo=UTC), by="Ann", records=[])
        (folder / FILE).touch(0o600)
        (folder / FILE).write_bytes(known_people)
        journal.backup(tmp_path / "backup.tar")
        journal.export(tmp_path / "export")
        journal.copy_to(tmp_path / "copy")
        assert journal.check() == ()
    backup = tmp_path / "backup.tar"
    assert zipfile.ZipFile(backup).namelist()
    assert not [name for name in zipfile.ZipFile(backup).namelist() if "people" in name]
    for place in ("export", "copy"):
        assert not list((tmp_path / place).rglob("*people*"))
    proof = json.loads(known_people)[0]["proof"].encode()
    assert proof not in backup.read_bytes()
