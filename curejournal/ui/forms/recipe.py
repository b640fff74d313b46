"""The forms that ask for a recipe, for the lots of its bottles, and what its lye does."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any, TypeVar, get_args, get_type_hints

from curejournal import workflow
from curejournal.base.counting import digits
from curejournal.batch.records import Batch
from curejournal.judging.judgement import LYE
from curejournal.materials.history import portions_of
from curejournal.soap.lye import LyeCheck, check_lye, lye_for
from curejournal.soap.oils import OILS
from curejournal.soap.recipe import Additive, Alkali, Batter, Embed, Liquid, Oil, Recipe
from curejournal.ui.components import common
from curejournal.ui.forms import entry
from curejournal.ui.i18n import st, weight_input
from curejournal.ui.page import Desk, attempt, plain

T = TypeVar("T")

KINDS = get_args(get_type_hints(Additive)["kind"])
PURITY = {"NaOH": (97.0, 99.0), "KOH": (88.0, 92.0)}
"""Of the solid, %: NaOH 97 to 99, KOH about 90 [common practice, no source]; the bag's label is better."""
WHOLE = "the whole batch"
PIECES = "Pieces of batch"


def of_batch(desk: Desk, batch: Batch) -> None:
    """Ask for a batch's recipe: the first time, or as it should have been entered."""
    last = workflow.last_entry(batch, Recipe)
    # Corrected meanwhile in another window, it is asked for anew: kept as it stood here, it would undo that.
    form = entry.form_key("recipe", batch)
    key = f"{form}-{last.id if last else 0}"
    recipe = ask(desk, key, batch.recipe, [portion.name for portion in batch.portions], batch.code)
    if recipe is not None:
        checked = attempt(lambda: check_lye(recipe))
        if checked is not None:
            lye(checked)
        if last is not None:
            common.say("The recipe as it was entered before stays in the history.", "soft")
        if st.button("Keep the recipe", key=f"{key}-go", type="primary"):
            at, corrects = (last.at, last.id) if last is not None else (desk.now, None)
            entry.offer(desk, batch.code, [recipe], at, form, supersedes=corrects)


def lye(checked: LyeCheck) -> None:
    """What the lye does to the fat, with its interval, doubts and cautions."""
    with st.container(border=True, key="lye"):
        st.subheader("Lye, before you pour")
        superfat(checked)
        for doubt in checked.doubts:
            st.warning(f"{plain(doubt.text)} {plain(doubt.do)}", icon=":material/back_hand:")
        common.say(LYE)


def superfat(checked: LyeCheck) -> None:
    """What fat is left over: by independent spreads, and with every spread at its worst."""
    low, high, worst, best = (digits(pct, 1) for pct in (*checked.superfat_interval_pct, *checked.superfat_worst_pct))
    ratio = checked.lye_concentration_pct
    common.values(
        {
            "Superfat": f"{digits(checked.superfat_nominal_pct, 1)} %, most likely {low} to {high} %",
            "At worst": f"{worst} to {best} %, every spread taken at its worst",
            "Lye concentration": f"{ratio:.0f} %" if ratio is not None else "no alkali in it",
            "Water": f"{checked.water_g:.1f}\u00a0g in {checked.batch_g:.1f}\u00a0g: "
            "no bar can lose more than that part",
        }
    )


def pieces_now(desk: Desk, recipe: Recipe) -> Recipe:
    """A recipe that is poured again: the pieces of other batches have dried since."""
    known = desk.journal.names()
    pieces = (
        workflow.embed_of(desk.journal, piece.batch, piece.grams, piece.portion, desk.now)
        if piece.batch in known
        else piece
        for piece in recipe.embeds
    )
    return replace(recipe, embeds=tuple(pieces))


def same_bottles(key: str, recipe: Recipe, source: str) -> bool:
    """Ask whether a recipe is poured from the bottles whose lots it names."""
    return any(recipe.lots) and bool(st.toggle(f"The same bottles as {source}: keep the lots", key=f"{key}-same"))


