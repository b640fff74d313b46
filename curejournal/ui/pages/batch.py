"""One batch, from the pour to the release."""

from __future__ import annotations

from curejournal.batch.descriptions import describe
from curejournal.batch.records import Batch, SurfaceNote
from curejournal.documents import charts
from curejournal.documents.formatting import day
from curejournal.judging.judgement import Judgement
from curejournal.ui.components import common, timeline
from curejournal.ui.forms import batch as acts
from curejournal.ui.forms import batch_head, business, checks, doing, entry, evidence, history, pouring, recipe
from curejournal.ui.i18n import st
from curejournal.ui.page import Desk, Page, plain
from curejournal.ui.state import cache


def render(desk: Desk) -> None:
    """Draw the page."""
    code = st.query_params.get("batch", "")
    if code not in desk.journal.names():
        st.title("No batch chosen")
        code = common.chosen_batch(desk) or ""
        common.say("Choose a batch; if there is none yet, start the first one.")
        common.way(desk, "batches", "To the batches")
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
    first = "Log" if on and not desk.reads_only else "Checks"
    with st.container(key="sections"):
        section = st.segmented_control(
            "Show", list(SECTIONS), default=first, required=True, key=f"section-{code}", label_visibility="collapsed"
        )
    SECTIONS[section](desk, batch, judgement)


def _now(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    if not common.may_enter(desk):
        return
    common.say("Each press is stamped with the time, and can be undone at once.", "soft")
    pouring.show(desk, batch)
    question = st.container()
    if pouring.is_on(desk, batch):
        for caution in judgement.cautions:
            common.say(caution, "soft")
    with st.container(horizontal=True, key="act-batch"):
        common.way(desk, "batches", "Pour another like this", ":material/replay:", like=batch.code)
    forms = {
        "a weight": entry.weigh,
        "an alkali test": entry.alkali_test,
        "a surface check": entry.surface,
        "a weighing check": evidence.weighing_check,
        "a packet of strips": evidence.packet_check,
        "the room": entry.room,
        "the recipe": recipe.of_batch,
    }
    forms |= acts.forms(batch)
    chosen = st.pills("Or enter", list(forms), key=f"form-{batch.code}")
    others = business.forms(batch)
    other = st.pills("For the rack, the papers and after the sale", list(others), key=f"business-{batch.code}")
    for form in (chosen and forms[chosen], other and others[other]):
        if form:
            form(desk, batch)
            question = st.container()
    with question:
        entry.ask(desk, batch.code)


def _colour(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    if not any(journey.points for journey in judgement.journeys.values()):
        common.say("No colour was measured yet. A photo with the card in it starts the journey.")
        common.way(desk, "photos", "Add photos", ":material/photo_camera:", batch=batch.code)
    for name, journey in judgement.journeys.items():
        if journey.points:
            st.subheader(plain(name))
            timeline.journey(name, journey, desk)
    common.way(desk, "compare", "Two dates side by side", ":material/compare:", batch=batch.code)


def _readings(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    st.subheader("Drying")
    common.figure(charts.drying_figure(judgement.drying, batch.poured_at, desk.now))
    if not judgement.drying.points:
        common.say("No weights yet. Weigh a few marked bars each week.")
    rooms = charts.room_figures(batch)
    if rooms:
        st.subheader("The room meanwhile")
    for shown in rooms:
        common.figure(shown)
    st.subheader("Alkali tests")
    checks.alkali_tests(desk, batch, judgement)
    looks = [f"{day(at)}: {describe(look)}" for at, look in reversed(batch.records(SurfaceNote))]
    if looks:
        st.subheader("Surface")
    common.listed(looks)
    if judgement.lye is not None:
        st.subheader("Lye")
        recipe.superfat(judgement.lye)
    common.say("Enter a weight, test or room reading under “Log”.", "soft")


SECTIONS = {
    "Checks": checks.show,
    "Log": _now,
    "Timeline": timeline.show,
    "Colour": _colour,
    "Readings": _readings,
    "History": history.show,
}

PAGE = Page("One batch", "batch", "Batches", 20, render, listed=False, titled=False)
