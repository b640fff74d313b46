"""Where the phones' presses come in: a way of its own beside the app's websocket, so that no page need be drawn for it.

What stands before the app stands before this too: own hosts, own pages (`auth/request_filter.py`), and the sign-in.
"""

from __future__ import annotations

from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse
from starlette.routing import Route

from curejournal.base.errors import CureJournalError
from curejournal.base.lazy import Module
from curejournal.base.messages import localise, msg
from curejournal.journal.store import Journal
from curejournal.ui.i18n import tr
from curejournal.ui.state import journal_choice
from curejournal.ui.state.signed_in import behind_gate
from curejournal.workflow.readers import Reader, kept_habits

if TYPE_CHECKING:
    from curejournal.auth import gate
    from curejournal.workflow import presses
else:  # the first page needs them not
    gate, presses = Module("curejournal.auth.gate"), Module("curejournal.workflow.presses")

PATH = "/presses"
SCRIPT = Path(__file__).with_name("outbox.js").read_text("utf-8")
"""The phone's side: before the script of each component that presses; the first of them on a page runs it."""


def name_of(journal: Journal) -> str:
    """Name a journal to a phone, which keeps the presses of each apart; it tells nothing of where it lies."""
    return sha256(str(journal.location).encode()).hexdigest()[:16]


async def _receive(request: Request) -> JSONResponse:
    body = bytearray()
    async for piece in request.stream():
        body += piece
        if len(body) > presses.MOST_BYTES:
            return _said(413, "Too much was sent at once.")
    name, reads_only = "", False
    if behind_gate():
        if gate.NAME_HEADER not in request.headers:
            return _said(401, "Nobody is signed in.")
        name, reads_only = (
            unquote(request.headers[gate.NAME_HEADER]),
            request.headers.get(gate.RIGHTS_HEADER) == gate.READS,
        )
    try:
        answers = await run_in_threadpool(_keep, bytes(body), name, reads_only)
    except presses.NotASending as fault:
        return _said(400, fault.what)
    except CureJournalError as fault:  # the journal cannot be opened, is busy, or its disk is full: it is sent again
        return _said(503, str(fault))
    return JSONResponse({"answers": answers}, headers={"cache-control": "no-store"})


def _keep(body: bytes, person: str, reads_only: bool) -> list[dict[str, Any]]:
    sending = presses.read_sending(body)
    journal = next((one for one in journal_choice.all_open() if name_of(one) == sending.journal), None)
    if journal is None:
        raise presses.NotASending("This journal is not here.")
    if person:
        journal = journal.of(person, reads_only=reads_only)
    answers = presses.keep_presses(journal, sending, clock=datetime.now().astimezone(), person=person)
    reader = Reader(kept_habits(journal))
    return [_as_json(answer, reader) for answer in answers]


def _as_json(answer: presses.Answer, reader: Reader) -> dict[str, Any]:
    at = answer.at and round(1000 * answer.at.timestamp())
    words = str(localise(answer.words, reader))
    return {"key": answer.key, "state": answer.state, "words": words, "made_by": answer.made_by, "at": at}


def _said(status: int, words: str) -> JSONResponse:
    return JSONResponse({"words": words}, status, headers={"cache-control": "no-store"})


ROUTE = Route(PATH, _receive, methods=["POST"])


def words() -> dict[str, str]:
    """Give what the phone says of presses that wait."""
    return {
        "cut": tr(msg("Connection lost; sent as soon as it is back.")),
        "signIn": tr(msg("Nobody is signed in; sent once you have signed in again.")),
        "waiting": tr(msg("Not saved yet: {count}. Sent as soon as the connection is back.", count="{count}")),
        "undo": tr(msg("Undo")),
    }
