"""`curejournal people` and `curejournal serve --lan` as users run them, asked over real sockets."""

from __future__ import annotations

import hashlib
import http.client
import json
import os
import re
import signal
import socket
import ssl
import subprocess
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
import trustme
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect
from websockets.typing import Origin, Subprotocol

from curejournal.auth.people import People
from curejournal.auth.request_filter import CLOSED
from curejournal.auth.sessions import TRIES_FILE
from curejournal.base.errors import CureJournalError
from curejournal.cli import app
from tests.auth.conftest import ANN, BEN
from tests.command import COMMAND, run_command
from tests.ui.journals import small_journal


def command(folder: Path, *arguments: object, typed: str = "", code: int = 0) -> str:
    environment = {"CUREJOURNAL_JOURNAL": str(folder), "COLUMNS": "200"}
    done = run_command(*arguments, environment=environment, typed=typed)
    assert done.returncode == code, (done.returncode, done.stdout, done.stderr)
    assert "Traceback" not in done.stderr
    return done.stderr if code == 1 and "--json" not in arguments else done.stdout


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_journal(tmp_path_factory.mktemp("served"))


def test_people_are_added_listed_changed_and_removed(tmp_path: Path) -> None:
    assert command(tmp_path, "people", "list") == ""
    assert "may read and write" in command(tmp_path, "people", "add", "Ann (invented)", typed=f"{ANN}\n")
    told = json.loads(command(tmp_path, "people", "add", "Ben (invented)", "--read-only", "--json", typed=f"{BEN}\r\n"))
    assert told == {"name": "Ben (invented)", "reads_only": True, "was_known": False}
    assert "Sessions with the earlier passphrase have ended." in command(
        tmp_path, "people", "add", "ben (invented)", typed="another four words here\n"
    )
    listed = json.loads(command(tmp_path, "people", "list", "--json"))
    assert listed == [
        {"name": "Ann (invented)", "reads_only": False, "asks_code": False},
        {"name": "ben (invented)", "reads_only": False, "asks_code": False},
    ]
    assert People(tmp_path).verify("Ben (invented)", "another four words here") is not None
    command(tmp_path, "people", "remove", "Ann (invented)")
    assert "Nobody called Ann (invented) may sign in." in command(
        tmp_path, "people", "remove", "Ann (invented)", code=1
    )


def test_a_passphrase_is_never_an_argument(tmp_path: Path) -> None:
    assert command(tmp_path, "people", "add", "Ann", ANN, code=2) == ""
    assert "passphrase" not in command(tmp_path, "people", "add", "--help").lower().split("arguments")[1]


def test_a_weak_passphrase_lets_nobody_in(tmp_path: Path) -> None:
    assert "at least 15 are needed" in command(tmp_path, "people", "add", "Ann", typed="secret\n", code=1)
    assert People(tmp_path).all() == ()


def refused(folder: Path, *arguments: object) -> str:
    """Why `serve` does not begin, without a process of its own."""
    with pytest.raises(CureJournalError) as caught:
        app(["serve", "--journal", str(folder), *map(str, arguments)], standalone_mode=False)
    return str(caught.value)


def test_nothing_is_served_before_somebody_could_sign_in(tmp_path: Path) -> None:
    told = refused(tmp_path, "--lan", "--without-tls")
    assert "no person has a passphrase yet" in told
    assert "curejournal people add NAME" in told


@pytest.fixture
def peopled(tmp_path: Path, known_people: bytes) -> Path:
    (tmp_path / "people.json").touch(0o600)
    (tmp_path / "people.json").write_bytes(known_people)
    return tmp_path


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--lan"], "everybody in the network can read along"),
        (["--lan", "--certificate", "a.pem"], "Give both, --certificate and --key."),
        (["--lan", "--certificate", "a.pem", "--key", "b.pem"], "cannot be used"),
        (["--lan", "--without-tls", "--proxy", "soap.example"], "Give one of these"),
        (["--without-tls"], "Add --lan"),
        (["--address", "0.0.0.0"], "Add --lan"),
    ],
)
def test_what_would_not_be_safe_is_refused_with_what_to_do(arguments: list[str], told: str, peopled: Path) -> None:
    assert told in refused(peopled, *arguments)


