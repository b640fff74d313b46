"""Whatever files and variables are there, the app listens on this computer alone, or it ends with a sentence."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from streamlit.config import get_config_options

from curejournal.auth.addresses import NOT_AS_MEANT
from curejournal.ui import server

ROOT = Path(__file__).parents[2]


def test_a_clone_s_settings_file_says_what_the_program_gives() -> None:
    """For `streamlit run app.py`, which reads that file."""
    file = tomllib.loads((ROOT / ".streamlit" / "config.toml").read_text("utf-8"))
    flat = {f"{section}.{name}": value for section, row in file.items() for name, value in row.items()}
    assert {name: value for name, value in flat.items() if not name.startswith("theme.")} == server.SETTINGS


def test_every_setting_is_one_that_streamlit_knows() -> None:
    assert not set(server.SETTINGS) - set(get_config_options())
    assert not set(server._theme()) - set(get_config_options())


def ended(code: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run Python code that begins to serve; it must end by itself."""
    return subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def test_a_server_that_would_bind_another_address_ends_before_it_does() -> None:
    done = ended(
        "from streamlit.web.server.starlette import starlette_server\n"
        "starlette_server._get_server_address = lambda: '0.0.0.0'\n"  # as if its settings did not hold
        "from curejournal.ui import server\n"
        "server.run({'server.port': 0})"
    )
    assert done.returncode == NOT_AS_MEANT, done.stderr
    assert "it would listen at 0.0.0.0" in done.stderr or "it would listen at ::" in done.stderr
    assert "nothing was served to anybody" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("name", "value", "told"),
    [
        ("STREAMLIT_SERVER_ADDRESS", "0.0.0.0", "it listens at 0.0.0.0"),
        ("STREAMLIT_BROWSER_GATHER_USAGE_STATS", "true", "browser.gatherUsageStats is not False"),
        ("STREAMLIT_SERVER_ALLOWED_HOSTS", "[]", "server.allowedHosts is not ['127.0.0.1', 'localhost']"),
    ],
)
def test_streamlit_run_in_a_clone_ends_unless_the_settings_hold(name: str, value: str, told: str) -> None:
    done = ended(
        "import sys\n"
        "from streamlit.web.cli import main\n"
        "sys.argv = ['streamlit', 'run', 'app.py', '--server.port', '0']\n"
        "main()",
        **{name: value},
    )
    assert done.returncode == NOT_AS_MEANT, done.stderr
    assert told in done.stderr
    assert "Start it with curejournal serve" in done.stderr


def test_what_listens_is_read_from_the_sockets_themselves() -> None:
    with socket.socket() as bound, socket.socket() as heard:
        bound.bind(("127.0.0.2", 0))
        heard.bind(("127.0.0.3", 0))
        heard.listen()
        assert "127.0.0.3" in server.listening()
        assert "127.0.0.2" not in server.listening()
    assert "127.0.0.3" not in server.listening()


@pytest.mark.parametrize(
    ("place", "meant", "within"),
    [
        ("127.0.0.1", "127.0.0.1", True),
        ("::1", "127.0.0.1", True),
        ("0.0.0.0", "127.0.0.1", False),
        ("::", "127.0.0.1", False),
        ("", "127.0.0.1", False),
        ("192.0.2.7", "127.0.0.1", False),
        ("192.0.2.7", "192.0.2.7", True),
        ("0.0.0.0", "192.0.2.7", False),
        ("soap.example", "127.0.0.1", False),
    ],
)
def test_an_address_is_as_meant(place: str, meant: str, within: bool) -> None:
    assert server._within(place, meant) is within
