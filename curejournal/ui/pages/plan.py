"""A pour before it is poured: a recipe from a batch or a file, scaled to a mould, its lye, and what to expect of it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import PurePath
from typing import Literal, cast

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg, quantity
from curejournal.batch.records import Portion, Record
from curejournal.documents import material_charts
from curejournal.judging.traceability import lots_of
from curejournal.soap.lye import recipe_mass_g
from curejournal.soap.recipe import Recipe
from curejournal.soap.scaling import mould_g, scale
from curejournal.ui.components import common
from curejournal.ui.forms import entry
from curejournal.ui.forms.recipe import lots, of_batch, pieces_now, same_bottles, show_lye
from curejournal.ui.i18n import _, localised, weight_input, word_of
from curejournal.ui.page import Desk, attempt
from curejournal.ui.state import material_cache
from curejournal.workflow import documents, materials

FROM_FILE = msg("a recipe file")
LATEST, OFFERED = 12, 3
"""Batches that are looked through for a recipe, and recipes that are offered. Ours: those that fit a phone."""
SIZES = (msg("as it is"), msg("to a mass"), msg("to a mould"))


def render(desk: Desk) -> None:
    """Draw the page."""
    common.say(msg("Which lye, how much for this mould, and what may it do? Before anything is weighed."), "lead")
    names = desk.journal.names()
    asked = st.query_params.get("like", "")
    options = [*names, FROM_FILE]
    like = st.selectbox(
        _("The recipe of"),
        options,
        index=options.index(asked) if asked in names else 0,
        format_func=localised(
            lambda code: code if code == FROM_FILE else msg("{code} · {name}", code=code, name=names[code])
        ),
        key=f"like-{asked}",
    )
    portions: Sequence[Portion] = ()
    if like == FROM_FILE:
        recipe = _from_file()
    else:
        batch = desk.journal.batch(like)
        recipe, portions = batch.recipe, batch.portions
        if recipe is None:
            _no_recipe(desk, like)
    if recipe is not None:
        _planned(desk, recipe, portions, like)


def _no_recipe(desk: Desk, code: str) -> None:
    """What can be done where a batch has no recipe: enter it here, or begin with one that has."""
    common.say(msg("{code} has no recipe yet, so there is nothing to scale.", code=code))
    known = [other for other in list(desk.journal.names())[:LATEST] if desk.journal.batch(other).recipe is not None]
    for other in known[:OFFERED]:
        name = desk.journal.names()[other]
        common.way(desk, "plan", msg("Plan with the recipe of {code} · {name}", code=other, name=name), like=other)
    if not common.may_enter(desk):
        return
    with st.expander(_("Enter its recipe, as it was weighed"), expanded=not known):
        common.say(msg("For example: 700 g olive, 300 g coconut, 280 g water, 138 g NaOH."), "soft")
        of_batch(desk, desk.journal.batch(code))
        entry.ask(desk, code)


def _from_file() -> Recipe | None:
    file = st.file_uploader(
        _("A recipe: JSON, a table (CSV), or TOML"), type=["json", "csv", "toml"], key="recipe-file"
    )
    if file is None:
        words = msg("Another maker’s recipe comes in here; your own goes out below, once one is chosen.")
        common.empty("recipe", words)
        return None
    form = cast(Literal["json", "csv", "toml"], PurePath(file.name).suffix.lower().lstrip("."))
    text = file.getvalue().decode("utf-8-sig", errors="replace")
    return attempt(lambda: documents.recipe_in(text, form))


def _planned(desk: Desk, recipe: Recipe, portions: Sequence[Portion], source: str) -> None:
    scaled = attempt(partial(_scaled, recipe))
    if scaled is None:
        return
    show_lye(scaled)
    # Of another file, or corrected meanwhile, its bottles are asked for again.
    poured, key = pieces_now(desk, scaled), f"plan-lots-{source}-{hash(recipe)}"
    if not same_bottles(key, poured, msg("in the file") if source == FROM_FILE else msg("for {source}", source=source)):
        with st.expander(_("Lots of the bottles that are poured from now")):
            poured = lots(key, poured)
    common.listed(
        msg("{grams} {name}", grams=quantity(f"{grams:.1f}", "g"), name=name)
        + (msg(", lot {lot}", lot=lot) if lot else "")
        for name, lot, grams in lots_of(poured)
    )
    shares = [portion.name for portion in portions if not portion.control]
    st.subheader(_("What to expect"))
    plans = materials.planned(desk.journal, poured, desk.now, portions=shares, tell=material_cache.teller(desk))
    common.listed(materials.planned_in_words(plans))
    tolerances = {portion.name: portion.tolerance for portion in portions}
    for plan in plans:
        # One chart for each portion: of the material that may turn it most.
        known = [(name, one) for name, one in plan.materials if one is not None and one.days and one.turn is not None]
        if known:
            name, worst = max(known, key=lambda pair: pair[1].turn.estimate if pair[1].turn else 0.0)
            where = msg("{name} in {portion}", name=name, portion=plan.portion) if plan.portion else name
            common.figure(material_charts.expected_figure(worst, where, tolerances.get(plan.portion)))
    _out(poured)
    if common.may_enter(desk):
        _start(desk, poured, portions)


def _scaled(recipe: Recipe) -> Recipe:
    made = recipe_mass_g(recipe)
    how = st.segmented_control(_("Scale it"), SIZES, default=SIZES[0], required=True, key="scale", format_func=word_of)
    if how == SIZES[1]:
        return scale(
            recipe,
            to_g=weight_input(msg("Grams of batter"), round(made, 1), step=50.0, min_value=0.0, key="scale-g") or made,
        )
    if how == SIZES[2]:
        with st.container(horizontal=True, key="mould"):
            sides = [
                st.number_input(_("{side}, cm", side=side), 0.1, 500.0, usual, 0.5, key=f"mould-{side}", width=150)
                for side, usual in ((msg("Length"), 25.0), (msg("Width"), 9.0), (msg("Depth"), 6.5))
            ]
        wanted = mould_g(*sides)
        words = msg(
            "Inside the mould: about {wanted} of batter. The recipe as it is makes {made}.",
            wanted=quantity(f"{wanted:.0f}", "g"),
            made=quantity(f"{made:.0f}", "g"),
        )
        common.say(words, "soft")
        return scale(recipe, to_g=wanted)
    return recipe


def _out(recipe: Recipe) -> None:
    st.subheader(_("The recipe to pass on"))
    with st.container(horizontal=True, key="recipe-out"):
        st.download_button(
            _("As a table (CSV)"),
            documents.recipe_text(recipe, "csv"),
            "recipe.csv",
            "text/csv",
            key="recipe-csv",
            on_click="ignore",
        )
        st.download_button(
            _("As JSON"),
            documents.recipe_text(recipe, "json"),
            "recipe.json",
            "application/json",
            key="recipe-json",
            on_click="ignore",
        )


def _start(desk: Desk, recipe: Recipe, portions: Sequence[Portion]) -> None:
    st.subheader(_("Start it"))
    with st.form("start-planned"):
        name = st.text_input(_("Name"), key="plan-name", max_chars=120)
        code = st.text_input(
            _("Code (short, your own)"), workflow.next_code(desk.journal), key="plan-code", max_chars=40
        )
        sent = st.form_submit_button(_("Start a batch with this recipe"), type="primary")
    if not sent:
        return
    records: list[Record] = [recipe, *portions]
    started = attempt(
        lambda: workflow.start_batch(
            desk.journal, code.strip(), name.strip(), at=desk.now, by=desk.by, now=desk.now, records=records
        )
    )
    if started is not None:
        st.switch_page(desk.ways["batch"], query_params={"batch": started.code})
