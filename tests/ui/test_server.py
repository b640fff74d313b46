"""Whatever files and variables are there, the app listens on this computer alone, or it ends with a sentence."""

from __future__ import annotations

import http.client
import os
import socket
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from streamlit.config import get_config_options
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect
from websockets.typing import Subprotocol

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


@pytest.fixture(scope="module")
def port(start_lasting_app: Callable[..., Any], tmp_path_factory: pytest.TempPathFactory) -> int:
    """The port of an app that is served on this computer alone."""
    return int(urlsplit(start_lasting_app(tmp_path_factory.mktemp("own"), afresh=True).address).port or 0)


def answered(port: int, method: str, path: str, **headers: str) -> http.client.HTTPResponse:
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    line.request(method, path, headers=headers)
    answer = line.getresponse()
    answer.read()
    line.close()
    return answer


def test_the_running_app_answers_its_own_names_and_pages_alone(port: int) -> None:
    home = f"http://127.0.0.1:{port}"
    for path in ("/", "/batch", "/_stcore/health", "/_stcore/host-config", "/media/x", "/static/x", "/favicon.png"):
        for host in ("evil.example", f"127.0.0.1:{port}.evil", f"127.0.0.1.evil:{port}"):
            assert answered(port, "GET", path, Host=host).status == 421, (path, host)
    assert answered(port, "GET", "/_stcore/metrics").status == 404
    assert answered(port, "PUT", "/_stcore/upload_file/a/b", Origin=f"http://127.0.0.1:{port + 1}").status == 403
    for origin in (None, f"http://127.0.0.1:{port + 1}", f"http://localhost:{port}", "http://evil.example"):
        with (
            pytest.raises(InvalidStatus) as refused,
            connect(f"ws://127.0.0.1:{port}/_stcore/stream", origin=origin, subprotocols=[Subprotocol("streamlit")]),
        ):
            pass
        assert refused.value.response.status_code == 403
        assert refused.value.response.headers["x-content-type-options"] == "nosniff"
    with connect(f"ws://127.0.0.1:{port}/_stcore/stream", origin=home, subprotocols=[Subprotocol("streamlit")]) as line:
        assert line.subprotocol == "streamlit"


def test_every_answer_of_the_running_app_has_the_security_headers(port: int) -> None:
    for method, path in (
        ("GET", "/"),
        ("HEAD", "/"),
        ("GET", "/_stcore/health"),
        ("GET", "/nowhere.js"),
        ("PUT", "/x"),
    ):
        headers = answered(port, method, path).headers
        assert headers["x-content-type-options"] == "nosniff", path
        assert headers["referrer-policy"] == "same-origin", path
        assert "object-src 'none'" in headers["content-security-policy"] or method == "PUT", path
        assert "default-src" in headers["content-security-policy"], path
