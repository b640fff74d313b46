"""What each material did in all batches, lot by lot, and what to expect of it."""

from __future__ import annotations

from curejournal import lessons, publish
from curejournal.counting import how_many
from curejournal.cure.materials import History, Named, Use
from curejournal.report import lesson_figures, wording
from curejournal.ui import cache, parts, told
from curejournal.ui.page import Desk, Page
from curejournal.ui.telling import st

SHOWN = 8


def render(desk: Desk) -> None:
    """Draw the page."""
    known = {one.material: one for one in told.named(desk)}
    if not known:
        parts.say("No recipe names a material yet. Enter one when you start a batch, with its lot.")
        parts.way(desk, "batches", "Start a batch")
        return
    parts.say("What a fragrance or pigment did before, and what to expect of it.", "lead")
    with st.container(horizontal=True, key="act-materials"):
        parts.way(desk, "culprits", "Which did it?", ":material/troubleshoot:")
        parts.way(desk, "plan", "Plan a pour", ":material/event_upcoming:")
    asked = st.query_params.get("material", "")
    kinds = list(dict.fromkeys(one.kind for one in known.values()))
    first = known[asked].kind if asked in known else ("fragrance" if "fragrance" in kinds else None)
    kind = st.pills("Kind", kinds, default=first, key=f"kind-{asked}")
    names = [name for name, one in known.items() if kind in (None, one.kind)]
    labels = {name: f"{name} ({how_many(len(known[name].batches), 'batch')})" for name in names}
    name = st.selectbox(
        "Material",
        names,
        index=names.index(asked) if asked in names else 0,
        key=f"material-{kind}-{asked}",
        format_func=labels.__getitem__,
    )
    _one(desk, known[name])


def _one(desk: Desk, named: Named) -> None:
    name, number = named.material, len(named.batches)
    most = lessons.EARLIER
    if number > most and st.toggle(f"All {number} batches, not the latest {most} alone", key=f"all-{name}"):
        most = number
    dose = st.number_input(
        "Planned dose, % of the oils in its portion (empty: as before)",
        value=None,
        min_value=0.01,
        step=0.1,
        key=f"dose-{name}",
    )
    report = lessons.material(
        desk.journal, name, desk.now, dose_pct=dose, most=most, beside_others=False, tell=told.teller(desk)
    )
    parts.values(dict(lessons.material_in_words(report)))
    if report.expected.beyond_doses:
        parts.say("This dose was never tried.", "soft")
    parts.figure(lesson_figures.expected_figure(report.expected, name))
    _lots(report.history)
    st.subheader("What it did")
    uses = report.history.uses[::-1]
    shown = st.session_state.setdefault(f"shown-{name}", SHOWN)
    for number, use in enumerate(uses[:shown]):
        _use(desk, use, f"{number}-{use.story.batch}-{use.story.portion}")
    if len(uses) > shown and st.button(f"Show more ({len(uses)} in all)", key=f"more-{name}"):
        st.session_state[f"shown-{name}"] = shown + SHOWN
        st.rerun()
    _sheets(desk, name)


def _lots(history: History) -> None:
    lots = [lot for lot in history.lots if lot.uses[0].ingredient.lot]
    if len(lots) < 2:
        return
    st.subheader("Lot by lot")
    parts.values(
        {
            f"lot {lot.uses[0].ingredient.lot}": "; ".join(
                f"{use.story.batch} {wording.figure(use.story.turn)} ΔE00" for use in lot.uses if use.story.turn
            )
            or "no turn measured"
            for lot in lots
        }
    )
    parts.say("How far each pour was off its colour at most, with its 95 % interval.", "soft")


def _use(desk: Desk, use: Use, key: str) -> None:
    story = use.story
    with st.container(key=f"row-{key}"):
        parts.way(desk, "batch", f"{story.batch} · {story.name}, {story.portion}", batch=story.batch)
        dose = f", {use.ingredient.dosage.words}"
        lot = f"lot {use.ingredient.lot}" if use.ingredient.lot else "no lot noted"
        poured = f", poured {wording.day(story.poured_at)}" if story.poured_at else ""
        did = lessons.outcome_words(story.outcome)
        parts.say(f"{use.ingredient.grams:g}\u00a0g{dose}, {lot}{poured}. It {did}.", "soft")
        if story.photos:
            captions = ("first", "farthest off", "latest")[-len(story.photos) :]
            if len(story.photos) == 2:
                captions = ("first", "latest")
            with st.container(horizontal=True, key=f"photos-{key}"):
                for sha256, caption in zip(story.photos, captions, strict=False):
                    st.image(
                        cache.small_picture(desk.journal, sha256, 320),
                        caption=caption,
                        width=150,
                        alt=f"{story.name}, {story.portion}, {caption}",
                    )
        parts.patches(parts.patch(point.lab, wording.day(point.at), size="half") for point in story.journey.points)


def _sheets(desk: Desk, name: str) -> None:
    st.subheader("To pass on")
    parts.say("One page with figures and pictures, for a supplier or a forum. It claims nothing beyond them.", "soft")
    with st.container(horizontal=True, key="sheets"):
        st.download_button(
            "Fact sheet (PDF)",
            lambda: publish.fact_sheet(desk.journal, name, desk.now),
            f"{name}.pdf",
            "application/pdf",
            key="fact-sheet",
        )
        st.download_button(
            "Fact sheet (Markdown)",
            lambda: publish.fact_sheet(desk.journal, name, desk.now, "markdown"),
            f"{name}.md",
            "text/markdown",
            key="fact-sheet-md",
        )


PAGE = Page("Materials", "materials", 45, render, ":material/science:")
