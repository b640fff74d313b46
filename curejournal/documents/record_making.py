"""The parts of a batch record that tell who made it with what, what went wrong, and what came back."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from curejournal.base.messages import Day, msg, msg_n
from curejournal.batch.descriptions import describe
from curejournal.batch.making import Deviation, MakingDetails
from curejournal.batch.records import Batch
from curejournal.batch.sales import BarsBack, Complaint
from curejournal.batch.stock import MaterialLot
from curejournal.documents import formatting
from curejournal.documents.sheet import Sheet, grams
from curejournal.judging.judgement import Judgement

NO_LOT = msg("not recorded")


def making(sheet: Sheet, batch: Batch, judgement: Judgement) -> None:
    """Who weighed and checked with what, by which instruction; yield, storage, durability."""
    found = batch.records(MakingDetails)
    sheet.heading(msg("Making"))
    made = found[-1][1] if found else MakingDetails()
    planned = (
        msg("{planned_bars} planned, ", planned_bars=msg_n("{number} bar", "{number} bars", made.planned_bars))
        if made.planned_bars
        else ""
    )
    cut = (
        msg_n("{number} bar cut", "{number} bars cut", batch.bars_cut) if batch.bars_cut else msg("bars cut not noted")
    )
    share = (
        msg(" ({planned_bars:.0f} %)", planned_bars=100 * batch.bars_cut / made.planned_bars)
        if made.planned_bars
        else ""
    )
    recipe_g = judgement.lye.batch_g if judgement.lye else None
    facts = [
        (msg("weighed by"), made.weighed_by or NO_LOT),
        (msg("checked by"), made.checked_by or msg("nobody noted a second check")),
        (msg("scale"), _instrument(made.scale, made.scale_checked)),
        (msg("pH meter"), _instrument(made.meter, made.meter_checked)),
        (msg("instruction"), made.instruction or NO_LOT),
        (msg("weighed in"), grams(recipe_g) if recipe_g else NO_LOT),
        (msg("yield"), planned + cut + share),
        (msg("lies at"), batch.place or NO_LOT),
        (msg("storage"), made.storage or NO_LOT),
        (msg("best before"), Day(made.best_before) if made.best_before else NO_LOT),
    ]
    sheet.facts(facts)


def _instrument(name: str, checked: date | None) -> str:
    if not name:
        return NO_LOT
    return (
        msg("{name}, calibrated {checked}", name=name, checked=Day(checked))
        if checked
        else msg("{name}, calibration not recorded", name=name)
    )


def deviations(sheet: Sheet, batch: Batch, judgement: Judgement) -> None:
    """What was not as it should be, and what was decided."""
    found = batch.records(Deviation)
    if not found:
        return
    sheet.heading(msg("Deviations"))
    rows = [
        (formatting.moment(at, judgement.on.tzinfo), one.what, one.disposition, one.decided_by or "", one.why)
        for at, one in found
    ]
    sheet.rows(
        (msg("when"), msg("what"), msg("disposition"), msg("decided by"), msg("why")), rows, (28, 48, 24, 24, 30)
    )


def after_sale(sheet: Sheet, batch: Batch, judgement: Judgement) -> None:
    """What came back, and what was complained of."""
    told = [e for e in batch.entries if isinstance(e.record, (BarsBack, Complaint))]
    if told:
        sheet.heading(msg("After the sale"))
        sheet.rows(
            (msg("when"), msg("what"), msg("entered by")),
            [(formatting.moment(entry.at, judgement.on.tzinfo), describe(entry.record), entry.by) for entry in told],
            (35, 90, 30),
        )


def lots_rows(sheet: Sheet, lots: Sequence[MaterialLot]) -> None:
    """Supplier, dates and acceptance of the lots that are known."""
    if lots:
        sheet.rows(
            (msg("material"), msg("lot"), msg("supplier"), msg("received"), msg("best before"), msg("accepted by")),
            [
                (
                    one.material,
                    one.lot,
                    one.supplier,
                    _on(one.received),
                    _on(one.best_before),
                    one.accepted_by or NO_LOT,
                )
                for one in lots
            ],
            (36, 24, 36, 24, 24, 24),
        )


def _on(day: date | None) -> str:
    return Day(day) if day else NO_LOT