def test_a_key_of_another_certificate_is_refused(peopled: Path) -> None:
    authority = trustme.CA()
    one, other = authority.issue_cert("soap.local"), authority.issue_cert("soap.local")
    one.cert_chain_pems[0].write_to_path(peopled / "one.pem")
    other.private_key_pem.write_to_path(peopled / "other.key")
    files = ("--certificate", peopled / "one.pem", "--key", peopled / "other.key")
    assert "cannot be used" in refused(peopled, "--lan", *files)


@dataclass
class Served:
    """A server that runs, and what it said when it began."""

    said: dict[str, Any]
    port: int
    command: subprocess.Popen[bytes]
    context: ssl.SSLContext | None = None

    def ask(
        self, path: str, method: str = "GET", headers: Mapping[str, str] | None = None, body: str | None = None
    ) -> http.client.HTTPResponse:
        """One request, as it is; the body is read already, as `text`."""
        where = ("127.0.0.1", self.port)
        line = (
            http.client.HTTPSConnection(*where, context=self.context, timeout=30)
            if self.context
            else http.client.HTTPConnection(*where, timeout=30)
        )
        line.request(method, path, body, dict(headers or {}))
        answer = line.getresponse()
        answer.text = answer.read().decode("utf-8", "replace")  # type: ignore[attr-defined]
        line.close()
        return answer

    @property
    def origin(self) -> str:
        return f"http{'s' * bool(self.context)}://127.0.0.1:{self.port}"

    def sign_in(self, name: str, passphrase: str, more: Mapping[str, str] | None = None) -> http.client.HTTPResponse:
        headers = {"Origin": self.origin, "Content-Type": "application/x-www-form-urlencoded", **(more or {})}
        return self.ask("/sign-in", "POST", headers, urlencode({"name": name, "passphrase": passphrase}))

    def cookie(self, name: str, passphrase: str) -> str:
        answer = self.sign_in(name, passphrase)
        assert answer.status == 303, answer.text  # type: ignore[attr-defined]
        return str(answer.headers["set-cookie"]).partition(";")[0]

    def websocket(self, cookie: str = "", host: str = "") -> Any:
        headers = {"Cookie": cookie} if cookie else {}
        if host:
            headers["Host"] = host
        return connect(
            f"ws{'s' * bool(self.context)}://127.0.0.1:{self.port}/_stcore/stream",
            ssl=self.context,
            origin=Origin(self.origin),
            subprotocols=[Subprotocol("streamlit")],
            additional_headers=headers,
            open_timeout=30,
        )


@pytest.fixture(scope="module")
def serve(
    folder: Path, known_people: bytes, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Callable[..., Served]]:
    """Starts the command; all are ended at the end."""
    (folder / "people.json").touch(0o600)
    (folder / "people.json").write_bytes(known_people)
    running: list[subprocess.Popen[bytes]] = []

    def start(*arguments: object, context: ssl.SSLContext | None = None) -> Served:
        (folder / TRIES_FILE).unlink(missing_ok=True)  # those of the last test would count
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        words = ["serve", "--lan", "--no-open", "--json", "--port", port, "--journal", folder, *arguments]
        log = tmp_path_factory.mktemp("log") / "out.txt"
        with log.open("wb") as out:
            running.append(
                subprocess.Popen([*COMMAND, *map(str, words)], stdout=out, stderr=out, start_new_session=True)
            )
        served = Served({}, port, running[-1], context)
        for _ in range(240):
            assert running[-1].poll() is None, log.read_text()
            try:
                served.ask("/sign-in")
            except OSError:
                time.sleep(0.25)
            else:
                served.said = json.JSONDecoder().raw_decode(log.read_text())[0]
                return served
        pytest.fail("the server did not answer within a minute")

    yield start
    for server in running:
        if server.poll() is None:
            os.killpg(server.pid, signal.SIGTERM)
            server.wait(20)


@pytest.fixture(scope="module")
def plain(serve: Callable[..., Served]) -> Served:
    return serve("--without-tls", "--address", "127.0.0.1")


