"""The forms that ask for a recipe, for the lots of its bottles, and what its lye does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Any, get_args, get_type_hints

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg
from curejournal.batch.records import Batch
from curejournal.judging.judgement import LYE
from curejournal.judging.traceability import lots_of
from curejournal.materials.history import portions_of
from curejournal.soap.acids import ACIDS
from curejournal.soap.liquids import liquid_named
from curejournal.soap.lye import LyeCheck, check_lye, lye_for
from curejournal.soap.lye_words import answer, figures
from curejournal.soap.oils import OILS
from curejournal.soap.recipe import Acid, Additive, Alkali, Batter, Embed, Liquid, Oil, Recipe
from curejournal.ui.components import common
from curejournal.ui.forms import entry
from curejournal.ui.forms.recipe_rows import known_row, rows
from curejournal.ui.i18n import tr, weight_input, word_of
from curejournal.ui.page import Desk, attempt, plain

KINDS = get_args(get_type_hints(Additive)["kind"])
PURITY = {"NaOH": (97.0, 99.0), "KOH": (88.0, 92.0)}
"""Of the solid, %: NaOH 97 to 99, KOH about 90 [common practice, no source]; the bag's label is better."""
NAOH_ALONE = msg("NaOH: hard bars")
ALKALI: dict[str, int | None] = {NAOH_ALONE: 0, msg("KOH: soft soap"): 100, msg("Both"): None}
"""KOH, per cent of the alkali by moles; None: it is asked for. Molar masses 40.00 and 56.11 g/mol (IUPAC)."""
WHOLE = msg("the whole batch")
PIECES = msg("Pieces of batch")
AS_PIECES, MELTED = "pieces", msg("melted through (rebatch)")


def of_batch(desk: Desk, batch: Batch) -> None:
    """Ask for a batch's recipe: the first time, or as it should have been entered."""
    last = workflow.last_entry(batch, Recipe)
    # Corrected meanwhile in another window, it is asked for again: saved as it stood here, it would undo that.
    form = entry.form_key("recipe", batch)
    key = f"{form}-{last.id if last else 0}"
    recipe = ask(desk, key, batch.recipe, [portion.name for portion in batch.portions], batch.code)
    if recipe is not None:
        show_lye(recipe)
        if last is not None:
            common.say(msg("The recipe as it was entered before stays in the history."), "soft")
        if st.button(tr(msg("Keep the recipe")), key=f"{key}-go", type="primary"):
            at, corrects = (last.at, last.id) if last is not None else (desk.now, None)
            entry.offer(desk, batch.code, [recipe], at, form, supersedes=corrects)


def show_lye(recipe: Recipe, *, brief: bool = False) -> None:
    """What a recipe's lye does; of soap that was melted, why nothing can be said. `brief`: the answer is in sight."""
    if not recipe.oils and recipe.rebatch:
        common.say(msg("A rebatch without new oils has no lye to work out: titrate three of its bars before selling."))
        return
    checked = attempt(lambda: check_lye(recipe))
    if checked is not None:
        lye(checked, brief=brief)


def in_sight(recipe: Recipe) -> None:
    """What its lye does, in one sentence that stays in sight while the recipe is filled in."""
    checked = check_lye(recipe) if recipe.oils else None
    if checked is not None:
        common.say(answer(checked))


def lye(checked: LyeCheck, *, brief: bool = False) -> None:
    """What the lye does to the fat, with its interval, doubts and cautions."""
    with st.container(border=True, key="lye"):
        st.subheader(tr(msg("Lye, before you pour")))
        superfat(checked, brief=brief)
        for doubt in checked.doubts:
            st.warning(tr(f"{plain(doubt.text)} {plain(doubt.do)}"), icon=":material/back_hand:")
        common.say(LYE)


def superfat(checked: LyeCheck, *, brief: bool = False) -> None:
    """The answer in words, and the figures on a tap."""
    if not brief:
        common.say(answer(checked), "lead")
    with st.expander(tr(msg("Figures"))):
        common.values(dict(figures(checked)))


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
    return any(recipe.lots) and bool(
        st.toggle(tr(msg("The same bottles as {source}: keep the lots", source=source)), key=f"{key}-same")
    )