def lots(key: str, recipe: Recipe) -> Recipe:
    """Ask which lots a recipe is poured from; those that it names are shown, not taken."""
    names = [*(oil.key for oil in recipe.oils), *(alkali.kind for alkali in recipe.alkalis)]
    names += [*(liquid.name for liquid in recipe.liquids), *(additive.name for additive in recipe.additives)]
    with st.expander("Lots of the bottles that are poured from now"):
        common.say("Left empty, a lot counts as not noted. It can be entered later too.", "soft")
        found = [
            st.text_input(
                f"{plain(name)}, lot",
                key=f"{key}-{number}-{name}",
                max_chars=80,
                placeholder=f"was {lot}" if lot else "",
            ).strip()
            for number, (name, lot) in enumerate(zip(names, recipe.lots, strict=True))
        ]
    return recipe.with_lots(found)


def ask(desk: Desk, key: str, old: Recipe | None, portions: Sequence[str], code: str = "") -> Recipe | None:
    """Ask for a recipe, beginning with an old one: what is not asked about stays as it was. None without oils."""
    before = old or Recipe((), ())
    gone = [name for name in portions_of(before) if name not in portions]
    places = [WHOLE, *portions, *gone]
    rows = _rows(f"{key}-oil", "Oil", [(oil.key, oil.grams, oil.lot) for oil in before.oils], {"Oil": list(OILS)})
    known = partial(_known, before.oils, lambda oil: oil.key)
    oils = [
        replace(known(row["Oil"], row["number"]) or Oil(row["Oil"], 0.0), grams=row["grams"], lot=row["lot"])
        for row in rows
    ]
    liquids = _liquids(f"{key}-liquid", before)
    _suggest(key, oils, liquids)
    alkalis = _alkalis(f"{key}-alkali", before)
    additives = _additives(f"{key}-additive", before, places)
    pieces = _pieces(desk, f"{key}-pieces", before, places, code)
    batter = _batter(f"{key}-batter", before)
    named = {additive.portion for additive in additives} | {piece.portion for piece in pieces}
    named |= {part.portion for part in batter}
    for name in gone:
        if name in named:
            st.warning(
                plain(f"The batch has no portion “{name}” now. Choose where what goes into it belongs."),
                icon=":material/back_hand:",
            )
    if not oils and not pieces:
        return None
    return Recipe(tuple(oils), tuple(alkalis), tuple(liquids), tuple(additives), pieces, batter)


def _suggest(key: str, oils: Sequence[Oil], liquids: Sequence[Liquid]) -> None:
    if not oils:
        return
    with st.expander("How much lye do these oils need?"):
        wanted = st.slider("Superfat, %", 0.0, 15.0, 5.0, 0.5, key=f"{key}-superfat")
        koh = st.slider("KOH, part of the alkali by moles, %", 0, 100, 0, key=f"{key}-koh")
        need = attempt(lambda: lye_for(oils, wanted, liquids=liquids, koh_share=koh / 100))
        if need is not None:
            common.values(
                {
                    f"NaOH of {need.naoh_purity_pct:g} % purity": f"{need.naoh_g:.1f}\u00a0g" if need.naoh_g else "",
                    f"KOH of {need.koh_purity_pct:g} % purity": f"{need.koh_g:.1f}\u00a0g" if need.koh_g else "",
                }
            )
            common.say(
                "This is at the middle of the published saponification values. "
                "Weigh it yourself and enter what you weighed."
            )


def _known(before: Sequence[T], name_of: Callable[[T], str], name: str, number: int) -> T | None:
    """What is known of a row's material: what stood in that row, if it is still called so; else another of its name."""
    same = [item for item in before[number : number + 1] if name_of(item) == name]
    same += [item for item in before if name_of(item) == name]
    return same[0] if same else None


