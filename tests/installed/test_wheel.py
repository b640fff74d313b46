"""The wheel holds all that the program needs, and what it serves is as private as in a clone."""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import subprocess
import tarfile
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect
from websockets.typing import Origin, Subprotocol

from tests.installed.conftest import Installed, bare_environment, run

HOSTILE = """
[server]
address = "0.0.0.0"
allowedHosts = ["*"]
enableXsrfProtection = false
enableCORS = false
enableAgentApi = true
maxUploadSize = 1
[browser]
gatherUsageStats = true
[client]
showErrorDetails = "full"
[theme]
base = "dark"
"""
"""Settings that would open the app to everybody, where Streamlit looks for settings."""


def test_the_wheel_holds_what_the_source_archive_has(installed: Installed) -> None:
    with tarfile.open(installed.archive) as archive:
        source = {name.partition("/")[2] for name in archive.getnames()}
    with zipfile.ZipFile(installed.wheel) as wheel:
        packed = set(wheel.namelist())
    assert {name for name in source if name.startswith("curejournal/")} <= packed
    assert {f"curejournal/{name}" for name in source if name.startswith("sample_images/")} <= packed
    assert not {name for name in packed if name.startswith("tests/")}


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder and a home with hostile settings in them, far from this clone."""
    folder = tmp_path_factory.mktemp("place")
    (folder / ".streamlit").mkdir()
    (folder / ".streamlit" / "config.toml").write_text(HOSTILE)
    return folder


def test_the_demo_works_from_the_wheel_alone(installed: Installed, place: Path) -> None:
    told = json.loads(
        run(
            *(installed.command, "demo", "--no-app", "--json", "--folder", place / "demo"),
            cwd=place,
            env=bare_environment(place),
        )
    )
    assert len(told["verdicts"]) == 8
    assert {verdict["verdict"] for verdict in told["verdicts"].values()} >= {"ready", "not yet", "hold"}


@pytest.fixture(scope="module")
def served(installed: Installed, place: Path) -> Iterator[int]:
    """The port of an app that was started where everything speaks for opening it."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    words = ["serve", "--no-open", "--port", str(port), "--journal", str(place / "journal")]
    env = bare_environment(place) | {"STREAMLIT_SERVER_ADDRESS": "0.0.0.0", "STREAMLIT_BROWSER_GATHER_USAGE_STATS": "1"}
    with (place / "log").open("wb") as log:
        server = subprocess.Popen(
            [installed.command, *words], cwd=place, env=env, stdout=log, stderr=log, start_new_session=True
        )
    for _ in range(240):
        assert server.poll() is None, (place / "log").read_text()
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
            break
        except OSError:
            time.sleep(0.25)
    yield port
    os.killpg(server.pid, signal.SIGTERM)
    server.wait(30)


def test_it_listens_on_this_computer_alone(served: int) -> None:
    listening = set()
    for table in ("/proc/net/tcp", "/proc/net/tcp6"):
        if Path(table).exists():
            lines = [line.split() for line in Path(table).read_text().splitlines()[1:]]
            listening |= {line[1] for line in lines if line[3] == "0A" and line[1].endswith(f":{served:04X}")}
    assert listening == {f"0100007F:{served:04X}"}


def websocket(port: int, host: str, origin: str) -> bytes:
    """What the app says first to a page of a host."""
    with connect(
        f"ws://{host}/_stcore/stream",
        sock=socket.create_connection(("127.0.0.1", port)),
        origin=Origin(origin),
        subprotocols=[Subprotocol("streamlit")],
        open_timeout=60,
    ) as line:
        line.send(bytes.fromhex("5a00"))  # BackMsg: rerun_script
        return bytes(line.recv(timeout=60))


def test_it_reports_nothing_and_gives_its_own_look(served: int) -> None:
    message = ForwardMsg()
    message.ParseFromString(websocket(served, f"127.0.0.1:{served}", f"http://127.0.0.1:{served}"))
    assert message.new_session.config.gather_usage_stats is False
    assert message.new_session.custom_theme.body_font.startswith("Inter")


@pytest.mark.parametrize(
    ("host", "origin"),
    [("soap.example", "http://soap.example"), ("127.0.0.1", "http://soap.example")],
    ids=["another name", "a page of another site"],
)
def test_no_other_site_speaks_to_it(served: int, host: str, origin: str) -> None:
    with pytest.raises(InvalidStatus, match="403"):
        websocket(served, f"{host}:{served}", origin)


def test_no_other_page_steers_it_and_no_program_drives_it(served: int) -> None:
    def ask(method: str, path: str) -> http.client.HTTPResponse:
        line = http.client.HTTPConnection("127.0.0.1", served, timeout=30)
        line.request(
            method, path, body="{}" if method == "POST" else None, headers={"Content-Type": "application/json"}
        )
        return line.getresponse()

    assert json.loads(ask("GET", "/_stcore/host-config").read())["allowedOrigins"] == []
    assert ask("POST", "/_stcore/agent/interact").status in (403, 404)
