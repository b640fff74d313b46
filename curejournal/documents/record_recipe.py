"""What went into a batch, on its record: materials with lots and shares, and the lye check."""

from __future__ import annotations

from collections.abc import Sequence

from curejournal.base.counting import digits
from curejournal.base.messages import join, msg
from curejournal.batch.records import Batch
from curejournal.batch.stock import MaterialLot
from curejournal.documents.record_making import NO_LOT, lots_rows
from curejournal.documents.sheet import Sheet, grams, maybe_day
from curejournal.judging.traceability import LotUse
from curejournal.soap.lye import LyeCheck
from curejournal.soap.recipe import Alkali, Oil


def materials(
    sheet: Sheet,
    batch: Batch,
    lots: Sequence[MaterialLot],
    parents: Sequence[LotUse],
    children: Sequence[LotUse],
) -> None:
    """Every material with its lot; what is embedded in the batch, and what it was embedded in."""
    sheet.heading(msg("Materials"))
    recipe = batch.recipe
    if recipe is None:
        sheet.say(msg("No recipe was entered."))
        return
    oils_g = sum(oil.grams for oil in recipe.oils) or 1.0
    rows: list[tuple[str, str, float, str, str]] = [
        (msg("{key} (oil)", key=oil.key), "", oil.grams, oil.lot, _certificate(oil)) for oil in recipe.oils
    ]
    rows += [
        (
            _alkali_name(a),
            "",
            a.grams,
            a.lot,
            msg(
                "purity {purity_low_pct:g} to {purity_high_pct:g} %",
                purity_low_pct=a.purity_low_pct,
                purity_high_pct=a.purity_high_pct,
            ),
        )
        for a in recipe.alkalis
    ]
    rows += [
        (liquid.name, "", liquid.grams, liquid.lot, "" if liquid.water_fraction == 1 else _milk(liquid.water_fraction))
        for liquid in recipe.liquids
    ]
    rows += [(a.name, a.portion or msg("whole batch"), a.grams, a.lot, msg(a.kind)) for a in recipe.additives]
    rows += [
        (a.key, "", a.grams, a.lot, msg("acid, {strength_pct:g} %", strength_pct=a.strength_pct)) for a in recipe.acids
    ]
    rows += [
        (
            msg("melted soap") if e.melted else "embeds",
            e.portion or msg("whole batch"),
            e.grams,
            e.batch,
            msg("pieces of a batch"),
        )
        for e in recipe.embeds
    ]
    sheet.rows(
        (msg("material"), msg("portion"), msg("weighed"), msg("% of oils"), msg("lot"), msg("remark")),
        [(n, p, grams(g), f"{100 * g / oils_g:.1f}", lot or NO_LOT, remark) for n, p, g, lot, remark in rows],
        (42, 27, 20, 17, 26, 32),
        right=(2, 3),
    )
    lots_rows(sheet, lots)
    if recipe.batter:
        sheet.say(
            msg(
                "Batter: {batter}.",
                batter=join("; ", (join(" ", (part.portion, grams(part.grams))) for part in recipe.batter)),
            )
        )
    for title, uses in ((msg("Embedded in it"), parents), (msg("It was embedded in"), children)):
        if uses:
            told = (
                msg(
                    "{batch} {name} ({grams}, {poured_at})",
                    batch=u.batch,
                    name=u.name,
                    grams=grams(u.grams),
                    poured_at=maybe_day(u.poured_at),
                )
                for u in uses
            )
            sheet.say(msg("{title}: {told}.", title=title, told=join("; ", told)))


def _certificate(oil: Oil) -> str:
    if oil.certificate_sv is None:
        return ""
    return msg(
        "{sv_from}: {certificate_sv:g} ± {certificate_sv_half_width:g} mg KOH/g",
        sv_from=oil.sv_from or "certificate",
        certificate_sv=oil.certificate_sv,
        certificate_sv_half_width=oil.certificate_sv_half_width,
    )


def _alkali_name(alkali: Alkali) -> str:
    return (
        alkali.kind
        if alkali.solution_pct is None
        else msg("{kind}, {solution_pct:g} % solution", kind=alkali.kind, solution_pct=alkali.solution_pct)
    )


def _milk(water_fraction: float) -> str:
    return msg("{water_fraction:.0f} % water", water_fraction=100 * water_fraction)


def lye_check(sheet: Sheet, lye: LyeCheck | None) -> None:
    """The superfat as an interval, and the lye's figures."""
    sheet.heading(msg("Lye check"))
    if lye is None:
        sheet.say(msg("Not possible without a complete recipe."))
        return
    low, high, worst_low, worst_high = (digits(pct, 1) for pct in (*lye.superfat_interval_pct, *lye.superfat_worst_pct))
    facts = [
        (
            "superfat",
            msg(
                "{superfat_nominal_pct} % of all fat; 95 % interval {low} to {high} %",
                superfat_nominal_pct=digits(lye.superfat_nominal_pct, 1),
                low=low,
                high=high,
            ),
        ),
        (
            msg("with every spread at its worst"),
            msg("{worst_low} to {worst_high} %", worst_low=worst_low, worst_high=worst_high),
        ),
        (msg("lye"), msg("{lye_g} on {fat_g} of fat", lye_g=grams(lye.lye_g), fat_g=grams(lye.fat_g))),
    ]
    if lye.lye_concentration_pct is not None:
        facts.append((msg("lye concentration"), f"{lye.lye_concentration_pct:.1f} %"))
    facts.append(
        (
            msg("water in the fresh batch"),
            msg("{water_g}, {water_share:.1f} %", water_g=grams(lye.water_g), water_share=100 * lye.water_share),
        )
    )
    sheet.facts(facts)
    for doubt in lye.doubts:
        sheet.say(join(" ", (doubt.text, doubt.do)))
    sheet.say(msg("From published ranges of saponification values, or the certificate where one is named."), 8)
