"""The form that starts a batch: code, portions, recipe, and the lye checked before the pour."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, get_args

import streamlit as st

from curejournal import workflow
from curejournal.colour.sample import Lab
from curejournal.cure.judgement import LYE
from curejournal.cure.records import Batch, Portion, Record
from curejournal.soap.lye import LyeCheck, check_lye, lye_for
from curejournal.soap.oils import OILS
from curejournal.soap.recipe import Additive, Alkali, Liquid, Oil, Recipe
from curejournal.ui import entry, parts
from curejournal.ui.page import Desk, attempt, plain

KINDS_OF_ADDITIVE = get_args(Additive.__annotations__["kind"]) or ("fragrance", "pigment", "other")


def start(desk: Desk, earlier: Sequence[Batch]) -> None:
    """Ask for a batch and start it."""
    known = {batch.code: batch for batch in earlier}
    like = (
        st.selectbox(
            "Begin with the recipe and portions of",
            [None, *known],
            format_func=lambda code: "nothing: a new recipe" if code is None else f"{code} · {known[code].name}",
            key="like",
        )
        if known
        else None
    )
    model = known[like] if like else None
    key = f"start-{like}"
    left, right = st.columns(2)
    code = left.text_input("Code (short, your own)", key=f"{key}-code", max_chars=40)
    name = right.text_input("Name", value=model.name if model else "", key=f"{key}-name", max_chars=120)
    portions = _portions(key, model, {batch.code: batch for batch in earlier})
    recipe = _recipe(key, model.recipe if model else None)
    if recipe is not None:
        checked = attempt(lambda: check_lye(recipe))
        if checked is not None:
            lye(checked)
    at = entry.moment(desk, key)
    if st.button("Start the batch", key=f"{key}-go", type="primary"):
        records: list[Record] = [*([recipe] if recipe else []), *portions]
        started = attempt(
            lambda: workflow.start_batch(
                desk.journal, code.strip(), name.strip(), at=at, by=desk.by, now=desk.now, records=records
            )
        )
        if started is not None:
            st.switch_page(desk.ways["batch"], query_params={"batch": started.code})


def lye(checked: LyeCheck) -> None:
    """What the lye does to the fat, with its interval, doubts and cautions."""
    low, high = checked.superfat_interval_pct
    with st.container(border=True, key="lye"):
        st.subheader("Lye, before you pour")
        ratio = checked.lye_concentration_pct
        parts.values(
            {
                "Superfat": f"{checked.superfat_nominal_pct:.1f} %, most likely {low:.1f} to {high:.1f} %",
                "At worst": f"{checked.superfat_worst_pct[0]:.1f} %, every spread taken at its worst",
                "Lye concentration": f"{ratio:.0f} %" if ratio is not None else "no alkali in it",
                "Water": f"{checked.water_g:.0f} g in {checked.batch_g:.0f} g: no bar can lose more than that part",
            }
        )
        for doubt in checked.doubts:
            st.warning(f"{plain(doubt.text)} {plain(doubt.do)}", icon=":material/back_hand:")
        parts.say(LYE)


def _portions(key: str, model: Batch | None, earlier: dict[str, Batch]) -> list[Portion]:
    old = list(model.portions) if model else []
    count = int(st.number_input("Portions (layers, swirl colours)", 1, 12, max(len(old), 1), key=f"{key}-portions"))
    found = []
    for order in range(count):
        before = old[order] if order < len(old) else None
        with st.container(border=True, key=f"{key}-portion-{order}"):
            name = st.text_input(
                "Name of the portion",
                before.name if before else ("soap" if count == 1 else f"portion {order + 1}"),
                key=f"{key}-p-{order}-name",
            )
            lab = _intended(f"{key}-p-{order}", before, earlier)
            with st.expander("Tolerance and control"):
                tolerance = st.number_input(
                    "Difference you accept, ΔE00",
                    0.5,
                    10.0,
                    before.tolerance if before else 3.0,
                    0.5,
                    key=f"{key}-p-{order}-tolerance",
                    help="About 1 is just noticeable side by side; 2 to 4 is usual here.",
                )
                control = st.checkbox(
                    "A control: unscented, to compare with",
                    before.control if before else False,
                    key=f"{key}-p-{order}-control",
                )
        source = (
            None if lab is None else (before.intended_source if before and before.intended_lab == lab else "swatch")
        )
        found.append(Portion(name.strip(), order, lab, source, tolerance, control))
    return found


def _intended(key: str, before: Portion | None, earlier: dict[str, Batch]) -> Lab | None:
    known = before.intended_lab if before else None
    if not st.checkbox("It should end at a certain colour", known is not None, key=f"{key}-wanted"):
        return None
    first = known or (85.0, 2.0, 14.0)
    columns = st.columns(3)
    lightness, a, b = (
        column.number_input(f"{axis}*", value=value, step=0.5, format="%.1f", key=f"{key}-{axis}")
        for column, axis, value in zip(columns, "Lab", first, strict=True)
    )
    st.html(parts.patch((lightness, a, b), "Intended colour", "L* lightness, a* green to red, b* blue to yellow (D50)"))
    return (lightness, a, b)


def _recipe(key: str, old: Recipe | None) -> Recipe | None:
    st.subheader("Recipe, as weighed")
    if not st.checkbox("Enter the recipe now", value=True, key=f"{key}-recipe"):
        return None
    oils = [
        Oil(row["what"], row["grams"], row["lot"])
        for row in _rows(f"{key}-oil", "Oil", [(o.key, o.grams, o.lot) for o in old.oils] if old else [], list(OILS))
    ]
    liquids = _liquids(f"{key}-liquid", old)
    _suggest(key, oils, liquids)
    alkalis = []
    for row in _rows(
        f"{key}-alkali", "Alkali", [(a.kind, a.grams, a.lot) for a in old.alkalis] if old else [], ["NaOH", "KOH"]
    ):
        low, high = (97.0, 99.0) if row["what"] == "NaOH" else (85.0, 92.0)
        alkalis.append(Alkali(row["what"], row["grams"], low, high, row["lot"]))
    additives = [
        Additive(row["what"], row["kind"], row["grams"], "", row["lot"])
        for row in _rows(
            f"{key}-additive",
            "Fragrance, pigment, other",
            [(a.name, a.grams, a.lot, a.kind) for a in old.additives] if old else [],
            None,
            least=0,
            kinds=KINDS_OF_ADDITIVE,
        )
    ]
    return Recipe(tuple(oils), tuple(alkalis), tuple(liquids), tuple(additives)) if oils else None


def _suggest(key: str, oils: Sequence[Oil], liquids: Sequence[Liquid]) -> None:
    if not oils:
        return
    with st.expander("How much lye do these oils need?"):
        wanted = st.slider("Superfat, %", 0.0, 15.0, 5.0, 0.5, key=f"{key}-superfat")
        need = attempt(lambda: lye_for(oils, wanted, liquids=liquids))
        if need is not None:
            parts.say(
                f"{need.naoh_g:.1f} g NaOH of 98 % purity, at the middle of the published saponification values. "
                "Weigh it yourself and enter what you weighed."
            )


def _liquids(key: str, old: Recipe | None) -> list[Liquid]:
    before = {liquid.name: liquid for liquid in old.liquids} if old else {}
    rows = _rows(
        key,
        "Liquid",
        [(liquid.name, liquid.grams, liquid.lot) for liquid in before.values()] or [("water", None, "")],
        None,
    )
    found = []
    for number, row in enumerate(rows):
        base = before.get(row["what"])
        water, fat = (base.water_fraction, base.fat_fraction) if base else (1.0, 0.0)
        if row["what"] != "water":
            columns = st.columns(2)
            water = columns[0].number_input(
                f"Water in {plain(row['what'])}, part of 1", 0.0, 1.0, water, 0.01, key=f"{key}-{number}-water"
            )
            fat = columns[1].number_input(
                f"Fat in {plain(row['what'])}, part of 1",
                0.0,
                1.0,
                fat,
                0.001,
                format="%.3f",
                key=f"{key}-{number}-fat",
            )
        found.append(Liquid(row["what"], row["grams"], water, fat, row["lot"]))
    return found


def _rows(
    key: str,
    label: str,
    old: Sequence[tuple[Any, ...]],
    options: Sequence[str] | None,
    least: int = 1,
    kinds: Sequence[str] = (),
) -> list[dict[str, Any]]:
    """Rows of what, grams and lot; a row without grams does not count."""
    count = st.session_state.setdefault(f"{key}-count", max(len(old), least))
    found = []
    for number in range(count):
        what, grams, lot, *kind = old[number] if number < len(old) else (None, None, "")
        with st.container(horizontal=True, key=f"{key}-{number}-row", vertical_alignment="bottom"):
            if options is None:
                chosen = st.text_input(label, what or "", key=f"{key}-{number}-what", width=210)
            else:
                index = options.index(what) if what in options else None
                chosen = st.selectbox(
                    label, options, index, key=f"{key}-{number}-what", placeholder="choose", width=210
                )
            weight = st.number_input("grams", value=grams, step=1.0, format="%.1f", key=f"{key}-{number}-g", width=130)
            if kinds:
                first = kinds.index(kind[0]) if kind else 0
                kind = [st.selectbox("kind", kinds, first, key=f"{key}-{number}-kind", width=130)]
            number_of_lot = st.text_input("lot", lot, key=f"{key}-{number}-lot", width=130)
        if chosen and weight is not None:
            found.append(
                {"what": chosen, "grams": weight, "lot": number_of_lot.strip(), "kind": kind[0] if kind else ""}
            )
    if st.button(f"One more: {label.lower()}", key=f"{key}-more", icon=":material/add:"):
        st.session_state[f"{key}-count"] = count + 1
        st.rerun()
    return found