def lots(key: str, recipe: Recipe) -> Recipe:
    """Ask which lots a recipe is poured from; those that it names are shown, not taken."""
    names = [name for name, _, _ in lots_of(recipe)][: len(recipe.lots)]
    common.say(msg("Left empty, a lot counts as not noted. It can be entered later too."), "soft")
    found = [
        st.text_input(
            tr(msg("{name}, lot", name=plain(name))),
            key=f"{key}-{number}-{name}",
            max_chars=80,
            placeholder=tr(msg("was {lot}", lot=lot) if lot else ""),
        ).strip()
        for number, (name, lot) in enumerate(zip(names, recipe.lots, strict=True))
    ]
    return recipe.with_lots(found)


def ask(desk: Desk, key: str, old: Recipe | None, portions: Sequence[str], code: str = "") -> Recipe | None:
    """Ask for a recipe, beginning with an old one: what is not asked about stays as it was. None without oils."""
    before = old or Recipe((), ())
    gone = [name for name in portions_of(before) if name not in portions]
    places = [WHOLE, *portions, *gone]
    name = st.text_input(
        tr(msg("Recipe’s name (rules may be set by it)")), before.name, key=f"{key}-called", max_chars=80
    )
    oils = _oils(f"{key}-oil", before)
    liquids = _liquids(f"{key}-liquid", before)
    acids = _acids(f"{key}-acid", before)
    _suggest(key, oils, liquids, acids)
    alkalis = _alkalis(f"{key}-alkali", before)
    additives = _additives(f"{key}-additive", before, places)
    pieces = _pieces(desk, f"{key}-pieces", before, places, code)
    batter = _batter(f"{key}-batter", before)
    named = {additive.portion for additive in additives} | {piece.portion for piece in pieces}
    named |= {part.portion for part in batter}
    for name in gone:
        if name in named:
            st.warning(
                plain(msg("The batch has no portion “{name}” now. Choose where what goes into it belongs.", name=name)),
                icon=":material/back_hand:",
            )
    if not oils and not pieces:
        return None
    scale_g = st.number_input(
        tr(msg("Step of the scale that it was weighed with, g")), 0.0, 100.0, before.scale_g, 0.1, key=f"{key}-scale"
    )
    rows_asked = tuple(oils), tuple(alkalis), tuple(liquids), tuple(additives)
    return Recipe(*rows_asked, pieces, batter, tuple(acids), scale_g, name.strip())


def _oils(key: str, before: Recipe) -> list[Oil]:
    """Any oil: one of the list, or by its own name; with the value of a certificate, or the maker's own."""
    old = [(oil.key, oil.grams, oil.lot) for oil in before.oils]
    asked_rows = rows(key, msg("Oil"), old, {msg("Oil"): list(OILS)}, new=msg("Oil"))
    found = []
    for row in asked_rows:
        known = known_row(before.oils, lambda oil: oil.key, row["Oil"], row["number"]) or Oil(row["Oil"], 0.0)
        found.append(replace(known, grams=row["grams"], lot=row["lot"]))
    labels = [f"{row['number'] + 1}. {oil.key}" for row, oil in zip(asked_rows, found, strict=True)]
    own = [label for label, oil in zip(labels, found, strict=True) if oil.certificate_sv is not None]
    own += [label for label, oil in zip(labels, found, strict=True) if oil.key not in OILS and label not in own]
    if not labels:
        return found
    asked = st.multiselect(
        tr(msg("Oils with a saponification value of their own: a certificate’s, or yours")),
        labels,
        own,
        key=f"{key}-own-{'-'.join(own)}",
    )
    return [
        _own_value(f"{key}-{number}", oil) if label in asked else replace(oil, certificate_sv=None, sv_from="")
        for number, (label, oil) in enumerate(zip(labels, found, strict=True))
    ]


def _own_value(key: str, oil: Oil) -> Oil:
    with st.container(horizontal=True, key=f"{key}-sv-row", vertical_alignment="bottom"):
        sv = st.number_input(
            tr(msg("{key}, mg KOH/g", key=plain(oil.key))),
            0.0,
            400.0,
            oil.certificate_sv,
            0.1,
            key=f"{key}-sv-{oil.key}",
            width=190,
            placeholder=tr(msg("not known")),
        )
        half = st.number_input(
            tr(msg("give or take")),
            0.0,
            49.0,
            oil.certificate_sv_half_width,
            0.5,
            key=f"{key}-svh-{oil.key}",
            width=130,
        )
        source = st.text_input(
            tr(msg("whose value")), oil.sv_from or "certificate", key=f"{key}-svf-{oil.key}", width=190
        )
    if sv is None:
        return replace(oil, certificate_sv=None, sv_from="")
    whose = oil.sv_from if source == "certificate" and not oil.sv_from else source.strip()
    return replace(oil, certificate_sv=sv, certificate_sv_half_width=half, sv_from=whose)


