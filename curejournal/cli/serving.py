"""The demo and the app, on this computer or for phones in the network."""

from __future__ import annotations

import os
import signal
import ssl
import subprocess
import sys
import time
import urllib.request
import webbrowser
from pathlib import Path
from typing import Annotated

import segno
import typer

from curejournal import workflow
from curejournal.auth.addresses import NOT_AS_MEANT, Doorway, address_here, fingerprint, names_here
from curejournal.auth.people import People
from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.cli.commands import DATABASE_URL
from curejournal.cli.options import (
    DATA,
    DEFAULT_JOURNAL,
    AsJson,
    JournalAt,
    Mistyped,
    now_of,
    open_journal,
    print_json,
)
from curejournal.cli.speech import tell
from curejournal.journal.store import Journal
from curejournal.workflow import demo as demonstration

UI = Path(__file__).parents[1] / "ui"


def demo(
    folder: Annotated[Path, typer.Option("--folder", help="Where the demo's journal goes.")] = DATA / "demo",
    port: Annotated[int, typer.Option("--port")] = 8501,
    no_app: Annotated[bool, typer.Option("--no-app", help="Build the journal and print its verdicts, no app.")] = False,
    no_open: Annotated[bool, typer.Option("--no-open", help="Do not open a browser window.")] = False,
    as_json: AsJson = False,
) -> None:
    """Measure the demo's pictures, judge its batches, and open the app on them."""
    pictures = demonstration.pictures_folder()
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
            tell(msg("{code} {name}: {headline}", code=code, name=names[code], headline=value.headline))
    os.environ.pop(DATABASE_URL, None)  # the demo is in its folder
    if not no_app:
        _serve(folder, port, not no_open)


def serve(
    port: Annotated[int, typer.Option("--port")] = 8501,
    no_open: Annotated[bool, typer.Option("--no-open", help="Do not open a browser window.")] = False,
    lan: Annotated[
        bool, typer.Option("--lan", help="Let phones in this network in, with a sign-in (curejournal people add).")
    ] = False,
    certificate: Annotated[Path | None, typer.Option("--certificate", help="TLS: the certificate, PEM.")] = None,
    key: Annotated[Path | None, typer.Option("--key", help="TLS: the certificate's key, PEM.")] = None,
    proxy: Annotated[
        str | None, typer.Option("--proxy", help="The name under which a TLS proxy on this computer is asked.")
    ] = None,
    without_tls: Annotated[
        bool, typer.Option("--without-tls", help="Serve although everybody in the network can read along.")
    ] = False,
    address: Annotated[str | None, typer.Option("--address", help="At which of its addresses to listen.")] = None,
    host: Annotated[list[str] | None, typer.Option("--host", help="Another name that it may be asked by.")] = None,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Open the app on this computer (127.0.0.1 only), or with --lan for phones in the network, behind a sign-in."""
    lan_only = [certificate, key, proxy, without_tls, address, host]
    if any(lan_only) and not lan:
        raise Mistyped(msg("These options are for others in the network."), msg("Add --lan, or leave them out."))
    with open_journal(journal):
        pass  # a journal that cannot be opened is said here, not in the browser
    if lan:
        _serve_others(
            _doorway(journal, port, certificate, key, proxy, without_tls, address, host), not no_open, as_json
        )
        return
    if as_json:
        print_json({"address": f"http://127.0.0.1:{port}", "journal": str(journal)})
    _serve(journal, port, not no_open)


def _doorway(
    journal: Path,
    port: int,
    certificate: Path | None,
    key: Path | None,
    proxy: str | None,
    without_tls: bool,
    address: str | None,
    more_hosts: list[str] | None,
) -> Doorway:
    if not People(journal).all():
        raise Mistyped(
            msg("Nobody could sign in: no person has a passphrase yet."), msg("Add one: curejournal people add NAME")
        )
    if (certificate is None) != (key is None):
        raise Mistyped(msg("A certificate and its key belong together."), msg("Give both, --certificate and --key."))
    if sum((certificate is not None, proxy is not None, without_tls)) != 1:
        raise Mistyped(
            msg("Without TLS, everybody in the network can read along, and act as whoever signed in."),
            msg(
                "Give one of these: --certificate with --key; --proxy NAME if a proxy speaks TLS; "
                "--without-tls to serve all the same."
            ),
        )
    files = ("", "")
    if certificate and key:
        fingerprint(certificate, key)
        files = (str(certificate.absolute()), str(key.absolute()))
    listens = address or ("127.0.0.1" if proxy else address_here())
    # The first is what is shown to be typed: one that was named, as a certificate may know only that.
    hosts = (*([proxy] if proxy else []), *(more_hosts or []), *([] if proxy else names_here(listens)))
    return Doorway(str(journal.resolve()), listens, port, hosts, *files, behind_proxy=proxy is not None)


def _serve_others(doorway: Doorway, open_browser: bool, as_json: bool) -> None:
    people = People(Path(doorway.folder)).all()
    mark = fingerprint(Path(doorway.certificate), Path(doorway.key)) if doorway.certificate else ""
    if as_json:
        names = {person.name: "reads" if person.reads_only else "writes" for person in people}
        told = {"address": doorway.url, "hosts": doorway.hosts, "people": names, "secure": doorway.secure}
        print_json(told | {"certificate_sha256": mark, "journal": doorway.folder})
    else:
        tell(msg("On the phone: {url}\n", url=doorway.url))
        segno.make(doorway.url).terminal(compact=True)
        tell(msg("\nMay sign in: {names}.", names=", ".join(person.name for person in people)))
        if mark:
            tell(msg("The certificate's SHA-256, to compare on the phone: {mark}", mark=mark))
        if not doorway.secure:
            tell(msg("WITHOUT TLS: everybody in this network can read along, and act as whoever signed in."))
    sys.stdout.flush()
    # -P: the folder that it runs in is not to be searched for modules.
    command = [sys.executable, "-P", "-m", "curejournal.ui.lan", doorway.to_json()]
    _run(command, dict(os.environ), doorway.url if open_browser and not doorway.behind_proxy else "", doorway.port)


def _serve(folder: Path, port: int, open_browser: bool) -> None:
    command = [sys.executable, "-P", "-m", "curejournal.ui.server", str(port)]
    environment = {**os.environ, "CUREJOURNAL_JOURNAL": str(folder.resolve())}
    _run(command, environment, f"http://127.0.0.1:{port}" if open_browser else "", port)


def _run(command: list[str], environment: dict[str, str], opened: str, port: int) -> None:
    # In a folder of its own: none of another's settings or secrets for Streamlit are there.
    with subprocess.Popen(command, cwd=UI, env=environment) as server:
        # Told to end, it takes the server with it: none goes on unseen.
        signal.signal(signal.SIGTERM, lambda *_: server.terminate())
        try:
            if opened and _answers(opened, server):
                webbrowser.open(opened)
            server.wait()
        except KeyboardInterrupt:
            server.terminate()
    if server.returncode == NOT_AS_MEANT:
        raise typer.Exit(1)  # the server has said why
    if server.returncode not in (0, -15, -2, 130):
        raise CureJournalError(
            msg("The app stopped with code {code}.", code=server.returncode),
            msg("Is port {port} in use? Try --port.", port=port),
        )


def _answers(address: str, server: subprocess.Popen[bytes]) -> bool:
    # Only whether it answers: its certificate may be one that only the phone was told to trust.
    context = ssl._create_unverified_context()
    for _ in range(120):
        if server.poll() is not None:
            return False
        try:
            with urllib.request.urlopen(address, timeout=1, context=context):
                return True
        except OSError:
            time.sleep(0.25)
    return False
