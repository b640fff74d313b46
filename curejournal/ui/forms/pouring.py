"""The day of the pour: large buttons for what happens, stamped with the time, portion by portion."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

import streamlit as st

from curejournal.base.messages import msg
from curejournal.batch.descriptions import describe
from curejournal.batch.records import Batch, Event, EventKind, ScalarReading
from curejournal.documents import formatting
from curejournal.ui.components import common, pressing, showing
from curejournal.ui.forms import entry, recipe
from curejournal.ui.i18n import _
from curejournal.ui.page import Desk
from curejournal.ui.state import cache, material_cache
from curejournal.workflow import materials
from curejournal.workflow.photos.showing import shown_photos

LARGE: dict[EventKind, str] = {
    "trace": msg("Trace"),
    "thickening": msg("Thickening"),
    "colour changed": msg("Its colour changed"),
    "poured": msg("Poured"),
    "gel": msg("Gel phase"),
    "unmoulded": msg("Unmoulded"),
    "cut": msg("Cut"),
}
MORE: dict[EventKind, str] = {
    "seizing": msg("It seized"),
    "ricing": msg("It riced"),
    "separation": msg("It separated"),
    "overheated": msg("It overheated"),
    "volcano": msg("It rose over the mould"),
    "partial gel": msg("Partial gel"),
    "soft": msg("Still soft"),
    "crumbly": msg("Crumbly"),
    "cracked": msg("Cracked"),
    "planed": msg("Planed"),
    "stamped": msg("Stamped"),
    "washed": msg("Washed"),
    "smell gone": msg("The scent is gone"),
    "smell off": msg("It smells off"),
}
"""What happens now and then; as kinds of their own they can be counted and compared."""
LATELY = timedelta(hours=36)
"""How long a pour is looked back on, and a batch opens where it is written down: until about its cut. Ours."""
MOST_AT_ONCE = 12
"""Batches of one day that are switched between. Ours: more than a day's loaves."""
PICTURES = 3
"""The latest pictures of a batch that stand below its buttons. Ours."""


def is_on(desk: Desk, batch: Batch) -> bool:
    """Whether this batch is being poured, or waits in its mould."""
    return batch.poured_at is None or desk.now - batch.poured_at < LATELY


def of_the_day(desk: Desk) -> list[Batch]:
    """The batches that are being poured or wait in their moulds, the latest started first."""
    since = desk.now - LATELY
    touched = [head for head in desk.journal.batches() if max(head.started_at, head.last_entry_at or since) > since]
    batches = (desk.journal.batch(head.code) for head in touched[: 4 * MOST_AT_ONCE])
    return [batch for batch in batches if is_on(desk, batch)][:MOST_AT_ONCE]


def show(desk: Desk, batch: Batch, others: Sequence[Batch] = (), *, key: str = "") -> str:
    """Draw the buttons, what was noted so far, and the latest pictures of what was poured.

    `others` are the batches to which one press switches; gives the code of the one that is chosen.
    """
    offered = list({one.code: one for one in [*others, batch]}.values())
    shown = [_as_poured(desk, one) for one in offered]
    chosen = pressing.press(desk, shown, batch.code, LARGE, MORE, key=key or f"pour-{batch.code}")
    batch = next(one for one in offered if one.code == chosen)
    _darkened(desk, batch)
    _pictures(desk, batch)
    return chosen


def _as_poured(desk: Desk, batch: Batch) -> pressing.Poured:
    noted = [
        item
        for item in reversed(batch.entries)
        if isinstance(item.record, (Event, ScalarReading)) and desk.now - item.at < LATELY
    ]
    lately = [
        msg(
            "{day}{at:%H:%M}{zone}: {record}",
            day=_other_day(item.at, desk),
            at=item.at,
            zone=formatting.offset(item.at, desk.zone),
            record=describe(item.record),
        )
        for item in noted
    ]
    about = (
        msg("poured {age} ago", age=formatting.age(batch.poured_at, desk.now))
        if batch.poured_at
        else msg("not poured yet")
    )
    names = tuple(portion.name for portion in batch.portions)
    said = tuple((item.press or "", words) for item, words in zip(noted, lately, strict=True))
    return pressing.Poured(batch.code, batch.name, about, names if len(names) > 1 else (), batch.poured_at, said)


def _other_day(at: datetime, desk: Desk) -> str:
    """The day of what did not happen today: at night a pour goes on from one to the next."""
    same = at.date() == desk.now.astimezone(at.tzinfo).date()
    return "" if same else msg("{day}, ", day=formatting.day_of_month(at))


def _pictures(desk: Desk, batch: Batch) -> None:
    """The latest pictures, large: what was poured is seen beside what is noted of it."""
    for shown in [one for one in shown_photos(batch) if one.sha256][-PICTURES:][::-1]:
        showing.taken(desk, batch.name, shown, 1200)


def _darkened(desk: Desk, batch: Batch) -> None:
    """Once its colour changed: what all earlier batches with these materials say, with their pictures."""
    changed = [event for at, event in batch.records(Event) if event.kind == "colour changed" and desk.now - at < LATELY]
    if not changed:
        return
    answer = materials.when_it_darkens(
        desk.journal, batch.code, desk.now, changed[-1].portion, tell=material_cache.teller(desk)
    )
    with st.container(border=True, key=f"darkened-{batch.code}"):
        st.subheader(_("It darkened: what earlier batches did"))
        common.listed(answer.words)
        for before in answer.darkened[-4:][::-1]:
            common.way(
                desk,
                "batch",
                msg("{batch} · {name}, {portion}", batch=before.batch, name=before.name, portion=before.portion),
                batch=before.batch,
            )
            if before.photos:
                with st.container(horizontal=True, key=f"darkened-{batch.code}-{before.batch}-{before.portion}"):
                    for sha256 in before.photos:
                        st.image(
                            cache.small_picture(desk.journal, sha256, 320),
                            width=150,
                            alt=_("{name}, {portion}", name=before.name, portion=before.portion),
                        )


def complete(desk: Desk, batch: Batch) -> None:
    """Ask for what the record lacks: when it was poured, or the recipe."""
    if batch.poured_at is None:
        key = f"complete-{batch.code}"
        common.say(msg("When was it poured? Age, drying and colour count from there."))
        at = entry.moment(desk, key)
        if st.button(_("It was poured then"), key=f"{key}-poured", type="primary"):
            entry.offer(desk, batch.code, [Event("poured")], at)
    if batch.recipe is None:
        recipe.of_batch(desk, batch)
