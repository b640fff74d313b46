"""What cannot be is refused when it is entered."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import datetime, timedelta

from curejournal.base.counting import digits
from curejournal.base.messages import Day, day_and_time, join, msg, quantity
from curejournal.batch.descriptions import describe_lab
from curejournal.batch.plausibility import Doubt, find_doubts
from curejournal.batch.records import (
    RECORDS,
    AlkaliTest,
    BarsBack,
    BarsOut,
    Batch,
    ColourAccepted,
    ColourReading,
    Decision,
    Deviation,
    Event,
    MakingDetails,
    OwnRules,
    PhotoView,
    Place,
    Portion,
    Record,
    Renamed,
    SurfaceNote,
    Weighing,
    Withdrawn,
    same_code,
)
from curejournal.batch.refusals import ImpossibleRecord as ImpossibleRecord
from curejournal.batch.refusals import require_amount, require_name
from curejournal.batch.validation_readings import CHECKS_OF_READINGS
from curejournal.batch.validation_sales import CHECKS_OF_SALES
from curejournal.soap.acids import NoAcid
from curejournal.soap.possible import ImpossibleRecipe, require_possible
from curejournal.soap.recipe import Recipe

AFTER_THE_POUR = (
    *("gel", "partial gel", "volcano", "unmoulded", "cut", "soft", "crumbly", "cracked", "planed", "stamped", "washed"),
    *("smell gone", "smell off"),
)
"""Kinds of events that can only come once a batch was poured."""


def check_record(batch: Batch, record: Record, at: datetime, now: datetime | None = None) -> tuple[Doubt, ...]:
    """Look at a record before it is kept.

    Parameters
    ----------
    batch : Batch
        The batch as it stands, without this record (or without the one it corrects).
    record : Record
        What is to be kept.
    at : datetime
        When it happened, with its offset.
    now : datetime, optional
        The present, with its offset; nothing may happen after it.

    Returns
    -------
    tuple of Doubt
        Empty if all is well, or if a weighing is marked as confirmed.

    Raises
    ------
    ImpossibleRecord
        If it cannot be true whatever the maker says.

    """
    if type(record) not in RECORDS.values():
        raise ImpossibleRecord(
            msg("A journal keeps no “{name}”.", name=type(record).__name__),
            msg("It keeps: {records}.", records=join(", ", RECORDS)),
        )
    _check_time(batch, record, at, now)
    if type(record) in _CHECKS:
        _CHECKS[type(record)](batch, record, at)
    return () if getattr(record, "confirmed", False) else find_doubts(batch, record, at)


def _check_time(batch: Batch, record: Record, at: datetime, now: datetime | None) -> None:
    if at.tzinfo is None or (now is not None and now.tzinfo is None):
        raise ImpossibleRecord(msg("The time has no offset from UTC."), msg("Give the time zone with it."))
    # A minute's grace: clocks of phone and computer differ.
    if now is not None and at > now + timedelta(minutes=1):
        raise ImpossibleRecord(msg("{at} has not come yet.", at=day_and_time(at)), msg("Correct the date or time."))
    poured = batch.poured_at
    after = isinstance(
        record, (ColourReading, Weighing, AlkaliTest, SurfaceNote, BarsOut, BarsBack, Decision, ColourAccepted)
    ) or (isinstance(record, Event) and record.kind in AFTER_THE_POUR)
    # Batter photographed in the minutes before the pour was noted is the same moment.
    grace = timedelta(hours=1) if isinstance(record, ColourReading) else timedelta(0)
    if after and poured is not None and at + grace < poured:
        poured = poured.astimezone(at.tzinfo)  # both by one clock
        raise ImpossibleRecord(
            msg("{at} is before the batch was poured ({poured}).", at=day_and_time(at), poured=day_and_time(poured)),
            msg("Correct the date, or the time of the pour."),
        )


def _recipe(batch: Batch, record: Recipe, at: datetime) -> None:
    try:
        require_possible(record)
    except (ImpossibleRecipe, NoAcid) as error:
        raise ImpossibleRecord(error.what, error.do) from error
    if any(same_code(embed.batch, batch.code) for embed in record.embeds):
        raise ImpossibleRecord(
            msg("A batch cannot be embedded in itself."), msg("Give the code of the batch it came from.")
        )


def _portion(batch: Batch, record: Portion, at: datetime) -> None:
    require_name(record.name, msg("portion's name"))
    require_amount(record.tolerance, "A tolerance")
    lab = record.target_lab
    if lab is not None and not (0 <= lab[0] <= 100 and all(abs(c) <= 150 for c in lab[1:])):
        raise ImpossibleRecord(
            msg("No surface has the colour {lab}.", lab=describe_lab(lab)), msg("Enter L* from 0 to 100.")
        )


def _event(batch: Batch, record: Event, at: datetime) -> None:
    if record.bars is not None and not 0 < record.bars <= 100_000:
        raise ImpossibleRecord(
            msg("{bars} is not a possible number of bars.", bars=digits(record.bars, 0)),
            msg("Enter the number of bars cut."),
        )
    if record.temperature_c is not None and not -20 <= record.temperature_c <= 150:
        raise ImpossibleRecord(
            msg(
                "{temperature_c} is not a possible temperature.",
                temperature_c=quantity(digits(record.temperature_c), "°C"),
            ),
            msg("Enter the temperature in °C."),
        )
    if record.kind == "poured":
        earlier = [e.at for e in batch.entries if isinstance(e.record, (Weighing, AlkaliTest)) and e.at < at]
        if earlier:
            raise ImpossibleRecord(
                msg("The batch was weighed or tested before that ({earlier}).", earlier=Day(min(earlier))),
                msg("Correct the date of the pour."),
            )


def _place(batch: Batch, record: Place, at: datetime) -> None:
    require_name(record.words, "place")


def _own_rules(batch: Batch, record: OwnRules, at: datetime) -> None:
    require_name(record.why, "reason")


def _making(batch: Batch, record: MakingDetails, at: datetime) -> None:
    if record.planned_bars is not None and record.planned_bars < 1:
        raise ImpossibleRecord(
            msg("{planned_bars} bars cannot be planned.", planned_bars=digits(record.planned_bars, 0)),
            msg("Enter how many bars."),
        )
    if record.weighed_by and record.weighed_by.strip().casefold() == record.checked_by.strip().casefold():
        raise ImpossibleRecord(
            msg("Who weighed cannot be the one who checked it."),
            msg("Leave “checked by” empty if nobody else looked."),
        )
    if record.best_before is not None and batch.poured_at and record.best_before <= batch.poured_at.date():
        raise ImpossibleRecord(
            msg("Best before {best_before} is not after the pour.", best_before=record.best_before),
            msg("Correct the date."),
        )
    for what, day in (("scale", record.scale_checked), ("meter", record.meter_checked)):
        if day is not None and day > at.date():
            raise ImpossibleRecord(
                msg("The {what} cannot have been calibrated on {day} yet.", what=what, day=day),
                msg("Correct the date."),
            )


def _deviation(batch: Batch, record: Deviation, at: datetime) -> None:
    require_name(record.what, "deviation")
    if record.disposition != "under review":
        require_name(record.decided_by, msg("name of who decided"))


def _decision(batch: Batch, record: Decision, at: datetime) -> None:
    require_name(record.signed_by, msg("name of who signs"))
    require_name(record.statement, msg("statement that is signed"))


def _colour_accepted(batch: Batch, record: ColourAccepted, at: datetime) -> None:
    require_name(record.portion, msg("portion's name"))
    require_name(record.why, "reason")


def _photo_view(batch: Batch, record: PhotoView, at: datetime) -> None:
    if record.place and (len(record.place) < 3 or not all(map(math.isfinite, sum(record.place, ())))):
        raise ImpossibleRecord(msg("The place in the photo is not a valid area."), msg("Mark it again."))
    if record.place and record.portion not in {reading.subject for _, reading in batch.records(ColourReading)}:
        raise ImpossibleRecord(
            msg("No colour of “{portion}” was measured.", portion=record.portion),
            msg("Choose a portion with a measured colour."),
        )
    if record.crop is not None:
        left, top, right, bottom = record.crop
        if not (0 <= left < right <= 1 and 0 <= top < bottom <= 1):
            raise ImpossibleRecord(msg("The cut leaves nothing of the photo."), msg("Choose other sides."))
    if not math.isfinite(record.turn_deg) or abs(record.turn_deg) > 360:
        raise ImpossibleRecord(
            msg("A photo cannot be turned by {turn_deg}°.", turn_deg=record.turn_deg), msg("Give an angle up to 360°.")
        )


def _renamed(batch: Batch, record: Renamed, at: datetime) -> None:
    require_name(record.name, "name")


def _withdrawn(batch: Batch, record: Withdrawn, at: datetime) -> None:
    require_name(record.why, "reason")


_CHECKS: dict[type[Record], Callable[..., None]] = {
    **CHECKS_OF_READINGS,
    **CHECKS_OF_SALES,
    Recipe: _recipe,
    Portion: _portion,
    Event: _event,
    Place: _place,
    OwnRules: _own_rules,
    MakingDetails: _making,
    Deviation: _deviation,
    Decision: _decision,
    ColourAccepted: _colour_accepted,
    PhotoView: _photo_view,
    Renamed: _renamed,
    Withdrawn: _withdrawn,
}
"""One check for each kind of record that can be wrong by itself."""
