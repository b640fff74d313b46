"""One page on a lot: where it went."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from curejournal.base.messages import Voice, msg, msg_n
from curejournal.documents import formatting
from curejournal.documents.sheet import Sheet, grams, maybe_day
from curejournal.judging.traceability import LotUse, describe_bars_out


def lot_pdf(
    lot: str, uses: Sequence[LotUse], *, place: str, made_on: datetime, software: str, voice: Voice | None = None
) -> bytes:
    """One page: where a lot went."""
    sheet = Sheet(
        msg("Lot {lot}", lot=lot),
        msg(
            "Lot {lot} · printed {made_on} · {software}", lot=lot, made_on=formatting.moment(made_on), software=software
        ),
        made_on,
        voice=voice,
    )
    sheet.add_page()
    sheet.title_line(msg("Where lot {lot} went", lot=lot), place)
    if not uses:
        sheet.say(msg("No batch in this journal names this lot."))
    for material in dict.fromkeys(use.material for use in uses):
        of_it = [use for use in uses if use.material == material]
        into = msg_n("{number} batch", "{number} batches", len({use.batch for use in of_it}))
        sheet.heading(
            msg(
                "{material}: {of_it} in {into}",
                material=material,
                of_it=grams(sum(use.grams for use in of_it)),
                into=into,
            )
        )
        rows = [(use.batch, use.name, maybe_day(use.poured_at), grams(use.grams)) for use in of_it]
        sheet.rows((msg("batch"), msg("name"), msg("poured"), msg("used")), rows, (20, 70, 35, 25), right=(3,))
    for use in {use.batch: use for use in uses}.values():
        sheet.say(msg("{batch}: {gone}.", batch=use.batch, gone=describe_bars_out(use.gone)))
    return bytes(sheet.output())
