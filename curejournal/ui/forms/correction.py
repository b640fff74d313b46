"""An entry is touched where it is shown, changed in the form that made it, and saved: both stay in the history."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg
from curejournal.batch.descriptions import describe
from curejournal.batch.kinds import KINDS
from curejournal.batch.records import (
    AlkaliTest,
    Batch,
    ColourReading,
    Decision,
    Entry,
    OwnRules,
    PhotoNote,
    PhotoView,
    Portion,
    Record,
    ScalarReading,
    SurfaceNote,
    Withdrawn,
)
from curejournal.documents.formatting import moment
from curejournal.soap.recipe import Recipe
from curejournal.ui.components import common
from curejournal.ui.forms import alkali, entry, fields, recipe, room_reading, surface_check, target_colour
from curejournal.ui.i18n import _
from curejournal.ui.page import Desk, attempt, plain

ELSEWHERE = (Recipe, ColourReading, PhotoNote, PhotoView, Decision, OwnRules, Withdrawn)
"""Records that are put right where they were made, beside a picture say, or that stay."""


def touchable(desk: Desk, batch: Batch, entries: Iterable[Entry], where: str) -> None:
    """List entries, each to be touched; the one that was touched has its form below it."""
    for item in entries:
        if touched(desk, batch, item, where, line(desk, item)):
            opened(desk, batch, item)


def line(desk: Desk, item: Entry) -> str:
    """Say what an entry holds, and of when."""
    return msg("{when}: {record}", when=moment(item.at, desk.zone), record=describe(item.record))


def touched(desk: Desk, batch: Batch, item: Entry, where: str, words: str) -> bool:
    """Draw one entry as something to touch; whether its form is open here."""
    if desk.reads_only:
        common.say(words)
        return False
    here = (where, item.id)
    is_open = st.session_state.get("touched") == here
    with st.container(key=f"entry-{where}-{item.id}"):
        if st.button(plain(words), key=f"touch-{where}-{item.id}", type="tertiary"):
            st.session_state["touched"] = None if is_open else here
            st.rerun()
    return is_open


def opened(desk: Desk, batch: Batch, item: Entry) -> None:
    """Draw the form that made an entry, filled in as it is; and the way to take it back."""
    with st.container(border=True, key=f"correct-{item.id}"):
        if isinstance(item.record, Decision):
            common.say(
                msg("A signature stays. Under Checks, sign what holds now: the next signature answers this one.")
            )
            return
        if isinstance(item.record, ELSEWHERE):
            _elsewhere(desk, batch, item)
        else:
            _change(desk, batch, item)
        entry.ask(desk, batch.code)
        _take_back(desk, batch, item)


def _elsewhere(desk: Desk, batch: Batch, item: Entry) -> None:
    if isinstance(item.record, Recipe):
        recipe.of_batch(desk, batch)
    elif item.photo:
        common.way(desk, "photo", msg("Open the photo, and correct it there"), ":material/photo:", photo=item.photo)


def _change(desk: Desk, batch: Batch, item: Entry) -> None:
    key = f"correct-{item.id}"
    with st.form(f"{key}-form", enter_to_submit=False, border=False):
        changed = _fields(batch, item.record, key)
        shown = item.at.astimezone(desk.zone).replace(tzinfo=None, second=0, microsecond=0)
        at = st.datetime_input(_("When"), shown, format="YYYY-MM-DD", step=60, key=f"{key}-at")
        sent = st.form_submit_button(_("Save"), type="primary", key=f"{key}-save")
    if sent:
        when = item.at if at == shown else entry.in_zone(desk, at)
        if (changed, when) == (item.record, item.at):
            st.info(_("It stands so already."))
        else:
            entry.offer(desk, batch.code, [changed], when, supersedes=item.id)


def _fields(batch: Batch, record: Record, key: str) -> Record:
    if isinstance(record, AlkaliTest):
        return alkali.fields(record, key)
    if isinstance(record, SurfaceNote):
        return surface_check.fields(record, key)
    if isinstance(record, ScalarReading) and record.kind in KINDS:
        value = room_reading.field(record.kind, record.value, key)
        return record if value is None else replace(record, value=value)
    names = [portion.name for portion in batch.portions]
    changed = fields.fields_of(record, key, names)
    if isinstance(changed, Portion):
        changed = replace(changed, tolerance=target_colour.tolerance(f"{key}-tolerance", changed.tolerance))
    return changed


def _take_back(desk: Desk, batch: Batch, item: Entry) -> None:
    with st.expander(_("It was never so: take it back")), st.form(f"back-{item.id}", border=False):
        why = st.text_input(
            _("Why is it taken back?"), key=f"why-{item.id}", max_chars=500, placeholder=_("it was another batch")
        )
        if st.form_submit_button(_("Take it back"), key=f"back-{item.id}-go"):
            done = attempt(lambda: workflow.take_back(desk.journal, item, why=why.strip(), by=desk.by, now=desk.now))
            if done is not None:
                st.session_state.pop("touched", None)
                entry.tell(batch.code, [done])
                st.rerun()