def _alkalis(key: str, before: Recipe) -> list[Alkali]:
    found = []
    rows = _rows(key, "Alkali", [(a.kind, a.grams, a.lot) for a in before.alkalis], {"Alkali": list(PURITY)})
    for row in rows:
        known = _known(before.alkalis, lambda alkali: alkali.kind, row["Alkali"], row["number"])
        usual = (known.purity_low_pct, known.purity_high_pct) if known else PURITY[row["Alkali"]]
        low, high = st.slider(
            f"Purity of this {row['Alkali']}, % (the bag’s label tells)",
            min(80.0, usual[0]),
            100.0,
            usual,
            0.5,
            key=f"{key}-{row['number']}-pure-{row['Alkali']}",
        )
        found.append(Alkali(row["Alkali"], row["grams"], low, high, row["lot"]))
    return found


def _liquids(key: str, before: Recipe) -> list[Liquid]:
    old: list[tuple[Any, ...]] = [(liquid.name, liquid.grams, liquid.lot) for liquid in before.liquids] or [
        ("water", None, "")
    ]
    found = []
    for row in _rows(key, "Liquid", old, {}):
        name, number = row["Liquid"], row["number"]
        known = _known(before.liquids, lambda liquid: liquid.name, name, number)
        water, fat = (known.water_fraction, known.fat_fraction) if known else (1.0, 0.0)
        # Plain water is all water and has no fat: nobody is asked.
        if (water, fat) != (1.0, 0.0) or "water" not in name.casefold():
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


def _additives(key: str, before: Recipe, places: Sequence[str]) -> list[Additive]:
    old = [(a.name, a.grams, a.lot, a.kind, a.portion or WHOLE) for a in before.additives]
    more = {"kind": KINDS, "in": places}
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


def _pieces(desk: Desk, key: str, before: Recipe, places: Sequence[str], code: str) -> tuple[Embed, ...]:
    """Pieces of other batches; those that were in it before keep what is known of their water."""
    codes = [*dict.fromkeys([*(piece.batch for piece in before.embeds), *desk.journal.names()])]
    codes = [one for one in codes if one != code]
    if not codes:
        return ()
    known = {piece.batch: piece for piece in before.embeds}
    old = [(piece.batch, piece.grams, "", piece.portion or WHOLE) for piece in before.embeds]
    found = []
    for row in _rows(key, PIECES, old, {PIECES: codes, "in": places}, least=0, with_lot=False):
        batch, portion = row[PIECES], "" if row["in"] == WHOLE else row["in"]
        if batch in known:
            found.append(replace(known[batch], grams=row["grams"], portion=portion))
            continue
        piece = attempt(partial(workflow.embed_of, desk.journal, batch, row["grams"], portion, desk.now))
        found += [piece] if piece is not None else []
    return tuple(found)


def _batter(key: str, before: Recipe) -> tuple[Batter, ...]:
    """The batter of each portion as it was weighed; it is asked for by a form of its own, once the batch is there."""
    found = [
        Batter(part.portion, grams)
        for number, part in enumerate(before.batter)
        if (
            grams := weight_input(
                f"Batter in {plain(part.portion)}, g", part.grams, step=10.0, format="%.1f", key=f"{key}-{number}"
            )
        )
    ]
    return tuple(found)


def _rows(
    key: str,
    label: str,
    old: Sequence[tuple[Any, ...]],
    choices: Mapping[str, Sequence[str]],
    least: int = 1,
    with_lot: bool = True,
) -> list[dict[str, Any]]:
    """Rows of what, grams, lot unless it has none, further choices, its number; a row without grams does not count."""
    more = st.session_state.get(f"{key}-added", 0)
    count = max(len(old), least) + more
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
                width = 200 if name == "in" else 150
                row[name] = st.selectbox(name, options, index, key=f"{key}-{number}-{name}", width=width)
            if with_lot:
                row["lot"] = st.text_input("lot", lot, key=f"{key}-{number}-lot", width=130).strip()
        if row[label] and row["grams"] is not None:
            found.append(row | {"number": number})
    if st.button(f"One more: {label.lower()}", key=f"{key}-more", icon=":material/add:"):
        st.session_state[f"{key}-added"] = more + 1
        st.rerun()
    return found
