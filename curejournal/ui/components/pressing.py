"""Large buttons that count once: each press is on the phone at once, and waits there until it is answered."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from curejournal.base.messages import msg
from curejournal.batch.records import EventKind
from curejournal.ui.components.scripted import scripted
from curejournal.ui.i18n import habits, tr
from curejournal.ui.page import Desk
from curejournal.ui.state import outbox
from curejournal.workflow.readers import USUAL

_press = scripted("presses", first=outbox.SCRIPT)


@dataclass(frozen=True)
class Poured:
    """A batch to press for: its portions, when it was poured, and what was noted lately, by press and in words."""

    code: str
    name: str
    about: str
    portions: tuple[str, ...]
    poured: datetime | None
    lately: tuple[tuple[str, str], ...]


def press(
    desk: Desk,
    batches: Sequence[Poured],
    current: str,
    buttons: Mapping[EventKind, str],
    more: Mapping[EventKind, str],
    key: str,
) -> str:
    """Draw the buttons for some batches, one of them chosen; gives the code of the batch that is chosen now.

    `buttons` are what is pressed for, by kind of event, and what it says; `more` happens seldom and is folded away.
    """
    fahrenheit = habits().units != USUAL.units
    pressed = _press(
        key=key,
        data={
            "journal": outbox.name_of(desk.journal),
            "by": desk.by,
            "current": current,
            "batches": [_as_data(one) for one in batches],
            "buttons": [(kind, tr(label)) for kind, label in buttons.items()],
            "more": [(kind, tr(label)) for kind, label in more.items()],
            "fahrenheit": fahrenheit,
            "stands_at": _milliseconds(desk.now) if desk.stands_still else None,
            "words": {name: tr(text) for name, text in _words(fahrenheit).items()},
            "outbox": outbox.words(),
        },
        default={"batch": current},
        on_batch_change=_nothing,
        on_kept_change=_nothing,
    )
    chosen = str(pressed.batch)
    return chosen if chosen in {one.code for one in batches} else current


def _as_data(one: Poured) -> dict[str, Any]:
    lately = [{"press": press, "words": tr(words)} for press, words in one.lately]
    about = {"name": one.name, "about": tr(one.about), "portions": one.portions, "poured": _milliseconds(one.poured)}
    return {"code": one.code, "lately": lately, **about}


def _milliseconds(at: datetime | None) -> int | None:
    return round(1000 * at.timestamp()) if at else None


def _words(fahrenheit: bool) -> dict[str, str]:
    return {
        "turns": msg("Which batch"),
        "of": msg("Of"),
        "whole": msg("the whole batch"),
        "keeping": msg("Pressed. Saving…"),
        "kept": msg("✓ Saved:"),
        "undone": msg("Undone:"),
        "full": msg("Not taken: too many presses wait on this phone. Connect it first."),
        "notSaved": msg("Not saved yet:"),
        "notStored": msg("This browser stores nothing; keep this page open."),
        "asked": msg("Is this right? It is not saved yet."),
        "refused": msg("Not saved."),
        "other": msg("Waits until they sign in:"),
        "keep": msg("Save it as it is"),
        "again": msg("Try again"),
        "drop": msg("Do not save it"),
        "undo": msg("Undo"),
        "cut": msg("Cut"),
        "bars": msg("How many bars?"),
        "days": msg("Days after the pour"),
        "keepCut": msg("Save the cut"),
        "notNow": msg("Not now"),
        "more": msg("Something else happened"),
        "temperature": msg("Temperature, °F") if fahrenheit else msg("Temperature, °C"),
        "keepTemperature": msg("Save temperature"),
        "note": msg("Note"),
        "keepNote": msg("Save note"),
        "example": msg("thick, separating, 2 g more…"),
        "when": msg("It happened at another time"),
        "at": msg("When it happened (the next press alone)"),
        "awake": msg("Keep the screen on"),
        "lately": msg("So far"),
    }


def _nothing() -> None:
    """A press that was kept, or another batch, redraws the page; nothing else is to be done."""
