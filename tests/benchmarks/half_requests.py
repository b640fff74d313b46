"""Half requests of every kind against the running server, by many of one address: how long others wait meanwhile.

Whoever shares that address may be refused for a while: it is told when they are let in again, the lines left open.

Run: python -m tests.benchmarks.half_requests [--lines 1100]
"""

from __future__ import annotations

import argparse
import http.client
import os
import socket
import statistics
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlsplit

from curejournal.auth.people import People
from curejournal.journal.store import Journal
from tests.ui.lan import served_lan

HOST = b"Host: 127.0.0.1:%d\r\nOrigin: http://127.0.0.1:%d\r\n"
KINDS = {
    "a connection alone": b"",
    "half a line": b"GET /sign-",
    "headers without an end": b"POST /sign-in HTTP/1.1\r\n" + HOST,
    "a form that does not come": b"POST /sign-in HTTP/1.1\r\n" + HOST + b"Content-Length: 4000\r\n\r\nname=A",
    "a body that is refused": b"POST /presses HTTP/1.1\r\n" + HOST + b"Content-Length: 90000\r\n\r\n{",
    "chunks without a last one": b"POST /sign-in HTTP/1.1\r\n"
    + HOST
    + b"Transfer-Encoding: chunked\r\n\r\n4\r\nname\r\n",
    "half a websocket": b"GET /_stcore/stream HTTP/1.1\r\n" + HOST + b"Connection: Upgrade\r\nUpgrade: websocket\r\n",
}
ASKED = 10
"""How often another address asks meanwhile."""
PATIENCE_S = 90.0


def answered_s(port: int, source: str) -> float:
    """Seconds until a page came; endless if none did."""
    begun = time.monotonic()
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=30, source_address=(source, 0))
    try:
        line.request("GET", "/sign-in")
        return time.monotonic() - begun if line.getresponse().status == 200 else float("inf")
    except OSError:
        return float("inf")
    finally:
        line.close()


def tried(port: int, said: bytes, count: int) -> tuple[list[float], float]:
    """Seconds in which others were answered while so many lines stood half said, and until the same address was."""
    lines = []
    for _ in range(count):
        with suppress(OSError):  # one that is refused at once is as good
            line = socket.create_connection(("127.0.0.1", port), timeout=30)
            lines.append(line)
            line.sendall(said % (port, port) if b"%d" in said else said)
    others, begun = [answered_s(port, "127.0.0.2") for _ in range(ASKED)], time.monotonic()
    while (same := answered_s(port, "127.0.0.1")) == float("inf") and time.monotonic() - begun < PATIENCE_S:
        time.sleep(0.2)
    took = time.monotonic() - begun
    for line in lines:
        line.close()
    return others, max(same, took)


def main() -> int:
    """Serve, try each kind, and print a table."""
    options = argparse.ArgumentParser()
    options.add_argument("--lines", type=int, default=1100)
    asked = options.parse_args()
    stopped = 0
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "journal"
        with Journal.open(folder):
            pass
        People(folder).add("Ann (invented)", "olive kettle rain window")
        with served_lan(folder, Path(place) / "log.txt") as app:
            port = urlsplit(app.address).port or 0
            print(f"load {os.getloadavg()[0]:.1f}")
            print(f"| {asked.lines} of one address | another is answered in, median / most s | the same, after s |")
            print("| --- | --- | --- |", flush=True)
            for kind, said in KINDS.items():
                others, same = tried(port, said, asked.lines)
                stopped += sum(one == float("inf") for one in (*others, same))
                print(f"| {kind} | {statistics.median(others):.3f} / {max(others):.3f} | {same:.1f} |", flush=True)
        lines = len((Path(place) / "log.txt").read_text("utf-8", "replace").splitlines())
    print(f"never answered: {stopped}; lines in the server's log: {lines}")
    return 1 if stopped else 0


if __name__ == "__main__":
    sys.exit(main())
