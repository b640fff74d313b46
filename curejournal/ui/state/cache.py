"""Everything that is kept between two looks at a page. Values are frozen, so they are shared, not copied."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

import streamlit as st

from curejournal import workflow
from curejournal.batch.records import Batch
from curejournal.documents.preview import first_pages
from curejournal.documents.soap_pictures import Cut
from curejournal.documents.soap_place import Outline
from curejournal.journal.store import Journal
from curejournal.judging.judgement import Judgement, OtherEdition, judge, other_edition
from curejournal.judging.limits import Limits
from curejournal.ui.page import Desk
from curejournal.workflow import Card, Measurement
from curejournal.workflow.photos import Cards, Marks, PhotoAnalysis, analyse, showing
from curejournal.workflow.room import room_state, with_room
from curejournal.workflow.verdicts import Around


def judged(desk: Desk, batch: Batch) -> Judgement:
    """The verdict on a batch; worked out again when an entry, the rules or the hour changes."""

    def now(one: Batch) -> datetime:
        return max([hour(desk), *(entry.at for entry in one.entries if entry.at <= desk.now)])

    judgement = _with_pieces(desk, batch, now)
    # A recall reaches other batches too, so it is worked out with all of them.
    return workflow.judge_batch(desk.journal, batch.code, judgement.on) if judgement.recall else judgement


def edition(desk: Desk, batch: Batch) -> OtherEdition | None:
    """What today's rules say of a release that was signed under another edition of them."""
    return other_edition(batch, desk.now, lambda at: _with_pieces(desk, batch, lambda one: at))


def _with_pieces(desk: Desk, batch: Batch, when: Callable[[Batch], datetime]) -> Judgement:
    """The verdict on a batch and what is in it, each at its time, in the workshop's room."""
    room = room_state(desk.journal)

    def by_itself(one: Batch, around: Around = ("", (), "")) -> Judgement:
        limits, in_room = workflow.limits_of(desk.journal, one), with_room(desk.journal, one)
        return _judged(
            str(desk.journal.location), one.code, (*state_of(one), *room), when(one), limits, around, in_room
        )

    return by_itself(batch, workflow.surroundings(desk.journal, batch, by_itself))


def hour(desk: Desk) -> datetime:
    """The hour that a verdict stands for, unless something was entered since."""
    return desk.now.replace(minute=0, second=0, microsecond=0)


@st.cache_resource(max_entries=400, show_spinner="Judging…", hash_funcs={Limits: lambda rules: rules.version})
def _judged(
    location: str, code: str, state: tuple[int, ...], on: datetime, rules: Limits, around: Around, _batch: Batch
) -> Judgement:
    return judge(_batch, on, rules, *around)


def kept(desk: Desk, what: str) -> dict[str, Any]:
    """A place of this journal's own where a module keeps up to date what it has worked out."""
    return _kept(str(desk.journal.location), what)


@st.cache_resource(show_spinner=False)
def _kept(location: str, what: str) -> dict[str, Any]:
    return {}


def state_of(batch: Batch) -> tuple[int, int]:
    """How many entries are current, and the latest: while both stay, nothing in the batch has changed."""
    ids = [entry.id for entry in batch.entries]
    return len(ids), max(ids, default=0)


@st.cache_resource(max_entries=2000, show_spinner=False)
def small_picture(_journal: Journal, sha256: str, longest: int) -> bytes:
    """A kept photo, small."""
    return workflow.small_picture(_journal, sha256, longest)


@st.cache_resource(max_entries=1000, show_spinner=False, hash_funcs={showing.Shown: repr})
def true_picture(_journal: Journal, shown: showing.Shown, longest: int, cut: Cut = "wide") -> bytes:
    """A kept photo in its true colour, cut to the soap."""
    return showing.true_picture(_journal, shown, longest, cut)


@st.cache_resource(max_entries=200, show_spinner=False, hash_funcs={showing.Shown: repr})
def likely_place(
    _journal: Journal, _batch: Batch, shown: showing.Shown, portion: str, state: tuple[int, int]
) -> Outline | None:
    """Where a portion may be in a photo without a card."""
    return showing.likely_place(_journal, _batch, shown, portion)


@st.cache_resource(max_entries=40, show_spinner="Measuring…", hash_funcs={Card: repr})
def measured(data: bytes, card: Card, areas: workflow.Places | None, corners: workflow.Corners | None) -> Measurement:
    """What is in a photo that was just taken."""
    return workflow.measure_photo(data, card, areas, corners)


@st.cache_resource(max_entries=40, show_spinner="Measuring…", hash_funcs={Cards: repr, Marks: repr})
def analysed(data: bytes, cards: Cards, marks: Marks) -> PhotoAnalysis:
    """What a photo shows that was just taken."""
    return analyse(data, cards, marks)


@st.cache_resource(max_entries=20, show_spinner=False, hash_funcs={Measurement: repr})
def marked_picture(data: bytes, measurement: Measurement | None, longest: int) -> bytes:
    """That photo with what was found drawn in."""
    return workflow.marked_picture(data, measurement, longest)


@st.cache_data(max_entries=8, show_spinner=False, hash_funcs={Card: repr})
def card_pdf(card: Card, paper: workflow.Paper, copy_id: str) -> bytes:
    """A card to print."""
    return workflow.card_to_print(card, paper, copy_id)


@st.cache_resource(max_entries=40, show_spinner="Drawing the preview…")
def preview(location: str, asked: Any, _make: Callable[[], bytes], most: int = 2) -> tuple[tuple[bytes, ...], int]:
    """The first pages of a paper as pictures; `asked` is all that it depends on."""
    return first_pages(_make(), most)
