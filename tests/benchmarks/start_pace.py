"""How fast it starts, by processor time, beside what it stands on: `python -m tests.benchmarks.start_pace`.

`--help` and `measure` are compared with importing numpy, OpenCV and Pillow; the app's first page with an empty
Streamlit page. Each figure is the least of some runs. Exit code 1 if a limit is passed.
"""

from __future__ import annotations

import argparse
import os
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.sync.client import connect
from websockets.typing import Origin, Subprotocol

ROOT = Path(__file__).resolve().parents[2]
PHOTO = ROOT / "sample_images" / "chamomile-1.jpg"
LIMITS = {"help": 2.5, "measure": 7.0, "first page": 1.3}
"""How many times what it stands on each may take."""


def seconds(*arguments: object, folder: Path) -> float:
    """Processor time of a Python command that runs to its end."""
    before = os.times()
    env = {**os.environ, "CUREJOURNAL_JOURNAL": str(folder / "none")}
    subprocess.run([sys.executable, *map(str, arguments)], check=True, stdout=subprocess.DEVNULL, cwd=folder, env=env)
    after = os.times()
    return after.children_user - before.children_user + after.children_system - before.children_system


def first_page(*arguments: object, folder: Path) -> float:
    """Processor time of a server until its first page was sent."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    env = {**os.environ, "CUREJOURNAL_JOURNAL": str(folder / "journal")}
    words = [sys.executable, *(str(one).replace("PORT", str(port)) for one in arguments)]
    server = subprocess.Popen(words, cwd=folder, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        while True:
            try:
                socket.create_connection(("127.0.0.1", port), 1).close()
                break
            except OSError:
                time.sleep(0.05)
        _look_at(port)
        fields = Path(f"/proc/{server.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    finally:
        server.terminate()
        server.wait(30)


def _look_at(port: int) -> None:
    asks = BackMsg()
    asks.rerun_script.SetInParent()
    where = f"127.0.0.1:{port}"
    with connect(
        f"ws://{where}/_stcore/stream",
        origin=Origin(f"http://{where}"),
        subprotocols=[Subprotocol("streamlit")],
        open_timeout=120,
        max_size=None,
    ) as line:
        line.send(asks.SerializeToString())
        while True:
            told = ForwardMsg()
            told.ParseFromString(bytes(line.recv(timeout=120)))
            if told.WhichOneof("type") == "script_finished":
                return


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=5)
    runs = parser.parse_args().runs
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "empty.py").write_text("import streamlit as st\nst.title('Empty')\n")
        ours = ["-P", "-m", "curejournal"]
        plain = ["-m", "streamlit", "run", "empty.py", "--server.port", "PORT", "--server.headless", "true"]
        plain += ["--server.address", "127.0.0.1", "--browser.gatherUsageStats", "false"]
        plain += ["--server.fileWatcherType", "none"]
        figures = {
            "imports": [seconds("-c", "import numpy, cv2, PIL.Image", folder=folder) for _ in range(runs)],
            "help": [seconds(*ours, "--help", folder=folder) for _ in range(runs)],
            "measure": [seconds(*ours, "measure", PHOTO, "--card", "window", folder=folder) for _ in range(runs)],
            "empty page": [first_page(*plain, folder=folder) for _ in range(runs)],
            "first page": [first_page("-P", "-m", "curejournal.ui.server", "PORT", folder=folder) for _ in range(runs)],
        }
    least = {what: min(times) for what, times in figures.items()}
    for what, base in (("help", "imports"), ("measure", "imports"), ("first page", "empty page")):
        ratio = least[what] / least[base]
        print(f"{what:12} {least[what]:6.2f} s, {ratio:4.1f} times {base} ({least[base]:.2f} s); limit {LIMITS[what]}")
    sys.exit(any(least[a] > LIMITS[a] * least["imports" if a != "first page" else "empty page"] for a in LIMITS))


if __name__ == "__main__":
    main()
