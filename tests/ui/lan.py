"""The app behind its sign-in, as a maker serves it to the phones of a workshop."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.ui.conftest import App


@contextmanager
def served_lan(folder: Path, log: Path) -> Iterator[App]:
    """Run the command that a maker runs for the phone, on this computer's own address."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [str(Path(sys.executable).with_name("curejournal")), "serve", "--lan", "--without-tls", "--no-open"]
    command += ["--address", "127.0.0.1", "--port", str(port), "--journal", str(folder)]
    with log.open("wb") as written:
        server = subprocess.Popen(command, stdout=written, stderr=written, start_new_session=True)
    for _ in range(240):
        assert server.poll() is None, "the server ended at once"
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/sign-in", timeout=1):
                break
        except OSError:
            time.sleep(0.25)
    yield App(f"http://127.0.0.1:{port}", folder)
    os.killpg(server.pid, signal.SIGTERM)
    server.wait(20)
