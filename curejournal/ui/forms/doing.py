"""What is due, done on the spot: the button that opens its form, and the form."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import groupby

import streamlit as st

from curejournal.base.messages import join, msg
from curejournal.batch.records import Batch
from curejournal.documents.formatting import day
from curejournal.judging.tasks import Task
from curejournal.ui.components import common
from curejournal.ui.forms import alkali, checks, entry, photos, pouring, surface_check, take_photos, weighing
from curejournal.ui.i18n import tr
from curejournal.ui.page import Desk
from curejournal.ui.state import cache


def _evidence(desk: Desk, batch: Batch) -> None:
    checks.show(desk, batch, cache.judged(desk, batch))


ON_THE_SPOT: dict[str, tuple[str, Callable[[Desk, Batch], None]]] = {
    "weigh": (":material/scale:", weighing.weigh),
    "photograph": (":material/photo_camera:", take_photos.take),
    "test": (":material/science:", alkali.test),
    "look": (":material/visibility:", surface_check.check),
    "release": (":material/draw:", _evidence),
    "decide": (":material/balance:", _evidence),
    "complete": (":material/edit:", pouring.complete),
}


ORDER = ("decide", "release", "test", "complete", "weigh", "look", "photograph")
"""What is done first where several things are due at once: what a verdict waits for before what only adds to it."""


def in_order(things: Sequence[Task]) -> list[tuple[str, list[Task]]]:
    """Group things to do by what is done, the first to do first."""
    ordered = sorted(things, key=lambda thing: ORDER.index(thing.what))
    return [(what, list(same)) for what, same in groupby(ordered, key=lambda thing: thing.what)]


def button(desk: Desk, code: str, what: str, things: Sequence[Task], *, dark: bool, wide: bool = False) -> bool:
    """Draw the button of one thing to do; whether its form is open."""
    key = f"{what}-{code}"
    open_now = st.session_state.get("doing") == key
    if desk.reads_only:
        common.say(words_of(things))
        return False
    pressed = st.button(
        tr(msg("Close") if open_now else words_of(things)),
        key=f"do-{key}",
        icon=":material/close:" if open_now else ON_THE_SPOT[what][0],
        type="primary" if dark and not open_now else "secondary",
        width="stretch" if wide else "content",
    )
    if pressed:
        st.session_state["doing"] = None if open_now else key
        st.rerun()
    return open_now


def form(desk: Desk, code: str, what: str) -> None:
    """Draw the form of one thing to do, and ask about what was entered."""
    with st.container(key=f"here-{what}-{code}"):
        ON_THE_SPOT[what][1](desk, desk.journal.batch(code))
        entry.ask(desk, code)


def done_for_good(desk: Desk, due: Iterable[tuple[str, str]]) -> None:
    """Say what became of a photo whose asking ended with it: its form is no longer there to say so.

    `due` are what is still to do, and of which batch.
    """
    what, _, code = (st.session_state.get("doing") or "").partition("-")
    if what == "photograph" and (what, code) not in set(due) and code in desk.journal.names():
        photos.done(desk, desk.journal.batch(code))


def words_of(things: Sequence[Task]) -> str:
    """What is to do, in one line: several portions are one photograph."""
    if things[0].what != "photograph":
        return things[0].words
    names = [thing.portion for thing in things if thing.portion]
    return msg(
        "Photograph {names}",
        names=join(" and ", [join(", ", names[:-1]), *names[-1:]] if len(names) > 1 else names) or "it",
    )


def since(desk: Desk, things: Sequence[Task]) -> str:
    """Since when it is due."""
    first = min(thing.when for thing in things).astimezone(desk.zone)
    if first > desk.now:
        return msg("from {first}", first=day(first))
    return "today" if first.date() == desk.now.date() else msg("since {first}", first=day(first))
