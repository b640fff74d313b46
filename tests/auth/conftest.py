"""People, a keeper with a clock of its own, and a gate with an app behind it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from curejournal.auth.people import People
from curejournal.auth.sessions import Keeper
from tests.auth.asking import Behind, gate_around

ANN = "olive kettle rain window"
BEN = "seven brown spoons left"


@dataclass
class Clock:
    now: float = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture(scope="session")
def known_people(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A list of two people, hashed once."""
    folder = tmp_path_factory.mktemp("people")
    people = People(folder)
    people.add("Ann (invented)", ANN)
    people.add("Ben (invented)", BEN, reads_only=True)
    return (folder / "people.json").read_bytes()


@pytest.fixture
def people(tmp_path: Path, known_people: bytes) -> People:
    file = tmp_path / "people.json"
    file.touch(0o600)
    file.write_bytes(known_people)
    return People(tmp_path)


@pytest.fixture
def keeper(people: People, clock: Clock) -> Keeper:
    return Keeper(people, clock)


@pytest.fixture
def behind() -> Behind:
    return Behind()


@pytest.fixture
def gate(behind: Behind, keeper: Keeper) -> object:
    return gate_around(behind, keeper)