def test_it_says_where_it_is_and_who_may_sign_in(plain: Served, folder: Path) -> None:
    assert plain.said["address"] == f"http://127.0.0.1:{plain.port}/"
    assert plain.said["people"] == {"Ann (invented)": "writes", "Ben (invented)": "reads"}
    assert plain.said["secure"] is False
    assert plain.said["journal"] == str(folder)


def test_it_listens_where_it_said_and_nowhere_else(plain: Served) -> None:
    listening = {
        line.split()[1] for line in Path("/proc/net/tcp").read_text().splitlines()[1:] if line.split()[3] == "0A"
    }
    port = f"{plain.port:04X}"
    assert {address for address in listening if address.endswith(f":{port}")} == {f"0100007F:{port}"}


def test_everything_that_the_server_has_is_behind_the_sign_in(plain: Served) -> None:
    cookie = plain.cookie("Ann (invented)", ANN)
    page = plain.ask("/", headers={"Cookie": cookie})
    assert page.status == 200
    assets = re.findall(r'(?:src|href)="\.?(/[^"]+)"', page.text)  # type: ignore[attr-defined]
    assert any(asset.startswith("/static/") for asset in assets)
    closed = [asset for asset in assets if asset.startswith(CLOSED)]
    for path in (*sorted(set(assets) - set(closed)), "/", "/batch", "/_stcore/health", "/_stcore/host-config"):
        assert plain.ask(path, headers={"Cookie": cookie}).status == 200, path
        assert plain.ask(path).status == 401, path
    for path in (*closed, "/_stcore/metrics"):
        assert plain.ask(path, headers={"Cookie": cookie}).status == 404, path
    for method in ("PUT", "DELETE"):
        assert plain.ask("/_stcore/upload_file/a/b", method, {"Origin": plain.origin}, "x").status == 401
    with pytest.raises(InvalidStatus, match="403"), plain.websocket():
        pass
    with plain.websocket(cookie) as line:
        assert line.subprotocol == "streamlit"


def test_a_session_that_is_signed_out_is_over_everywhere(plain: Served) -> None:
    cookie = plain.cookie("Ann (invented)", ANN)
    with plain.websocket(cookie) as line:
        plain.ask("/sign-out", "POST", {"Cookie": cookie, "Origin": plain.origin})
        assert plain.ask("/", headers={"Cookie": cookie}).status == 401
        with pytest.raises(Exception, match="1008"):  # closed by the server within seconds
            while True:
                line.recv(timeout=20)
    with pytest.raises(InvalidStatus, match="403"), plain.websocket(cookie):
        pass


def test_1_100_half_requests_of_one_address_stop_nobody(plain: Served) -> None:
    half = []
    for _ in range(1100):
        line = socket.create_connection(("127.0.0.1", plain.port), timeout=30)
        line.sendall(b"POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\n")
        half.append(line)
    for source in ("127.0.0.2", "127.0.0.1"):
        begun = time.monotonic()
        line = http.client.HTTPConnection("127.0.0.1", plain.port, timeout=30, source_address=(source, 0))
        line.request("GET", "/sign-in")
        assert line.getresponse().status == 200
        assert time.monotonic() - begun < 10
        line.close()
    for line in half:
        line.close()


def test_another_host_is_refused(plain: Served) -> None:
    cookie = plain.cookie("Ann (invented)", ANN)
    for host in ("example.org", f"example.org:{plain.port}"):
        assert plain.ask("/", headers={"Cookie": cookie, "Host": host}).status == 421
        assert plain.ask("/sign-in", headers={"Host": host}).status == 421


def test_a_passphrase_changed_on_the_command_line_ends_the_session(plain: Served, folder: Path) -> None:
    command(folder, "people", "add", "Cleo (invented)", typed="first four words here\n")
    cookie = plain.cookie("Cleo (invented)", "first four words here")
    assert plain.ask("/", headers={"Cookie": cookie}).status == 200
    command(folder, "people", "add", "Cleo (invented)", typed="other four words here\n")
    assert plain.ask("/", headers={"Cookie": cookie}).status == 401
    assert plain.sign_in("Cleo (invented)", "first four words here").status == 403
    plain.cookie("Cleo (invented)", "other four words here")
    command(folder, "people", "remove", "Cleo (invented)")


