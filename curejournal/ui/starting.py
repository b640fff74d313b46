"""The form that starts a batch: code, portions, recipe, and the lye checked before the pour."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, get_args, get_type_hints

from curejournal import workflow
from curejournal.counting import digits
from curejournal.cure.intended import from_earlier_batch
from curejournal.cure.judgement import LYE
from curejournal.cure.records import Batch, ColourReading, Portion, Record
from curejournal.cure.words import in_words
from curejournal.soap.lye import LyeCheck, check_lye, lye_for
from curejournal.soap.oils import OILS
from curejournal.soap.recipe import Additive, Alkali, Liquid, Oil, Recipe
from curejournal.ui import entry, parts
from curejournal.ui.page import Desk, attempt, plain
from curejournal.ui.telling import st, weight_input

KINDS = get_args(get_type_hints(Additive)["kind"])
PURITY = {"NaOH": (97.0, 99.0), "KOH": (88.0, 92.0)}
"""Of the solid, %: NaOH 97 to 99, KOH about 90 [common practice, no source]; the bag's label is better."""
WHOLE = "the whole batch"
TYPED = "a colour typed here"
FIRST = "B-1"
"""The code that the first batch may have; the next ones count on. Ours."""


def start(desk: Desk, earlier: Mapping[str, str], asked: str = "") -> None:
    """Ask for a batch and start it, like the one asked for; `earlier` are the names of all, by code."""
    like = (
        st.selectbox(
            "Begin with the recipe and portions of",
            [None, *earlier],
            index=[None, *earlier].index(asked if asked in earlier else None),
            format_func=lambda code: "nothing: a new recipe" if code is None else f"{code} · {earlier[code]}",
            key=f"like-{asked or None}",
        )
        if earlier
        else None
    )
    model = desk.journal.batch(like) if like else None
    key = f"start-{like}"
    left, right = st.columns(2)
    with left:
        name = st.text_input("Name", value=model.name if model else "", key=f"{key}-name", max_chars=120)
    with right:
        code = st.text_input("Code (short, your own)", _code(desk), key=f"{key}-code", max_chars=40)
    if model is None or st.toggle("Change its portions or recipe", key=f"{key}-change"):
        portions = _portions(desk, key, model, earlier)
        recipe = _recipe(key, model.recipe if model else None, [portion.name for portion in portions])
    else:
        portions, recipe = list(model.portions), model.recipe
    if recipe is not None:
        checked = attempt(lambda: check_lye(recipe))
        if checked is not None:
            lye(checked)
        for doubt in workflow.doubts_about_pieces(desk.journal, code, recipe, desk.now):
            st.warning(f"{plain(doubt.text)} {plain(doubt.do)}", icon=":material/back_hand:")
    at = entry.moment(desk, key)
    if st.button("Start the batch", key=f"{key}-go", type="primary"):
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
        parts.listed([*(in_words(portion) for portion in portions), *parts.recipe_lines(model)])


def _code(desk: Desk) -> str:
    return workflow.next_code(desk.journal) or ("" if desk.journal.names() else FIRST)


def recipe_later(desk: Desk, batch: Batch) -> None:
    """Ask for the recipe of a batch that was started without one."""
    key = f"recipe-later-{batch.code}"
    recipe = _recipe(key, None, [portion.name for portion in batch.portions])
    if recipe is not None:
        checked = attempt(lambda: check_lye(recipe))
        if checked is not None:
            lye(checked)
        if st.button("Keep the recipe", key=f"{key}-go", type="primary"):
            entry.offer(desk, batch.code, [recipe], desk.now)


def lye(checked: LyeCheck) -> None:
    """What the lye does to the fat, with its interval, doubts and cautions."""
    with st.container(border=True, key="lye"):
        st.subheader("Lye, before you pour")
        superfat(checked)
        for doubt in checked.doubts:
            st.warning(f"{plain(doubt.text)} {plain(doubt.do)}", icon=":material/back_hand:")
        parts.say(LYE)


def superfat(checked: LyeCheck) -> None:
    """What fat is left over: by independent spreads, and with every spread at its worst."""
    low, high, worst, best = (digits(pct, 1) for pct in (*checked.superfat_interval_pct, *checked.superfat_worst_pct))
    ratio = checked.lye_concentration_pct
    parts.values(
        {
            "Superfat": f"{digits(checked.superfat_nominal_pct, 1)} %, most likely {low} to {high} %",
            "At worst": f"{worst} to {best} %, every spread taken at its worst",
            "Lye concentration": f"{ratio:.0f} %" if ratio is not None else "no alkali in it",
            "Water": f"{checked.water_g:.0f}\u00a0g in {checked.batch_g:.0f}\u00a0g: "
            "no bar can lose more than that part",
        }
    )


