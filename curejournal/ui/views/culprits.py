"""Which material turned the batter: all batches together, what cannot be told, and the pours that would tell."""

from __future__ import annotations

from curejournal import lessons
from curejournal.cure.culprits import Effect
from curejournal.cure.materials import What
from curejournal.report import lesson_figures
from curejournal.ui import parts, told
from curejournal.ui.page import Desk, Page, plain
from curejournal.ui.telling import st

ASKED: dict[What, str] = {"turn": "What turned it", "end": "What keeps it off its colour"}


def render(desk: Desk) -> None:
    """Draw the page."""
    parts.say("Five fragrances in one blend, and it turned: which one was it? All batches together can tell.", "lead")
    what: What = st.segmented_control(
        "What is asked", list(ASKED), default="turn", required=True, format_func=ASKED.__getitem__, key="asked"
    )
    chosen = lessons.compared(desk.journal)
    missing = told.unknown(desk, chosen)
    if missing > told.AT_ONCE:
        parts.say(f"{missing} batches have to be looked at first: about {_wait(missing)}.")
        parts.say("You may leave meanwhile; what is done by then is kept.", "soft")
        if not st.button(f"Compare {len(chosen)} batches", key="compare-all", type="primary"):
            return
    answer = told.which(desk, what)
    parts.say(answer) if isinstance(answer, str) else _show(desk, answer)


def _wait(batches: int) -> str:
    seconds = batches / 25  # judged one by one, see the large journal's benchmark
    return f"{seconds:.0f} seconds" if seconds < 90 else f"{seconds / 60:.0f} minutes"


def _show(desk: Desk, answer: lessons.Which) -> None:
    effects = answer.found.effects
    words = [lessons.effect_words(effect, answer.what) for effect in effects]
    for effect, said in zip(effects, words, strict=True):
        _effect(desk, effect, said)
    parts.say(lessons.base_words(answer), "soft")
    parts.figure(lesson_figures.effects_figure(effects, words), told=True)
    if answer.found.test_pours:
        st.subheader("Pours that would tell")
        parts.listed(map(lessons.pour_words, answer.found.test_pours))
        parts.say("A test pour is caustic like any other: goggles, gloves, lye into water.", "soft")
    if answer.found.lots:
        st.subheader("Did it change with the lot?")
        parts.listed(map(lessons.lot_words, answer.found.lots))
    if answer.left_out:
        with st.expander(f"Not compared ({len(answer.left_out)})"):
            parts.listed(answer.left_out)
    with st.expander("How this is reckoned"):
        parts.say(
            "What each portion showed is taken as what soap does by itself, plus each material’s effect times its "
            "dose, plus what differs from batch to batch. Most materials are taken to do nothing until batches say "
            "otherwise. What was always used together cannot be told apart by any reckoning."
        )


def _effect(desk: Desk, effect: Effect, said: str) -> None:
    names = " and ".join(effect.materials)
    sign = "●" if effect.chance >= 0.9 else "◐" if effect.chance >= 0.5 else "○"
    with st.container(key=f"row-{names}"):
        st.markdown(f"{sign} **{plain(names)}**")
        parts.say(parts.sentence(said))
        if effect.chance >= 0.5:
            with st.container(horizontal=True, key=f"act-{names}"):
                for material in effect.materials:
                    parts.way(desk, "materials", f"What {material} did", material=material)


PAGE = Page("Find the cause", "culprits", "Materials", 20, render)
