"""The form that starts a batch: code, portions, recipe, and the lye checked before the pour."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg
from curejournal.batch.descriptions import describe
from curejournal.batch.records import Batch, Portion, Record
from curejournal.soap.recipe import Recipe
from curejournal.ui.components import common
from curejournal.ui.forms import entry, target_colour
from curejournal.ui.forms.recipe import ask, in_sight, lots, pieces_now, same_bottles, show_lye
from curejournal.ui.i18n import localised, tr
from curejournal.ui.page import Desk, attempt, plain

FIRST = "B-1"
"""The code that the first batch may have; the next ones count on. Ours."""


def start(desk: Desk, earlier: Mapping[str, str], asked: str = "") -> None:
    """Ask for a batch and start it, like the one asked for; `earlier` are the names of all, by code."""
    like = _like(earlier, asked)
    model = desk.journal.batch(like) if like else None
    key = f"start-{like}"
    name = st.text_input(
        tr(msg("Name")),
        value=model.name if model else "",
        key=f"{key}-name",
        max_chars=120,
        placeholder=tr(msg("Rose clay, two layers")),
    )
    with st.expander(tr(msg("Its code, and when it was started"))):
        code = st.text_input(tr(msg("Code (short, your own)")), _code(desk), key=f"{key}-code", max_chars=40)
        at = entry.moment(desk, key)
    old = pieces_now(desk, model.recipe) if model is not None and model.recipe is not None else None
    change = model is None or st.toggle(tr(msg("Change its portions or recipe")), key=f"{key}-change")
    # Over what is asked for, so that it stays in sight on the way down.
    answer = st.container(key="lye-in-sight")
    portions = _portions(desk, key, model, change=change)
    recipe = _recipe(desk, key, model, old, portions, change=change)
    if recipe is not None:
        with answer:
            in_sight(recipe)
        show_lye(recipe, brief=True)
        for doubt in workflow.doubts_about_pieces(desk.journal, code, recipe, desk.now):
            st.warning(tr(f"{plain(doubt.text)} {plain(doubt.do)}"), icon=":material/back_hand:")
    if st.button(tr(msg("Start the batch")), key=f"{key}-go", type="primary", width="stretch"):
        records: list[Record] = [*([recipe] if recipe else []), *portions]
        started = attempt(
            lambda: workflow.start_batch(
                desk.journal, code.strip(), name.strip(), at=at, by=desk.by, now=desk.now, records=records
            )
        )
        if started is not None:
            st.session_state.pop("like", None)
            st.session_state.pop("starting", None)
            st.switch_page(desk.ways["batch"], query_params={"batch": started.code})
    if model is not None:
        with st.expander(tr(msg("All of it in a list"))):
            common.listed([*(describe(portion) for portion in portions), *common.recipe_lines(recipe)])


def _like(earlier: Mapping[str, str], asked: str) -> str | None:
    """Which batch it is like, if there are any."""
    if not earlier:
        return None
    chosen: str | None = st.selectbox(
        tr(msg("Begin with the recipe and portions of")),
        [None, *earlier],
        index=[None, *earlier].index(asked if asked in earlier else None),
        format_func=localised(
            lambda code: (
                msg("nothing: a new recipe") if code is None else msg("{code} · {name}", code=code, name=earlier[code])
            )
        ),
        key=f"like-{asked or None}",
    )
    return chosen


def _recipe(
    desk: Desk, key: str, model: Batch | None, old: Recipe | None, portions: Sequence[Portion], *, change: bool
) -> Recipe | None:
    """The recipe as it is poured now: the old one with the lots of its bottles, or as it is changed."""
    same = False
    if old is not None and model is not None:
        with st.expander(tr(msg("Lots of the bottles that are poured from now"))):
            same = same_bottles(key, old, msg("for {like}", like=model.code))
            if not same and not change:
                old = lots(f"{key}-lots", old)
    if not change:
        return old
    if old is not None and model is not None:
        old = _renamed(old if same else old.with_lots([""] * len(old.lots)), model.portions, portions)
    st.subheader(tr(msg("Recipe, as weighed")))
    if not st.checkbox(tr(msg("Enter the recipe now")), value=True, key=f"{key}-recipe"):
        return None
    # Other bottles or another recipe, other fields: what a field showed at first it would go on showing.
    last = workflow.last_entry(model, Recipe) if model is not None else None
    fields = f"{key}-same" if same else key
    fields = f"{fields}-{last.id}" if last is not None else fields
    return ask(desk, fields, old, [portion.name for portion in portions])


def _code(desk: Desk) -> str:
    return workflow.next_code(desk.journal) or ("" if desk.journal.names() else FIRST)


def _renamed(recipe: Recipe, before: Sequence[Portion], now: Sequence[Portion]) -> Recipe:
    """The recipe with the portions called what they are called now, by their places."""
    called = {old.name: new.name for old, new in zip(before, now, strict=False)}
    return replace(
        recipe,
        additives=tuple(replace(one, portion=called.get(one.portion, one.portion)) for one in recipe.additives),
        embeds=tuple(replace(one, portion=called.get(one.portion, one.portion)) for one in recipe.embeds),
        batter=tuple(replace(one, portion=called.get(one.portion, one.portion)) for one in recipe.batter),
    )


def _portions(desk: Desk, key: str, model: Batch | None, *, change: bool) -> list[Portion]:
    """The portions, each with the colour it should end at; how many there are and their names where that changes."""
    old = list(model.portions) if model else []
    count, most = max(len(old), 1), max(len(old), 12)
    if change:
        count = int(st.number_input(tr(msg("Portions (layers, swirl colours)")), 1, most, count, key=f"{key}-portions"))
    elif not old:
        return []
    found = []
    for order in range(count):
        before = old[order] if order < len(old) else None
        with st.container(border=True, key=f"{key}-portion-{order}"):
            found.append(_portion(desk, f"{key}-p-{order}", before, order, alone=count == 1, change=change))
    return found


def _portion(desk: Desk, key: str, before: Portion | None, order: int, *, alone: bool, change: bool) -> Portion:
    usual = "soap" if alone else msg("portion {order}", order=order + 1)
    name = before.name if before else usual
    if change:
        name = st.text_input(tr(msg("Name of the portion")), name, key=f"{key}-name")
    else:
        st.markdown(tr(f"**{plain(name)}**"))
    aimed = target_colour.choose(desk, key, before) or Portion("")
    with st.expander(tr(msg("Tolerance and control"))):
        tolerance = target_colour.tolerance(f"{key}-tolerance", before.tolerance if before else 3.0)
        control = st.checkbox(
            tr(msg("A control: unscented, to compare with")), before.control if before else False, key=f"{key}-control"
        )
    return replace(aimed, name=name.strip(), order=order, tolerance=tolerance, control=control)
