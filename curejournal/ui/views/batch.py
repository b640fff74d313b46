"""One batch, from the pour to the release."""

from __future__ import annotations

from curejournal.cure.judgement import Judgement
from curejournal.cure.records import Batch, SurfaceNote
from curejournal.cure.words import in_words
from curejournal.report import figures
from curejournal.report.wording import day
from curejournal.ui import acts, batch_head, cache, doing, entry, evidence, parts, past, pouring, recipes, story
from curejournal.ui.page import Desk, Page, plain
from curejournal.ui.telling import st


def render(desk: Desk) -> None:
    """Draw the page."""
    code = st.query_params.get("batch", "")
    if code not in desk.journal.names():
        st.title("No batch chosen")
        code = parts.chosen_batch(desk) or ""
        parts.say("Choose a batch; if there is none yet, start the first one.")
        parts.way(desk, "batches", "To the batches")
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
        batch_head.ribbons(desk, judgement)
    first = "Log" if on and not desk.reads_only else "Checks"
    with st.container(key="sections"):
        section = st.segmented_control(
            "Show", list(SECTIONS), default=first, required=True, key=f"section-{code}", label_visibility="collapsed"
        )
    SECTIONS[section](desk, batch, judgement)


def _now(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    if not parts.may_enter(desk):
        return
    parts.say("Each press is stamped with the time, and can be undone at once.", "soft")
    pouring.show(desk, batch)
    question = st.container()
    if pouring.is_on(desk, batch):
        for caution in judgement.cautions:
            parts.say(caution, "soft")
    with st.container(horizontal=True, key="act-batch"):
        parts.way(desk, "photos", "Add photos", ":material/photo_camera:", batch=batch.code)
        parts.way(desk, "batches", "Pour another like this", ":material/replay:", like=batch.code)
    forms = {
        "a weight": entry.weigh,
        "an alkali test": entry.alkali_test,
        "a look at the surface": entry.surface,
        "the room": entry.room,
        "the recipe": recipes.of_batch,
    }
    forms |= acts.forms(batch)
    chosen = st.pills("Or enter", list(forms), key=f"form-{batch.code}")
    if chosen:
        forms[chosen](desk, batch)
        question = st.container()
    with question:
        entry.ask(desk, batch.code)


def _colour(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    if not any(journey.points for journey in judgement.journeys.values()):
        parts.say("No colour was measured yet. A photo with the card in it starts the journey.")
        parts.way(desk, "photos", "Add photos", ":material/photo_camera:", batch=batch.code)
    for name, journey in judgement.journeys.items():
        if journey.points:
            st.subheader(plain(name))
            story.journey(name, journey, desk.zone)
    parts.way(desk, "compare", "Two dates side by side", ":material/compare:", batch=batch.code)


def _readings(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    st.subheader("Drying")
    parts.figure(figures.drying_figure(judgement.drying))
    if not judgement.drying.points:
        parts.say("No weights yet. Weigh a few marked bars each week.")
    rooms = figures.room_figures(batch)
    if rooms:
        st.subheader("The room meanwhile")
    for shown in rooms:
        parts.figure(shown)
    st.subheader("Alkali tests")
    evidence.alkali_tests(desk, batch, judgement)
    looks = [f"{day(at)}: {in_words(look)}" for at, look in reversed(batch.records(SurfaceNote))]
    if looks:
        st.subheader("Surface")
    parts.listed(looks)
    if judgement.lye is not None:
        st.subheader("Lye")
        recipes.superfat(judgement.lye)
    parts.say("Enter a weight, test or room reading under “Log”.", "soft")


SECTIONS = {
    "Checks": evidence.show,
    "Log": _now,
    "Timeline": story.show,
    "Colour": _colour,
    "Readings": _readings,
    "History": past.show,
}

PAGE = Page("One batch", "batch", "Batches", 20, render, listed=False, titled=False)
