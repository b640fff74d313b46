"""Bars that cannot have left or come back, and complaints that say nothing, are refused."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from curejournal.base.counting import digits
from curejournal.base.messages import day_and_time, msg, msg_n
from curejournal.batch.records import BarsBack, BarsOut, Batch, Complaint
from curejournal.batch.refusals import ImpossibleRecord, require_name


def _bars_out(batch: Batch, record: BarsOut, at: datetime) -> None:
    if record.bars < 1:
        raise ImpossibleRecord(
            msg("{bars} bars cannot leave.", bars=digits(record.bars, 0)), msg("Enter how many bars left.")
        )
    if record.left_the_house:
        require_name(record.to, msg("place or person that they went to"))
    cut = batch.event_at("cut")
    if cut is not None and at < cut:
        cut = cut.astimezone(at.tzinfo)
        raise ImpossibleRecord(
            msg("{at} is before the bars were cut ({cut}).", at=day_and_time(at), cut=day_and_time(cut)),
            msg("Correct the date, or the time of the cut."),
        )
    if batch.kind == "test pour" and record.why in ("sold", "given", "sample"):
        raise ImpossibleRecord(
            msg(
                "{code} is a test pour, which is not for sale: its bars cannot be {why}.",
                code=batch.code,
                why=record.why,
            ),
            msg("Keep or scrap them; if it is soap for sale after all, change its kind first, and say why."),
        )
    if batch.bars_cut and record.bars > batch.bars_here:
        back = msg(", {bars_back} back", bars_back=batch.bars_back) if batch.bars_back else ""
        raise ImpossibleRecord(
            msg(
                "{bars_cut} cut and {bars_out} gone{back}, so {bars} more cannot leave.",
                bars_cut=msg_n("{number} bar", "{number} bars", batch.bars_cut),
                bars_out=batch.bars_out,
                back=back,
                bars=record.bars,
            ),
            msg("Correct the number, or that of the bars cut."),
        )


def _bars_back(batch: Batch, record: BarsBack, at: datetime) -> None:
    if record.bars < 1:
        raise ImpossibleRecord(
            msg("{bars} bars cannot come back.", bars=digits(record.bars, 0)), msg("Enter how many bars came back.")
        )
    require_name(record.why, "reason")
    others = sum(out.bars for _, out in batch.records(BarsOut) if out.left_the_house) - batch.bars_back
    if record.bars > others:
        raise ImpossibleRecord(
            msg(
                "Others have {others} of {code}, so {bars} cannot come back.",
                others=msg_n("{number} bar", "{number} bars", others),
                code=batch.code,
                bars=record.bars,
            ),
            msg("Correct the number, or enter first how many had left."),
        )


def _complaint(batch: Batch, record: Complaint, at: datetime) -> None:
    require_name(record.what, "complaint")
    if record.bars is not None and record.bars < 1:
        raise ImpossibleRecord(
            msg("{bars} bars cannot be complained of.", bars=digits(record.bars, 0)), msg("Enter how many bars.")
        )


CHECKS_OF_SALES: dict[type[Any], Callable[..., None]] = {
    BarsOut: _bars_out,
    BarsBack: _bars_back,
    Complaint: _complaint,
}