def test_no_caller_makes_up_an_address_and_told_to_end_no_server_is_left(serve: Callable[..., Served]) -> None:
    served = serve("--without-tls", "--address", "127.0.0.1")
    tries = [
        served.sign_in("Ann (invented)", "wrong", {"X-Forwarded-For": f"198.51.100.{number}"}).status
        for number in range(7)
    ]
    assert tries == [403] * 5 + [429] * 2
    assert served.sign_in("Ann (invented)", ANN).status == 429
    served.command.terminate()
    assert served.command.wait(30) == 0
    with pytest.raises(OSError):
        served.ask("/sign-in")


def test_behind_a_proxy_callers_are_told_apart_and_the_cookie_needs_tls(serve: Callable[..., Served]) -> None:
    served = serve("--proxy", "soap.example")
    assert served.said["address"] == "https://soap.example/"
    assert served.ask("/sign-in").status == 421, "it is asked by the proxy's name alone"
    named = {"Host": "soap.example", "Origin": "https://soap.example", "X-Forwarded-Proto": "https"}
    for _ in range(5):
        assert served.sign_in("Ann (invented)", "wrong", named | {"X-Forwarded-For": "198.51.100.1"}).status == 403
    assert served.sign_in("Ann (invented)", ANN, named | {"X-Forwarded-For": "198.51.100.1"}).status == 429
    answer = served.sign_in("Ann (invented)", ANN, named | {"X-Forwarded-For": "198.51.100.2"})
    assert answer.status == 303
    assert "Secure" in answer.headers["set-cookie"].split("; ")


def test_its_own_certificate_is_what_the_browser_sees(serve: Callable[..., Served], tmp_path: Path) -> None:
    authority = trustme.CA()
    issued = authority.issue_cert("127.0.0.1")
    issued.private_key_pem.write_to_path(tmp_path / "key.pem")
    for pem in issued.cert_chain_pems:
        pem.write_to_path(tmp_path / "certificate.pem", append=True)
    context = ssl.create_default_context()
    authority.configure_trust(context)
    files = ("--certificate", tmp_path / "certificate.pem", "--key", tmp_path / "key.pem")
    served = serve(*files, "--address", "127.0.0.1", context=context)
    assert served.said["address"] == f"https://127.0.0.1:{served.port}/"
    seen = ssl.PEM_cert_to_DER_cert(ssl.get_server_certificate(("127.0.0.1", served.port)))
    assert served.said["certificate_sha256"].replace(":", "").lower() == hashlib.sha256(seen).hexdigest()
    answer = served.sign_in("Ann (invented)", ANN)
    assert "Secure" in answer.headers["set-cookie"].split("; ")
    cookie = answer.headers["set-cookie"].partition(";")[0]
    assert cookie.startswith("__Host-")
    assert served.ask("/", headers={"Cookie": cookie}).status == 200
    with served.websocket(cookie) as line:
        assert line.subprotocol == "streamlit"
    with pytest.raises(OSError):
        replace(served, context=None).ask("/sign-in")
    with pytest.raises(urllib.error.URLError, match="CERTIFICATE_VERIFY_FAILED"):
        urllib.request.urlopen(served.said["address"], timeout=10, context=ssl.create_default_context())


def test_the_address_is_shown_to_be_scanned_and_the_danger_is_told(folder: Path, serve: Callable[..., Served]) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
        # The port is taken, so that the command says all it has to say and ends.
        free.listen()
        done = subprocess.run(
            [*COMMAND, "serve", "--lan", "--without-tls", "--address", "127.0.0.1", "--port", str(port), "--no-open"],
            env={**os.environ, "CUREJOURNAL_JOURNAL": str(folder)},
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
    assert done.returncode == 1
    assert f"Is port {port} in use?" in done.stderr
    assert f"On the phone: http://127.0.0.1:{port}/" in done.stdout
    assert done.stdout.count("█") > 50, "a QR code"
    assert "everybody in this network can read along" in done.stdout
    assert "Ann (invented), Ben (invented)" in done.stdout