def _portions(desk: Desk, key: str, model: Batch | None, earlier: Mapping[str, str]) -> list[Portion]:
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
            aimed = _intended(desk, f"{key}-p-{order}", before, earlier)
            with st.expander("Tolerance and control"):
                tolerance = entry.tolerance(f"{key}-p-{order}-tolerance", before.tolerance if before else 3.0)
                control = st.checkbox(
                    "A control: unscented, to compare with",
                    before.control if before else False,
                    key=f"{key}-p-{order}-control",
                )
        found.append(replace(aimed, name=name.strip(), order=order, tolerance=tolerance, control=control))
    return found


def _intended(desk: Desk, key: str, before: Portion | None, earlier: Mapping[str, str]) -> Portion:
    """The colour that a portion should end at: none, that of an earlier batch, or typed."""
    known = before.intended_lab if before else None
    none = Portion("")
    if not st.checkbox("It should end at a certain colour", known is not None, key=f"{key}-wanted"):
        return none
    like = (
        st.selectbox(
            "Like",
            [None, *earlier],
            format_func=lambda code: TYPED if code is None else f"{code} · {earlier[code]}",
            key=f"{key}-like",
        )
        if earlier
        else None
    )
    if like is not None:
        return _like(desk, key, desk.journal.batch(like)) or none
    lab = entry.lab(key, known or entry.CREAM)
    st.html(parts.patch(lab, "Intended colour", "L* lightness, a* green to red, b* blue to yellow (D50)"))
    # Untouched it stays what it was, with all that is known of it.
    return before if before and lab == known else replace(none, intended_lab=lab, intended_source="swatch")


def _like(desk: Desk, key: str, earlier: Batch) -> Portion | None:
    names = list(dict.fromkeys(reading.portion for _, reading in earlier.records(ColourReading)))
    if not names:
        parts.say("No colour was measured in that batch.")
        return None
    name = st.selectbox("Its portion", names, key=f"{key}-of") if len(names) > 1 else names[0]
    rules = workflow.house_rules(desk.journal)
    picked = attempt(lambda: from_earlier_batch(Batch("", ""), earlier, name, rules))
    if picked is None:
        return None
    st.html(parts.patch(picked.lab, "Intended colour", picked.words))
    parts.listed(f"{doubt.text} {doubt.do}" for doubt in picked.doubts)
    return Portion("", 0, picked.lab, "cured earlier batch", 3.0, False, picked.words, picked.card, round(picked.sd, 3))


def _recipe(key: str, old: Recipe | None, portions: Sequence[str]) -> Recipe | None:
    st.subheader("Recipe, as weighed")
    if not st.checkbox("Enter the recipe now", value=True, key=f"{key}-recipe"):
        return None
    before = old or Recipe((), ())
    rows = _rows(f"{key}-oil", "Oil", [(oil.key, oil.grams, oil.lot) for oil in before.oils], {"Oil": list(OILS)})
    oils = [Oil(row["Oil"], row["grams"], row["lot"]) for row in rows]
    liquids = _liquids(f"{key}-liquid", before)
    _suggest(key, oils, liquids)
    alkalis = _alkalis(f"{key}-alkali", before)
    additives = _additives(f"{key}-additive", before, portions)
    return Recipe(tuple(oils), tuple(alkalis), tuple(liquids), tuple(additives)) if oils else None


def _suggest(key: str, oils: Sequence[Oil], liquids: Sequence[Liquid]) -> None:
    if not oils:
        return
    with st.expander("How much lye do these oils need?"):
        wanted = st.slider("Superfat, %", 0.0, 15.0, 5.0, 0.5, key=f"{key}-superfat")
        koh = st.slider("KOH, part of the alkali by moles, %", 0, 100, 0, key=f"{key}-koh")
        need = attempt(lambda: lye_for(oils, wanted, liquids=liquids, koh_share=koh / 100))
        if need is not None:
            parts.values(
                {
                    f"NaOH of {need.naoh_purity_pct:g} % purity": f"{need.naoh_g:.1f}\u00a0g" if need.naoh_g else "",
                    f"KOH of {need.koh_purity_pct:g} % purity": f"{need.koh_g:.1f}\u00a0g" if need.koh_g else "",
                }
            )
            parts.say(
                "This is at the middle of the published saponification values. "
                "Weigh it yourself and enter what you weighed."
            )


