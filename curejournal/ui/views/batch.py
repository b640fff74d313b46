"""One batch, from the pour to the release."""

from __future__ import annotations

from curejournal.cure.judgement import LOCAL_CODES, Judgement
from curejournal.cure.records import Batch, SurfaceNote
from curejournal.cure.words import in_words
from curejournal.report import figures
from curejournal.report.wording import age, day, moment
from curejournal.ui import acts, cache, entry, evidence, parts, past, pouring, recipes, story
from curejournal.ui.page import Desk, Page, plain
from curejournal.ui.telling import st


def render(desk: Desk) -> None:
    """Draw the page."""
    code = parts.chosen_batch(desk)
    if code is None:
        st.title("No batch chosen")
        parts.say("Choose a batch above; if there is none yet, start the first one.")
        parts.way(desk, "batches", "To the batches")
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
    parts.say(f"{batch.code} · {old}", "soft")
    st.html(f'<p class="verdict">{parts.tag(parts.state_of(judgement))}</p>')
    for question in judgement.recall:
        st.error(plain(question), icon=":material/back_hand:")
    edition = cache.edition(desk, batch)
    if edition is not None and edition.releasable:
        parts.say(edition.words, "soft")
    elif edition is not None:
        st.warning(plain(edition.words), icon=":material/back_hand:")
    why, step = parts.because(judgement), judgement.next_step
    if not brief or judgement.verdict == "hold":
        parts.say(why, "verdict")
    if brief:
        return
    repeated = step.lower().endswith(f": {why.lower()}")
    parts.say(f"Next: {step.removesuffix(step[-len(why) - 2 :]) + '.' if repeated else step}", "lead")
    parts.patches(parts.latest_colours(judgement))
    _cautions(judgement)


def _cautions(judgement: Judgement) -> None:
    for caution in judgement.cautions:
        if caution != LOCAL_CODES:
            parts.say(caution, "soft")


def _now(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    if not parts.may_enter(desk):
        return
    parts.say("Each press is stamped with the time, and can be undone at once.", "soft")
    pouring.show(desk, batch)
    question = st.container()
    if pouring.is_on(desk, batch):
        _cautions(judgement)
    with st.container(horizontal=True, key="act-batch"):
        parts.way(desk, "photos", "Take in a photo", ":material/photo_camera:", batch=batch.code)
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
        parts.way(desk, "photos", "Take in a photo", ":material/photo_camera:", batch=batch.code)
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
    parts.say("Enter a weight, test or room reading under “Write down”.", "soft")


SECTIONS = {
    "Evidence": evidence.show,
    "Write down": _now,
    "Story": story.show,
    "Colour": _colour,
    "Readings": _readings,
    "History": past.show,
}

PAGE = Page("One batch", "batch", "Batches", 20, render, listed=False, titled=False)
