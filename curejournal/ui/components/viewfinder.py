"""What a camera sees before the photo, looked at by what finds the card in the photo; nothing of it is kept."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse
from starlette.routing import Route

from curejournal.base.errors import CureJournalError
from curejournal.base.lazy import Module
from curejournal.base.messages import localise
from curejournal.ui.state import journal_choice, outbox
from curejournal.ui.state.signed_in import behind_gate
from curejournal.workflow.readers import Reader, kept_habits

if TYPE_CHECKING:
    from curejournal import workflow
    from curejournal.auth import gate
    from curejournal.workflow import photos
    from curejournal.workflow.photos import viewfinder
else:  # the first page needs them not
    gate, workflow = Module("curejournal.auth.gate"), Module("curejournal.workflow")
    photos, viewfinder = Module("curejournal.workflow.photos"), Module("curejournal.workflow.photos.viewfinder")

SCRIPT = Path(__file__).with_name("viewfinder.js").read_text("utf-8")
PATH = "/camera-view"
MOST_BYTES = 600_000
"""Of a view: several times what one of 960 pixels takes. Ours."""


async def _receive(request: Request) -> JSONResponse:
    body = bytearray()
    async for piece in request.stream():
        body += piece
        if len(body) > MOST_BYTES:
            return JSONResponse({}, 413)
    if behind_gate() and gate.NAME_HEADER not in request.headers:
        return JSONResponse({}, 401)
    asked = request.query_params
    try:
        said = await run_in_threadpool(_hint, bytes(body), asked.get("journal", ""), asked.get("card", ""))
    except CureJournalError:  # no picture, or no such card or journal: no hint
        return JSONResponse({}, 400)
    return JSONResponse(said, headers={"cache-control": "no-store"})


def _hint(view: bytes, journal_name: str, card_name: str) -> dict[str, bool | str]:
    journal = next((one for one in journal_choice.all_open() if outbox.name_of(one) == journal_name), None)
    if journal is None or (card_name and card_name not in workflow.card_names(journal)):
        return {}
    card = workflow.find_card(card_name, journal) if card_name else None
    ready, words = viewfinder.hint(view, photos.cards_for(journal, card))
    return {"ready": ready, "words": str(localise(words, Reader(kept_habits(journal))))}


ROUTE = Route(PATH, _receive, methods=["POST"])
