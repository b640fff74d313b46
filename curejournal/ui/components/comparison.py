"""Two measured moments of soap beside each other: under one handle, or each with its picture."""

from __future__ import annotations

import streamlit as st

from curejournal.base.messages import msg
from curejournal.batch.records import ColourReading, Entry
from curejournal.documents import formatting
from curejournal.ui.components import common, film, showing
from curejournal.ui.components.timeline import Seen
from curejournal.ui.i18n import tr
from curejournal.ui.page import Desk
from curejournal.ui.state import cache
from curejournal.workflow.photos.showing import comparable, shown_photos


def when_of(desk: Desk, reading: Entry) -> str:
    """When it was, all by the clock of this journal: what is compared is told by one."""
    return formatting.moment(reading.at.astimezone(desk.zone))


def laid_on_each_other(desk: Desk, seen: Seen, pair: tuple[Entry, Entry]) -> bool:
    """Two dates under one handle, where the card lets them be laid on each other; whether it does."""
    known = {one.sha256: one for one in comparable(shown_photos(seen.batch), seen.portion)}
    photos = [known[item.photo] for item in pair if item.photo in known]
    if len({photo.sha256 for photo in photos}) < 2:
        return False
    frames = [
        film.Frame(
            cache.true_picture(desk.journal, one, 900), when_of(desk, item), showing.alt(desk, seen.batch.name, one)
        )
        for one, item in zip(photos, pair, strict=True)
    ]
    with st.container(key="laid"):
        film.show(frames, "-".join(("film", seen.name)), chooses=False)
    return True


def side(desk: Desk, seen: Seen, shown: Entry[ColourReading], *, pictured: bool) -> None:
    """One of two: its measured colour, when it was, and its picture unless both were shown in one frame."""
    when = when_of(desk, shown)
    poured = seen.batch.poured_at
    since = msg("{at} after the pour", at=formatting.age(poured, shown.at)) if poured and shown.at >= poured else ""
    st.html(common.patch(shown.record.lab, when, since, "wide"))
    if shown.photo and pictured:
        taken = next(one for one in shown_photos(seen.batch) if one.sha256 == shown.photo).around(seen.portion)
        picture = cache.true_picture(desk.journal, taken, 800)
        st.image(picture, width="stretch", caption=tr(taken.words), alt=tr(showing.alt(desk, seen.batch.name, taken)))