def _acids(key: str, before: Recipe) -> list[Acid]:
    """Acids, which take up lye; a vinegar, or one in solution, with its strength."""
    old = [(acid.key, acid.grams, acid.lot) for acid in before.acids]
    found = []
    for row in rows(key, msg("Acid"), old, {msg("Acid"): list(ACIDS)}, least=0):
        known = known_row(before.acids, lambda acid: acid.key, row["Acid"], row["number"])
        usual = ACIDS.get(row["Acid"])
        acid = known or Acid(
            row["Acid"], 0.0, usual.usual_pct if usual else 100.0, usual.half_width_pct if usual else 0.0
        )
        strength = st.number_input(
            tr(msg("Strength of {row}, % (the label tells; 100 is the pure acid)", row=plain(row["Acid"]))),
            0.1,
            100.0,
            acid.strength_pct,
            0.5,
            key=f"{key}-{row['number']}-strength-{row['Acid']}",
        )
        found.append(replace(acid, grams=row["grams"], lot=row["lot"], strength_pct=strength))
    return found


def _suggest(key: str, oils: Sequence[Oil], liquids: Sequence[Liquid], acids: Sequence[Acid]) -> None:
    if not oils:
        return
    with st.expander(tr(msg("How much lye do these oils need?"))):
        wanted = st.slider(tr(msg("Superfat, %")), 0.0, 15.0, 5.0, 0.5, key=f"{key}-superfat")
        soap = st.segmented_control(
            tr(msg("Which alkali")),
            list(ALKALI),
            default=NAOH_ALONE,
            required=True,
            key=f"{key}-soap",
            format_func=word_of,
        )
        koh = ALKALI[soap]
        if koh is None:
            koh = st.slider(
                tr(msg("KOH instead of NaOH, % of the lye’s strength")),
                0,
                100,
                10,
                5,
                key=f"{key}-koh",
                help=tr(msg("5 to 10 % makes a bar lather more easily. 1 g of NaOH is as strong as 1.4 g of KOH.")),
            )
        need = attempt(lambda: lye_for(oils, wanted, liquids=liquids, acids=acids, koh_share=koh / 100))
        if need is not None:
            common.values(
                {
                    f"NaOH of {need.naoh_purity_pct:g} % purity": f"{need.naoh_g:.1f}\u00a0g" if need.naoh_g else "",
                    f"KOH of {need.koh_purity_pct:g} % purity": f"{need.koh_g:.1f}\u00a0g" if need.koh_g else "",
                }
            )
            common.say(
                msg(
                    "This is at the middle of the published saponification values. "
                    "Weigh it yourself and enter what you weighed."
                )
            )


def _alkalis(key: str, before: Recipe) -> list[Alkali]:
    found = []
    asked_rows = rows(
        key, msg("Alkali"), [(a.kind, a.grams, a.lot) for a in before.alkalis], {msg("Alkali"): list(PURITY)}
    )
    for row in asked_rows:
        known = known_row(before.alkalis, lambda alkali: alkali.kind, row["Alkali"], row["number"])
        usual = (known.purity_low_pct, known.purity_high_pct) if known else PURITY[row["Alkali"]]
        low, high = st.slider(
            tr(msg("Purity of this {row}, % (the bag’s label tells)", row=row["Alkali"])),
            min(80.0, usual[0]),
            100.0,
            usual,
            0.5,
            key=f"{key}-{row['number']}-pure-{row['Alkali']}",
        )
        solution, half = _dissolved(f"{key}-{row['number']}-{row['Alkali']}", known)
        found.append(Alkali(row["Alkali"], row["grams"], low, high, row["lot"], solution, half))
    return found


