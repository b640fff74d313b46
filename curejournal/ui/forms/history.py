"""A batch's whole history: who entered what and when, corrections and withdrawals; each entry to be touched."""

from __future__ import annotations

from datetime import tzinfo
from html import escape

import streamlit as st

from curejournal.base.messages import msg
from curejournal.batch.descriptions import describe
from curejournal.batch.records import Batch, Entry, Withdrawn
from curejournal.documents.formatting import moment
from curejournal.judging.judgement import Judgement
from curejournal.ui.components import common
from curejournal.ui.forms import correction, entry, photo_answers
from curejournal.ui.i18n import _, tr
from curejournal.ui.page import Desk
from curejournal.workflow import documents

SHOWN = 20
"""Entries at first. Ours: a week's of a batch that is followed closely."""


def show(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    """The entries that count, each to be put right; then every entry ever made, and the papers."""
    if common.may_enter(desk):
        common.say(
            msg("Touch an entry to put it right. What was entered stays below; the correction counts from now on."),
            "soft",
        )
    shown = st.session_state.setdefault(f"entries-{batch.code}", SHOWN)
    latest = batch.entries[::-1]
    if not st.session_state.get("touched"):
        entry.ask(desk, batch.code)
    correction.touchable(desk, batch, latest[:shown], "history")
    if len(latest) > shown and st.button(_("Show more ({entries} in all)", entries=len(latest)), key="entries-more"):
        st.session_state[f"entries-{batch.code}"] = shown + SHOWN
        st.rerun()
    with st.expander(_("Every entry ever made, with who made it")):
        history = desk.journal.history(batch.code)
        later = {item.supersedes: item for item in history if item.supersedes is not None}
        rows = "".join(_line(item, later.get(item.id), desk.zone) for item in reversed(history))
        st.html(f'<table class="history">{rows}</table>')
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


def _line(item: Entry, later: Entry | None, zone: tzinfo) -> str:
    words, at = (escape(tr(text)) for text in (describe(item.record), moment(item.at, zone)))
    told = msg(
        "entry {id}, by {by}, written down {recorded_at}",
        id=item.id,
        by=item.by,
        recorded_at=moment(item.recorded_at.astimezone(zone)),
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
