"""The program as its users install it: the wheel that is made of the source archive, in an environment of its own."""

from __future__ import annotations

import os
import subprocess
import sys
import venv
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark all that needs the installed wheel: it is made and installed for these alone."""
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker("installed")


@dataclass(frozen=True)
class Installed:
    """What was made and where it was installed."""

    archive: Path
    wheel: Path
    python: Path

    @property
    def command(self) -> Path:
        """The command that a maker types."""
        return self.python.with_name("curejournal")


def run(*command: object, cwd: Path, env: dict[str, str] | None = None, seconds: int = 600) -> str:
    """Run a command to its end; it must end well. Gives what it wrote to its standard output."""
    words = [str(word) for word in command]
    done = subprocess.run(words, cwd=cwd, env=env, capture_output=True, text=True, timeout=seconds, check=False)
    assert done.returncode == 0, (words, done.stdout[-3000:], done.stderr[-3000:])
    return done.stdout


def bare_environment(home: Path) -> dict[str, str]:
    """An environment in which nothing points to this clone."""
    kept = ("PATH", "LANG", "PIP_CERT", "PIP_FIND_LINKS", "PIP_INDEX_URL", "SSL_CERT_FILE", "PIP_CONFIG_FILE")
    return {name: os.environ[name] for name in kept if name in os.environ} | {"HOME": str(home)}


@pytest.fixture(scope="session")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Installed:
    """Make the source archive, the wheel from it, and install that in a clean environment."""
    made, place = tmp_path_factory.mktemp("made"), tmp_path_factory.mktemp("elsewhere")
    run(sys.executable, "-m", "build", "--no-isolation", "--outdir", made, ROOT, cwd=place)
    (archive,), (wheel,) = made.glob("*.tar.gz"), made.glob("*.whl")
    venv.create(place / "venv", with_pip=True)
    python = place / "venv" / "bin" / "python"
    run(python, "-m", "pip", "install", "--quiet", wheel, cwd=place)
    return Installed(archive, wheel, python)