def _dissolved(key: str, known: Alkali | None) -> tuple[float | None, float]:
    """Whether it was weighed as a solution, and how strong that is."""
    old = known.solution_pct if known else None
    half = known.solution_half_width_pct if known else 0.5
    if not st.toggle(tr(msg("Weighed as a solution (masterbatch)")), old is not None, key=f"{key}-dissolved"):
        return None, half
    with st.container(horizontal=True, key=f"{key}-dissolved-row"):
        pct = st.number_input(
            tr(msg("Solid in 100 g of it, g")), 1.0, 60.0, old or 50.0, 0.5, key=f"{key}-solution", width=190
        )
        off = st.number_input(tr(msg("give or take")), 0.0, 10.0, half, 0.1, key=f"{key}-solution-half", width=130)
    return pct, off


def _liquids(key: str, before: Recipe) -> list[Liquid]:
    old: list[tuple[Any, ...]] = [(liquid.name, liquid.grams, liquid.lot) for liquid in before.liquids] or [
        ("water", None, "")
    ]
    found = []
    for row in rows(key, msg("Liquid"), old, {}):
        name, number = row["Liquid"], row["number"]
        known = known_row(before.liquids, lambda liquid: liquid.name, name, number)
        usual = liquid_named(name)
        water, fat = (usual.water, usual.fat) if usual else (1.0, 0.0)
        if known:
            water, fat = known.water_fraction, known.fat_fraction
        # Plain water is all water and has no fat: nobody is asked.
        if (water, fat) != (1.0, 0.0) or "water" not in name.casefold():
            left, right = st.columns(2)
            with left:
                water = st.number_input(
                    tr(msg("Water in {name}, part of 1", name=plain(name))),
                    0.0,
                    1.0,
                    water,
                    0.01,
                    key=f"{key}-{number}-water-{name}",
                )
            with right:
                fat = st.number_input(
                    tr(msg("Fat in {name}, part of 1", name=plain(name))),
                    0.0,
                    1.0,
                    fat,
                    0.001,
                    format="%.3f",
                    key=f"{key}-{number}-fat-{name}",
                )
        found.append(Liquid(name, row["grams"], water, fat, row["lot"]))
    return found


def _additives(key: str, before: Recipe, places: Sequence[str]) -> list[Additive]:
    old = [(a.name, a.grams, a.lot, a.kind, a.portion or WHOLE) for a in before.additives]
    more = {"kind": KINDS, "in": places}
    asked_rows = rows(key, msg("Additive"), old, more, least=0)
    return [
        Additive(
            row["Additive"],
            row["kind"],
            row["grams"],
            "" if row["in"] == WHOLE else row["in"],
            row["lot"],
        )
        for row in asked_rows
    ]


def _pieces(desk: Desk, key: str, before: Recipe, places: Sequence[str], code: str) -> tuple[Embed, ...]:
    """Pieces of other batches; those that were in it before keep what is known of their water."""
    codes = [*dict.fromkeys([*(piece.batch for piece in before.embeds), *desk.journal.names()])]
    codes = [one for one in codes if one != code]
    if not codes:
        return ()
    known = {piece.batch: piece for piece in before.embeds}
    old = [(p.batch, p.grams, "", p.portion or WHOLE, MELTED if p.melted else AS_PIECES) for p in before.embeds]
    found = []
    choices = {PIECES: codes, "in": places, "as": (AS_PIECES, MELTED)}
    for row in rows(key, PIECES, old, choices, least=0, with_lot=False):
        batch, portion, melted = row[PIECES], "" if row["in"] == WHOLE else row["in"], row["as"] == MELTED
        if batch in known:
            found.append(replace(known[batch], grams=row["grams"], portion=portion, melted=melted))
            continue
        piece = attempt(partial(workflow.embed_of, desk.journal, batch, row["grams"], portion, desk.now))
        found += [replace(piece, melted=melted)] if piece is not None else []
    return tuple(found)


def _batter(key: str, before: Recipe) -> tuple[Batter, ...]:
    """The batter of each portion as it was weighed; it is asked for by a form of its own, once the batch is there."""
    found = [
        Batter(part.portion, grams)
        for number, part in enumerate(before.batter)
        if (
            grams := weight_input(
                msg("Batter in {portion}, g", portion=plain(part.portion)),
                part.grams,
                step=10.0,
                format="%.1f",
                key=f"{key}-{number}",
            )
        )
    ]
    return tuple(found)
