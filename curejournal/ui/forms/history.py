"""A batch's whole history: who entered what and when, corrections and withdrawals; and how to make one."""

from __future__ import annotations

from datetime import tzinfo
from html import escape

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg
from curejournal.batch.descriptions import describe
from curejournal.batch.records import Batch, Decision, Entry, Withdrawn
from curejournal.documents.formatting import moment
from curejournal.judging.judgement import Judgement
from curejournal.soap.recipe import Recipe
from curejournal.ui.components import common
from curejournal.ui.forms import entry, photo_answers
from curejournal.ui.i18n import _, localised, tr
from curejournal.ui.page import Desk, attempt
from curejournal.workflow import documents

FIXED = (Recipe, Withdrawn)
"""Records that are not corrected field by field: a new one is entered, or it is taken back."""


def show(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    """The recipe, the way to correct, and every entry ever made."""
    lines = common.recipe_lines(batch.recipe)
    if lines:
        with st.expander(_("Recipe, as weighed")):
            common.listed(lines)
    st.download_button(
        _("Batch record for an inspector (PDF)"),
        lambda: documents.batch_record(desk.journal, [batch.code], desk.now),
        f"{batch.code}.pdf",
        "application/pdf",
        key=f"record-{batch.code}",
        on_click="ignore",
    )
    st.download_button(
        _("Tags for its photos (PDF)"),
        lambda: photo_answers.tags(desk, batch),
        f"{batch.code}-tags.pdf",
        "application/pdf",
        key=f"tags-{batch.code}",
        help=_("A photo with a tag in it files itself under the batch."),
        on_click="ignore",
    )
    _correct(desk, batch)
    entry.ask(desk, batch.code)
    history = desk.journal.history(batch.code)
    later = {item.supersedes: item for item in history if item.supersedes is not None}
    rows = "".join(_line(item, later.get(item.id), desk.zone) for item in reversed(history))
    st.html(f'<table class="history">{rows}</table>')


def _line(item: Entry, later: Entry | None, zone: tzinfo) -> str:
    words, at = (escape(tr(text)) for text in (describe(item.record), moment(item.at, zone)))
    told = msg(
        "entry {id}, by {by}, written down {recorded_at} UTC",
        id=item.id,
        by=item.by,
        recorded_at=moment(item.recorded_at),
    )
    if later is not None:
        act = msg("taken back") if isinstance(later.record, Withdrawn) else "corrected"
        told += msg("; {act} by {by} (entry {id})", act=act, by=later.by, id=later.id)
    if item.supersedes is not None:
        told += msg("; about entry {supersedes}", supersedes=item.supersedes)
    style = ' class="past"' if later is not None else ""
    return (
        f'<tr{style}><td>{at}</td><td><span class="what">{words}</span>'
        f'<br><span class="soft">{escape(tr(told))}</span></td></tr>'
    )


def _correct(desk: Desk, batch: Batch) -> None:
    if not common.may_enter(desk) or not st.toggle(_("Correct an entry, or take it back"), key=f"correct-{batch.code}"):
        return
    entries = {item.id: item for item in reversed(batch.entries)}
    names = {
        number: msg("{zone}: {record}", zone=moment(item.at, desk.zone), record=describe(item.record))
        for number, item in entries.items()
    }
    chosen = st.selectbox(
        _("Which entry"), list(names), None, format_func=localised(names.__getitem__), key=f"which-{batch.code}"
    )
    if chosen is None:
        return
    item = entries[chosen]
    if isinstance(item.record, Decision):
        common.say(msg("A signature stays. Under Checks, sign what holds now: the next signature answers this one."))
        return
    common.say(msg("What was entered stays in the history; the correction counts from now on."), "soft")
    if not isinstance(item.record, FIXED):
        with st.form(f"correct-{item.id}"):
            changed = entry.edited(item.record, f"correct-{item.id}")
            shown = item.at.astimezone(desk.zone).replace(tzinfo=None, second=0, microsecond=0)
            at = st.datetime_input(_("When"), shown, format="YYYY-MM-DD", step=60, key=f"correct-at-{item.id}")
            sent = st.form_submit_button(_("Keep the correction"), type="primary")
        if sent:
            entry.offer(
                desk,
                batch.code,
                [changed],
                item.at if at == shown else at.replace(tzinfo=desk.zone),
                supersedes=item.id,
            )
    with st.form(f"back-{item.id}"):
        why = st.text_input(_("Why is it taken back?"), key=f"why-{item.id}", max_chars=500)
        if st.form_submit_button(_("Take it back")):
            done = attempt(lambda: workflow.take_back(desk.journal, item, why=why.strip(), by=desk.by, now=desk.now))
            if done is not None:
                entry.tell(batch.code, [done])
                st.rerun()
