"""One batch, from the pour to the release."""

from __future__ import annotations

from curejournal.batch.descriptions import describe
from curejournal.batch.records import Batch, SurfaceNote
from curejournal.documents import charts
from curejournal.documents.formatting import age, day, moment
from curejournal.judging.judgement import LOCAL_CODES, Judgement
from curejournal.ui.components import common, timeline
from curejournal.ui.forms import batch as acts
from curejournal.ui.forms import checks, entry, history, pouring, recipe
from curejournal.ui.i18n import st
from curejournal.ui.page import Desk, Page, plain
from curejournal.ui.state import cache


def render(desk: Desk) -> None:
    """Draw the page."""
    code = common.chosen_batch(desk)
    if code is None:
        st.title("No batch chosen")
        common.say("Choose a batch above; if there is none yet, start the first one.")
        common.way(desk, "batches", "To the batches")
        return
    batch = desk.journal.batch(code)
    judgement = cache.judged(desk, batch)
    on = pouring.is_on(desk, batch)
    _head(desk, batch, judgement, brief=on)
    first = "Write down" if on and not desk.reads_only else "Evidence"
    with st.container(key="sections"):
        section = st.segmented_control(
            "Show", list(SECTIONS), default=first, required=True, key=f"section-{code}", label_visibility="collapsed"
        )
    SECTIONS[section](desk, batch, judgement)


def _head(desk: Desk, batch: Batch, judgement: Judgement, brief: bool) -> None:
    """What stands above every section; on the day of the pour less, since then the buttons are wanted."""
    st.title(f"{plain(batch.name)}")
    old = (
        f"poured {moment(batch.poured_at, desk.zone)}, {age(batch.poured_at, desk.now)} ago"
        if batch.poured_at
        else "not poured yet"
    )
    common.say(f"{batch.code} · {old}", "soft")
    st.html(f'<p class="verdict">{common.tag(common.state_of(judgement))}</p>')
    for question in judgement.recall:
        st.error(plain(question), icon=":material/back_hand:")
    edition = cache.edition(desk, batch)
    if edition is not None and edition.releasable:
        common.say(edition.words, "soft")
    elif edition is not None:
        st.warning(plain(edition.words), icon=":material/back_hand:")
    why, step = common.because(judgement), judgement.next_step
    if not brief or judgement.verdict == "hold":
        common.say(why, "verdict")
    if brief:
        return
    repeated = step.lower().endswith(f": {why.lower()}")
    common.say(f"Next: {step.removesuffix(step[-len(why) - 2 :]) + '.' if repeated else step}", "lead")
    common.patches(common.latest_colours(judgement))
    _cautions(judgement)


def _cautions(judgement: Judgement) -> None:
    for caution in judgement.cautions:
        if caution != LOCAL_CODES:
            common.say(caution, "soft")


def _now(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    if not common.may_enter(desk):
        return
    common.say("Each press is stamped with the time, and can be undone at once.", "soft")
    pouring.show(desk, batch)
    question = st.container()
    if pouring.is_on(desk, batch):
        _cautions(judgement)
    with st.container(horizontal=True, key="act-batch"):
        common.way(desk, "photos", "Take in a photo", ":material/photo_camera:", batch=batch.code)
        common.way(desk, "batches", "Pour another like this", ":material/replay:", like=batch.code)
    forms = {
        "a weight": entry.weigh,
        "an alkali test": entry.alkali_test,
        "a look at the surface": entry.surface,
        "the room": entry.room,
        "the recipe": recipe.of_batch,
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
        common.say("No colour was measured yet. A photo with the card in it starts the journey.")
        common.way(desk, "photos", "Take in a photo", ":material/photo_camera:", batch=batch.code)
    for name, journey in judgement.journeys.items():
        if journey.points:
            st.subheader(plain(name))
            timeline.journey(name, journey, desk.zone)
    common.way(desk, "compare", "Two dates side by side", ":material/compare:", batch=batch.code)


def _readings(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    st.subheader("Drying")
    common.figure(charts.drying_figure(judgement.drying))
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
    common.say("Enter a weight, test or room reading under “Write down”.", "soft")


SECTIONS = {
    "Evidence": checks.show,
    "Write down": _now,
    "Story": timeline.show,
    "Colour": _colour,
    "Readings": _readings,
    "History": history.show,
}

PAGE = Page("One batch", "batch", 25, render, listed=False)
