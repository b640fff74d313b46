"""The demo and the app."""

from __future__ import annotations

import os
import subprocess
import sys
import time
import urllib.request
import webbrowser
from pathlib import Path
from typing import Annotated

import typer

from curejournal import demo as demonstration
from curejournal import workflow
from curejournal.cli.typed import (
    DATA,
    DATABASE_URL,
    DEFAULT_JOURNAL,
    AsJson,
    JournalAt,
    app,
    now_of,
    open_journal,
    print_json,
)
from curejournal.errors import CureJournalError
from curejournal.journal.store import Journal


@app.command()
def demo(
    folder: Annotated[Path, typer.Option("--folder", help="Where the demo's journal goes.")] = DATA / "demo",
    port: Annotated[int, typer.Option("--port")] = 8501,
    no_app: Annotated[bool, typer.Option("--no-app", help="Build the journal and print its verdicts, no app.")] = False,
    no_open: Annotated[bool, typer.Option("--no-open", help="Do not open a browser window.")] = False,
    as_json: AsJson = False,
) -> None:
    """Measure the demo's pictures, judge its batches, and open the app on them."""
    pictures = demonstration.pictures_folder()
    folder.mkdir(parents=True, exist_ok=True)
    with Journal.open(folder) as kept:
        with typer.progressbar(length=1000, label="Measuring the pictures", file=sys.stderr) as bar:

            def show(step: demonstration.Step) -> None:
                bar.update(round(1000 * step.done / step.total) - bar.pos)

            demonstration.build_demo(kept, pictures, show)
        verdicts = {batch.code: workflow.judge_batch(kept, batch.code, now_of(kept)) for batch in kept.batches()}
        names = {batch.code: batch.name for batch in kept.batches()}
    if as_json:
        print_json(
            {"journal": str(folder), "verdicts": {code: workflow.as_json(value) for code, value in verdicts.items()}}
        )
    else:
        for code, value in verdicts.items():
            print(f"{code} {names[code]}: {value.headline}")
    os.environ.pop(DATABASE_URL, None)  # the demo is in its folder
    if not no_app:
        _serve(folder, port, not no_open)


@app.command()
def serve(
    port: Annotated[int, typer.Option("--port")] = 8501,
    no_open: Annotated[bool, typer.Option("--no-open", help="Do not open a browser window.")] = False,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Open the app on this computer (127.0.0.1 only)."""
    with open_journal(journal):
        pass  # a journal that cannot be opened is said here, not in the browser
    if as_json:
        print_json({"address": f"http://127.0.0.1:{port}", "journal": str(journal)})
    _serve(journal, port, not no_open)


def _serve(folder: Path, port: int, open_browser: bool) -> None:
    ui = Path(__file__).parents[1] / "ui"
    command = [sys.executable, "-m", "streamlit", "run", str(ui / "start.py"), "--server.port", str(port)]
    environment = {**os.environ, "CUREJOURNAL_JOURNAL": str(folder.resolve())}
    # The settings (127.0.0.1 alone, permitted hosts, no telemetry) are in the folder it runs in.
    with subprocess.Popen(command, cwd=ui, env=environment) as server:
        try:
            if open_browser and _answers(port, server):
                webbrowser.open(f"http://127.0.0.1:{port}")
            server.wait()
        except KeyboardInterrupt:
            server.terminate()
    if server.returncode not in (0, -15, -2, 130):
        raise CureJournalError(f"The app stopped with code {server.returncode}.", f"Is port {port} in use? Try --port.")


def _answers(port: int, server: subprocess.Popen[bytes]) -> bool:
    for _ in range(120):
        if server.poll() is not None:
            return False
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=1):
                return True
        except OSError:
            time.sleep(0.25)
    return False
