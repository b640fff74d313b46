"""Which material discoloured the batter: all batches together, what cannot be told, and the pours that would tell."""

from __future__ import annotations

from functools import partial

import streamlit as st

from curejournal.base.messages import join, msg
from curejournal.documents import material_charts
from curejournal.materials.effects import Effect
from curejournal.materials.history import What
from curejournal.ui.components import common
from curejournal.ui.i18n import _, localised, tr
from curejournal.ui.page import Desk, attempt, plain
from curejournal.ui.state import material_cache
from curejournal.workflow import materials

OUTCOME = msg("Spots, ash, a soft loaf")
# A filled sign for what is nearly certain, a half one for what is more likely than not.
CHANCE_SIGNS = ((0.9, "●"), (0.5, "◐"), (0.0, "○"))
ASKED: dict[What, str] = {"turn": msg("What discoloured it"), "end": msg("What keeps it off its colour")}


def render(desk: Desk) -> None:
    """Draw the page."""
    common.say(
        msg(
            "Five fragrances in one blend, and the batter discoloured: which one was it? All batches together can tell."
        ),
        "lead",
    )
    asked = st.segmented_control(
        _("What is asked"),
        [*ASKED, OUTCOME],
        default="turn",
        required=True,
        format_func=localised(lambda one: ASKED.get(one, OUTCOME)),
        key="asked",
    )
    if asked == OUTCOME:
        _outcome(desk)
        return
    what: What = "end" if asked == "end" else "turn"
    chosen = materials.compared(desk.journal)
    missing = material_cache.unknown(desk, chosen)
    if missing > material_cache.AT_ONCE:
        common.say(
            msg(
                "{batches} batches have to be looked at first: about {duration}.",
                batches=missing,
                duration=_wait(missing),
            )
        )
        common.say(msg("You can leave this page; what is done so far is kept."), "soft")
        if not st.button(_("Compare {chosen} batches", chosen=len(chosen)), key="compare-all", type="primary"):
            return
    answer = material_cache.which(desk, what)
    if isinstance(answer, str):
        common.empty("ribbons", answer)
    else:
        _show(desk, answer)


def _outcome(desk: Desk) -> None:
    """What goes with spots, ash, softness and the like."""
    counted = materials.happenings(desk.journal)
    outcomes = [name for name in materials.OUTCOMES if name in counted]
    if not outcomes:
        common.say(msg("Nothing of the kind was noted yet: note spots, ash, cracks as they come, and clear bars too."))
        return
    outcome = st.selectbox(
        _("What happened"),
        outcomes,
        format_func=localised(
            lambda name: msg(
                "{name} ({batches} of {of})", name=name, batches=len(counted[name].batches), of=counted[name].of
            )
        ),
        key="outcome",
    )
    answer = attempt(lambda: materials.causes_of_outcome(desk.journal, outcome, desk.now))
    if answer is not None:
        common.listed(answer.words)
        common.say(msg("In batches ") + join(", ", counted[outcome].batches), "soft")


def _wait(batches: int) -> str:
    seconds = batches / 25  # judged one by one, see the large journal's benchmark
    return (
        msg("{seconds:.0f} seconds", seconds=seconds)
        if seconds < 90
        else msg("{seconds:.0f} minutes", seconds=seconds / 60)
    )


def _show(desk: Desk, answer: materials.Which) -> None:
    effects = answer.found.effects
    words = [materials.effect_words(effect, answer.what) for effect in effects]
    for effect, said in zip(effects, words, strict=True):
        _effect(desk, effect, said)
    common.say(materials.base_words(answer), "soft")
    common.figure(material_charts.effects_figure(effects, words), told=True)
    if answer.found.test_pours:
        st.subheader(_("Pours that would tell"))
        for number, pour in enumerate(answer.found.test_pours):
            with st.container(key=f"row-pour-{number}"):
                common.say(materials.pour_words(pour))
                if common.may_enter(desk) and st.button(_("Start this test pour"), key=f"pour-{number}"):
                    start = partial(materials.start_test_pour, desk.journal, pour, by=desk.by, now=desk.now)
                    started = attempt(start)
                    if started is not None:
                        st.switch_page(desk.ways["batch"], query_params={"batch": started.code})
        common.say(materials.POUR_CAUTION, "soft")
    _side_by_side(desk)
    if answer.found.lots:
        st.subheader(_("Did it change with the lot?"))
        common.listed(map(materials.lot_words, answer.found.lots))
    if answer.left_out:
        with st.expander(_("Not compared ({left_out})", left_out=len(answer.left_out))):
            common.listed(answer.left_out)
    with st.expander(_("Method")):
        common.say(
            msg(
                "What each portion showed is taken as what soap does by itself, plus each material’s effect times its "
                "dose, plus what differs from batch to batch. Most materials are taken to do nothing until batches say "
                "otherwise. Materials that were always used together cannot be told apart."
            )
        )


def _side_by_side(desk: Desk) -> None:
    """The test pours that were made, each beside the batch that it is like."""
    poured = [one for one in materials.pours_made(desk.journal) if one.poured]
    if poured:
        st.subheader(_("Test pours, side by side"))
    for one in poured:
        label = msg("{code} · {name}, beside {beside}", code=one.code, name=one.name, beside=one.beside)
        common.way(desk, "compare", label, batch=one.code, beside=one.beside)


def _effect(desk: Desk, effect: Effect, said: str) -> None:
    names = join(" and ", effect.materials)
    sign = next(sign for least, sign in CHANCE_SIGNS if effect.chance >= least)
    with st.container(key=f"row-{names}"):
        st.markdown(tr(f"{sign} **{plain(names)}**"))
        common.say(common.sentence(said))
        if effect.chance >= 0.5:
            with st.container(horizontal=True, key=f"act-{names}"):
                for material in effect.materials:
                    common.way(desk, "materials", msg("What {material} did", material=material), material=material)
