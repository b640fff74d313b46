"""The form that starts a batch: code, portions, recipe, and the lye checked before the pour."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg
from curejournal.batch.descriptions import describe
from curejournal.batch.records import Batch, ColourReading, Portion, Record
from curejournal.judging.target import from_earlier_batch
from curejournal.soap.recipe import Recipe
from curejournal.ui.components import common
from curejournal.ui.forms import entry
from curejournal.ui.forms import recipe as recipes
from curejournal.ui.i18n import localised, tr
from curejournal.ui.page import Desk, attempt, plain

TYPED = msg("a colour typed here")
FIRST = "B-1"
"""The code that the first batch may have; the next ones count on. Ours."""


def start(desk: Desk, earlier: Mapping[str, str], asked: str = "") -> None:
    """Ask for a batch and start it, like the one asked for; `earlier` are the names of all, by code."""
    like = (
        st.selectbox(
            tr(msg("Begin with the recipe and portions of")),
            [None, *earlier],
            index=[None, *earlier].index(asked if asked in earlier else None),
            format_func=localised(
                lambda code: (
                    msg("nothing: a new recipe")
                    if code is None
                    else msg("{code} · {name}", code=code, name=earlier[code])
                )
            ),
            key=f"like-{asked or None}",
        )
        if earlier
        else None
    )
    model = desk.journal.batch(like) if like else None
    key = f"start-{like}"
    left, right = st.columns(2)
    with left:
        name = st.text_input(tr(msg("Name")), value=model.name if model else "", key=f"{key}-name", max_chars=120)
    with right:
        code = st.text_input(tr(msg("Code (short, your own)")), _code(desk), key=f"{key}-code", max_chars=40)
    old = recipes.pieces_now(desk, model.recipe) if model is not None and model.recipe is not None else None
    same = old is not None and recipes.same_bottles(key, old, msg("for {like}", like=like))
    if model is None or st.toggle(tr(msg("Change its portions or recipe")), key=f"{key}-change"):
        portions = _portions(desk, key, model, earlier)
        if old is not None and model is not None:
            old = _renamed(old if same else old.with_lots([""] * len(old.lots)), model.portions, portions)
        st.subheader(tr(msg("Recipe, as weighed")))
        wanted = st.checkbox(tr(msg("Enter the recipe now")), value=True, key=f"{key}-recipe")
        # Other bottles or another recipe, other fields: what a field showed at first it would go on showing.
        last = workflow.last_entry(model, Recipe) if model is not None else None
        fields = f"{key}-same" if same else key
        fields = f"{fields}-{last.id}" if last is not None else fields
        recipe = recipes.ask(desk, fields, old, [portion.name for portion in portions]) if wanted else None
    else:
        portions, recipe = list(model.portions), old
        if old is not None and not same:
            recipe = recipes.lots(f"{key}-lots", old)
    if recipe is not None:
        recipes.show_lye(recipe)
        for doubt in workflow.doubts_about_pieces(desk.journal, code, recipe, desk.now):
            st.warning(tr(f"{plain(doubt.text)} {plain(doubt.do)}"), icon=":material/back_hand:")
    at = entry.moment(desk, key)
    if st.button(tr(msg("Start the batch")), key=f"{key}-go", type="primary"):
        records: list[Record] = [*([recipe] if recipe else []), *portions]
        started = attempt(
            lambda: workflow.start_batch(
                desk.journal, code.strip(), name.strip(), at=at, by=desk.by, now=desk.now, records=records
            )
        )
        if started is not None:
            st.session_state.pop("like", None)
            st.switch_page(desk.ways["batch"], query_params={"batch": started.code})
    if model is not None:
        common.listed([*(describe(portion) for portion in portions), *common.recipe_lines(recipe)])


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


def _portions(desk: Desk, key: str, model: Batch | None, earlier: Mapping[str, str]) -> list[Portion]:
    old = list(model.portions) if model else []
    usual, most = max(len(old), 1), max(len(old), 12)
    count = int(st.number_input(tr(msg("Portions (layers, swirl colours)")), 1, most, usual, key=f"{key}-portions"))
    found = []
    for order in range(count):
        before = old[order] if order < len(old) else None
        with st.container(border=True, key=f"{key}-portion-{order}"):
            called = "soap" if count == 1 else msg("portion {order}", order=order + 1)
            name = st.text_input(
                tr(msg("Name of the portion")),
                before.name if before else called,
                key=f"{key}-p-{order}-name",
            )
            aimed = _target(desk, f"{key}-p-{order}", before, earlier)
            with st.expander(tr(msg("Tolerance and control"))):
                tolerance = entry.tolerance(f"{key}-p-{order}-tolerance", before.tolerance if before else 3.0)
                control = st.checkbox(
                    tr(msg("A control: unscented, to compare with")),
                    before.control if before else False,
                    key=f"{key}-p-{order}-control",
                )
        found.append(replace(aimed, name=name.strip(), order=order, tolerance=tolerance, control=control))
    return found


def _target(desk: Desk, key: str, before: Portion | None, earlier: Mapping[str, str]) -> Portion:
    """The colour that a portion should end at: none, that of an earlier batch, or typed."""
    known = before.target_lab if before else None
    none = Portion("")
    if not st.checkbox(tr(msg("It should end at a certain colour")), known is not None, key=f"{key}-wanted"):
        return none
    like = (
        st.selectbox(
            tr(msg("Like")),
            [None, *earlier],
            format_func=localised(
                lambda code: TYPED if code is None else msg("{code} · {name}", code=code, name=earlier[code])
            ),
            key=f"{key}-like",
        )
        if earlier
        else None
    )
    if like is not None:
        return _like(desk, key, desk.journal.batch(like)) or none
    lab = entry.lab(key, known or entry.CREAM)
    st.html(common.patch(lab, msg("Target colour"), msg("L* lightness, a* green to red, b* blue to yellow (D50)")))
    # Untouched it stays what it was, with all that is known of it.
    return before if before and lab == known else replace(none, target_lab=lab, target_source="swatch")


def _like(desk: Desk, key: str, earlier: Batch) -> Portion | None:
    names = list(dict.fromkeys(reading.portion for _, reading in earlier.records(ColourReading)))
    if not names:
        common.say(msg("No colour was measured in that batch."))
        return None
    name = st.selectbox(tr(msg("Its portion")), names, key=f"{key}-of") if len(names) > 1 else names[0]
    rules = workflow.current_limits(desk.journal)
    picked = attempt(lambda: from_earlier_batch(Batch("", ""), earlier, name, rules))
    if picked is None:
        return None
    st.html(common.patch(picked.lab, msg("Target colour"), picked.words))
    common.listed(f"{doubt.text} {doubt.do}" for doubt in picked.doubts)
    return Portion("", 0, picked.lab, "cured earlier batch", 3.0, False, picked.words, picked.card, round(picked.sd, 3))
