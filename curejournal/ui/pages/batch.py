"""One batch, from the pour to the release."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from curejournal.base.messages import msg
from curejournal.batch.records import Batch, SurfaceNote, Weighing
from curejournal.documents import drying_charts
from curejournal.judging.judgement import Judgement
from curejournal.ui.components import common, timeline
from curejournal.ui.forms import (
    alkali,
    batch_head,
    business,
    checks,
    correction,
    doing,
    entry,
    evidence,
    history,
    pouring,
    recipe,
    room_reading,
    surface_check,
    weighing,
)
from curejournal.ui.forms import batch as batch_forms
from curejournal.ui.i18n import _, word_of
from curejournal.ui.page import Desk, plain
from curejournal.ui.state import cache


def render(desk: Desk) -> None:
    """Draw the page."""
    code = st.query_params.get("batch", "")
    if code not in desk.journal.names():
        st.title(_("No batch chosen"))
        code = common.chosen_batch(desk) or ""
        common.empty("wall", msg("Choose a batch; if there is none yet, start the first one."))
        common.way(desk, "batches", msg("To the batches"))
        if not code:
            return
    batch = desk.journal.batch(code)
    judgement = cache.judged(desk, batch)
    on = pouring.is_on(desk, batch)
    with st.container(key="batch-head"):
        left, right = st.columns([5, 3], gap="large")
        with left:
            batch_head.pictures(desk, batch, judgement)
        with right:
            batch_head.verdict(desk, batch, judgement, brief=on)
    doing_now = st.session_state.get("doing") or ""
    for what in doing.ON_THE_SPOT:
        if doing_now == f"{what}-{code}":
            doing.form(desk, code, what)
    if not on:
        batch_head.ribbons(desk, batch, judgement)
    first = msg("Log") if on and not desk.reads_only else msg("Checks")
    with st.container(key="sections"):
        section = st.segmented_control(
            _("Show"),
            list(SECTIONS),
            default=first,
            required=True,
            key=f"section-{code}",
            label_visibility="collapsed",
            format_func=word_of,
        )
    SECTIONS[section](desk, batch, judgement)


def _now(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    if not common.may_enter(desk):
        return
    on = pouring.is_on(desk, batch)
    if on:
        common.say(msg("Each press is stamped with the time, and can be undone at once."), "soft")
        pouring.show(desk, batch)
        common.way(desk, "pour", msg("All loaves of the day"), batch=batch.code)
        for caution in judgement.cautions:
            common.say(caution, "soft")
    _enter(desk, batch, first=not on)
    with st.expander(_("For the rack, the papers and after the sale")):
        others = business.forms(batch)
        other = st.pills(_("Which"), list(others), key=f"business-{batch.code}")
        if other:
            others[other](desk, batch)
            entry.ask(desk, batch.code)
    if not on:
        st.subheader(_("What happened to it"))
        pouring.show(desk, batch)
        entry.ask(desk, batch.code)
    with st.container(horizontal=True, key="act-batch"):
        common.way(desk, "batches", msg("Pour another like this"), ":material/replay:", like=batch.code)


MORE = msg("something else")


def _enter(desk: Desk, batch: Batch, *, first: bool) -> None:
    """What is read of a batch, each in its form: the three that are asked for most, then all others."""
    forms: dict[str, Callable[[Desk, Batch], None]] = {
        "a weight": weighing.weigh,
        msg("an alkali test"): alkali.test,
        msg("a surface check"): surface_check.check,
    }
    others = {
        msg("the room, other readings"): room_reading.enter,
        msg("the recipe"): recipe.of_batch,
        msg("a weighing check"): evidence.weighing_check,
        msg("a packet of strips"): evidence.packet_check,
    } | batch_forms.forms(batch)
    label = _("Enter") if first else _("Or enter")
    chosen = st.pills(label, [*forms, MORE], key=f"form-{batch.code}", format_func=word_of)
    if chosen == MORE:
        chosen = st.pills(_("What"), list(others), key=f"more-{batch.code}", format_func=word_of)
    if chosen:
        (forms | others)[chosen](desk, batch)
    entry.ask(desk, batch.code)


def _colour(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    if not any(journey.points for journey in judgement.journeys.values()):
        common.say(msg("No colour was measured yet. A photo with the card in it starts the journey."))
        common.way(desk, "photos", msg("Add photos"), ":material/photo_camera:", batch=batch.code)
    for name, journey in judgement.journeys.items():
        if journey.points:
            st.subheader(plain(name))
            timeline.journey(name, journey, desk)
    common.way(desk, "compare", msg("Two dates side by side"), ":material/compare:", batch=batch.code)


def _readings(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    st.subheader(_("Drying"))
    common.figure(drying_charts.drying_figure(judgement.drying, batch.poured_at, desk.now))
    weights = batch.of(Weighing)
    if not weights:
        common.say(msg("No weights yet. Weigh a few marked bars each week."))
    else:
        with st.expander(_("The weights, to be put right")):
            correction.touchable(desk, batch, reversed(weights), "weights")
    rooms = drying_charts.room_figures(batch)
    if rooms:
        st.subheader(_("The room, other readings"))
    for shown in rooms:
        common.figure(shown)
    st.subheader(_("Alkali tests"))
    checks.alkali_tests(desk, batch, judgement)
    looks = batch.of(SurfaceNote)
    if looks:
        st.subheader(_("Surface"))
    correction.touchable(desk, batch, reversed(looks), "surface")
    if judgement.lye is not None:
        st.subheader(_("Lye"))
        recipe.superfat(judgement.lye)
    common.say(msg("Enter a weight, test or room reading under “Log”."), "soft")


SECTIONS = {
    msg("Checks"): checks.show,
    msg("Log"): _now,
    msg("Timeline"): timeline.show,
    msg("Colour"): _colour,
    msg("Readings"): _readings,
    msg("History"): history.show,
}