def _alkalis(key: str, before: Recipe) -> list[Alkali]:
    found = []
    rows = _rows(key, "Alkali", [(a.kind, a.grams, a.lot) for a in before.alkalis], {"Alkali": list(PURITY)})
    for number, row in enumerate(rows):
        known = [a for a in before.alkalis if a.kind == row["Alkali"]]
        usual = (known[0].purity_low_pct, known[0].purity_high_pct) if known else PURITY[row["Alkali"]]
        low, high = st.slider(
            f"Purity of this {row['Alkali']}, % (the bag’s label tells)",
            80.0,
            100.0,
            usual,
            0.5,
            key=f"{key}-{number}-pure",
        )
        found.append(Alkali(row["Alkali"], row["grams"], low, high, row["lot"]))
    return found


def _liquids(key: str, before: Recipe) -> list[Liquid]:
    known = {liquid.name: liquid for liquid in before.liquids}
    old: list[tuple[Any, ...]] = [(liquid.name, liquid.grams, liquid.lot) for liquid in before.liquids] or [
        ("water", None, "")
    ]
    found = []
    for number, row in enumerate(_rows(key, "Liquid", old, {})):
        name = row["Liquid"]
        water, fat = (known[name].water_fraction, known[name].fat_fraction) if name in known else (1.0, 0.0)
        if name in known or "water" not in name.casefold():
            left, right = st.columns(2)
            with left:
                water = st.number_input(
                    f"Water in {plain(name)}, part of 1", 0.0, 1.0, water, 0.01, key=f"{key}-{number}-water"
                )
            with right:
                fat = st.number_input(
                    f"Fat in {plain(name)}, part of 1", 0.0, 1.0, fat, 0.001, format="%.3f", key=f"{key}-{number}-fat"
                )
        found.append(Liquid(name, row["grams"], water, fat, row["lot"]))
    return found


def _additives(key: str, before: Recipe, portions: Sequence[str]) -> list[Additive]:
    old = [(a.name, a.grams, a.lot, a.kind, a.portion or WHOLE) for a in before.additives]
    more = {"kind": KINDS, "in": [WHOLE, *portions]}
    rows = _rows(key, "Additive", old, more, least=0)
    return [
        Additive(
            row["Additive"],
            row["kind"],
            row["grams"],
            "" if row["in"] == WHOLE else row["in"],
            row["lot"],
        )
        for row in rows
    ]


def _rows(
    key: str,
    label: str,
    old: Sequence[tuple[Any, ...]],
    choices: Mapping[str, Sequence[str]],
    least: int = 1,
) -> list[dict[str, Any]]:
    """Rows of what, grams and lot, and further choices; a row without grams does not count."""
    count = st.session_state.setdefault(f"{key}-count", max(len(old), least))
    found = []
    for number in range(count):
        what, grams, lot, *rest = old[number] if number < len(old) else (None, None, "")
        row: dict[str, Any] = {}
        with st.container(horizontal=True, key=f"{key}-{number}-row", vertical_alignment="bottom"):
            if label in choices:
                options = choices[label]
                index = options.index(what) if what in options else None
                row[label] = st.selectbox(
                    label, options, index, key=f"{key}-{number}-what", placeholder="choose", width=190
                )
            else:
                row[label] = st.text_input(label, what or "", key=f"{key}-{number}-what", width=190).strip()
            row["grams"] = weight_input(
                "grams", value=grams, step=1.0, format="%.1f", key=f"{key}-{number}-g", width=150
            )
            others = [name for name in choices if name != label]
            for place, name in enumerate(others):
                options = choices[name]
                known = rest[place] if place < len(rest) else None
                index = options.index(known) if known in options else 0
                row[name] = st.selectbox(name, options, index, key=f"{key}-{number}-{name}", width=150)
            row["lot"] = st.text_input("lot", lot, key=f"{key}-{number}-lot", width=130).strip()
        if row[label] and row["grams"] is not None:
            found.append(row)
    if st.button(f"One more: {label.lower()}", key=f"{key}-more", icon=":material/add:"):
        st.session_state[f"{key}-count"] = count + 1
        st.rerun()
    return found
