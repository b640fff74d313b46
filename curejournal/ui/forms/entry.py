"""Forms for what a maker enters, the question before something unlikely is kept, and the undo after."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING, Any

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg
from curejournal.batch.records import Batch, Entry, Record, Weighing
from curejournal.ui.i18n import tr
from curejournal.ui.page import Desk, attempt, plain
from curejournal.ui.state import drafts

if TYPE_CHECKING:
    from curejournal.batch.plausibility import Doubt
    from curejournal.workflow.photos import Source


@dataclass(frozen=True)
class Offered:
    """Records that wait for the maker's word because something about them is unlikely."""

    code: str
    records: tuple[Record, ...]
    at: datetime
    supersedes: int | None
    doubts: tuple[Doubt, ...]
    forms: tuple[str, ...]
    photo: Source | None = None
    settings: Mapping[str, Any] = field(default_factory=dict)


def offer(
    desk: Desk,
    code: str,
    records: Sequence[Record],
    at: datetime,
    *forms: str,
    supersedes: int | None = None,
    photo: Source | None = None,
    settings: Mapping[str, Any] | None = None,
) -> None:
    """Keep records, ask first if one is unlikely, or say why one cannot be. Once they are kept, these forms are reset.

    `photo` is filed with them, and `settings` are what the form remembers.
    """
    if not records:
        st.info(tr(msg("Nothing was entered.")))
        return
    doubts: list[Doubt] = []
    for record in records:
        found = attempt(
            partial(workflow.doubts_about, desk.journal, code, record, at=at, now=desk.now, supersedes=supersedes)
        )
        if found is None:
            return
        doubts += found
    offered = Offered(code, tuple(records), at, supersedes, tuple(doubts), forms, photo, settings or {})
    if doubts:
        st.session_state["offered"] = offered
    else:
        _keep(desk, offered)


def ask(desk: Desk, code: str) -> None:
    """The question about what was offered for this batch, if there is one; once on a page, where it is asked first."""
    offered: Offered | None = st.session_state.get("offered")
    if offered is None or offered.code != code or st.session_state.get("question-drawn"):
        return
    st.session_state["question-drawn"] = True
    with st.container(border=True, key="doubt"):
        st.warning(tr(msg("**Is this right?** It is not kept yet.")), icon=":material/back_hand:")
        for doubt in offered.doubts:
            st.markdown(tr(f"{plain(doubt.text)} {plain(doubt.do)}"))
        with st.container(horizontal=True):
            if st.button(tr(msg("Keep it as it is")), key="keep-doubted"):
                _keep(desk, offered)
            if st.button(tr(msg("Do not keep it")), key="drop-doubted", type="primary"):
                del st.session_state["offered"]
                st.rerun()


def _keep(desk: Desk, offered: Offered) -> None:
    records = [
        replace(record, confirmed=True) if offered.doubts and isinstance(record, Weighing) else record
        for record in offered.records
    ]
    kept = attempt(
        partial(
            workflow.enter_all,
            desk.journal,
            offered.code,
            records,
            at=offered.at,
            by=desk.by,
            now=desk.now,
            supersedes=offered.supersedes,
            photo=offered.photo,
            settings=offered.settings,
        )
    )
    if kept is None:
        return
    st.session_state.pop("offered", None)
    st.session_state.pop("touched", None)
    tell(offered.code, kept, *offered.forms)
    st.rerun()


def tell(code: str, kept: Sequence[Entry], *forms: str) -> None:
    """Note what was just kept, so that it is said on the page that comes next; the forms by these keys are done."""
    st.session_state["kept"] = (code, tuple(kept))
    st.session_state.pop("kept-on", None)
    done(*forms)


def form_key(form: str, batch: Batch | None = None) -> str:
    """A form's key. Once it is done the form is reset; until then, and in all other forms, what was typed stays."""
    of = f"{form}-{batch.code}" if batch is not None else form
    return f"{of}-{drafts.drawn(of)}"


def done(*forms: str) -> None:
    """What was asked by forms of these keys is kept."""
    for key in forms:
        drafts.done(key.rpartition("-")[0])


def moment(desk: Desk, key: str) -> datetime:
    """Ask when something happened; left empty it is now."""
    picked = st.datetime_input(
        tr(msg("When (empty: now)")), value=None, format="YYYY-MM-DD", step=300, key=f"{key}-when"
    )
    return in_zone(desk, picked) if picked else desk.now


def in_zone(desk: Desk, clock: datetime) -> datetime:
    """A time as it was typed, in the journal's zone.

    An hour that comes twice, when summer time ends, is the later one if that is over already: what is entered there
    happened just now more often than an hour before.
    """
    first, second = (clock.replace(tzinfo=desk.zone, fold=fold) for fold in (0, 1))
    earlier, later = (datetime.fromisoformat(one.isoformat()) for one in (first, second))
    return later if earlier < later <= desk.now else earlier
