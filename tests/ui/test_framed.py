"""A component that Streamlit shows in a frame works under the policy of the app's pages; ours are drawn without one.

Should one of ours ever come in a frame, such as another's camera or marker, nothing that it needs is blocked.
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def address() -> Iterator[str]:
    """An app of one framed component, behind what stands before ours."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, str(ROOT / "tests" / "ui" / "framed" / "app.py"), str(port)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    server = subprocess.Popen(
        command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
    )
    for _ in range(240):
        assert server.poll() is None, "the server ended at once"
        with suppress(OSError):
            urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=1)
            break
        time.sleep(0.25)
    yield f"http://127.0.0.1:{port}"
    os.killpg(server.pid, signal.SIGTERM)
    server.wait(20)


def test_a_component_in_a_frame_is_drawn_styled_and_heard(browser: Any, address: str) -> None:
    context = browser.new_context()
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda told: said.append(told.text))
    page.goto(address)
    inside = page.frame_locator("iframe[title*=framed]")
    inside.locator("body[data-picture='40']").wait_for(timeout=60_000)  # a picture drawn in it, by a blob
    inside.get_by_role("button", name="Answer").click()
    page.get_by_text("said: heard: rgb(1, 2, 3), 40").wait_for()
    assert page.locator("iframe").bounding_box()["height"] == 120, "it said how high it is"
    assert not [line for line in said if "Content Security Policy" in line or "X-Frame-Options" in line]
    # A page of another site in the same place is not drawn.
    page.evaluate("document.querySelector('iframe').src = 'http://127.0.0.2:9/'")
    page.wait_for_timeout(500)
    assert [line for line in said if "frame-src" in line]
    context.close()
