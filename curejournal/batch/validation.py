"""What cannot be is refused when it is entered."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import datetime, timedelta

from curejournal.base.counting import digits, how_many
from curejournal.base.errors import CureJournalError
from curejournal.batch.descriptions import describe_lab
from curejournal.batch.kinds import KINDS
from curejournal.batch.plausibility import Doubt, find_doubts
from curejournal.batch.records import (
    RECORDS,
    AlkaliTest,
    BarsBack,
    BarsOut,
    Batch,
    ColourAccepted,
    ColourReading,
    Complaint,
    Decision,
    Deviation,
    Event,
    MakingDetails,
    OwnRules,
    PacketCheck,
    PhotoView,
    Place,
    Portion,
    Record,
    Renamed,
    ScalarReading,
    SurfaceNote,
    Weighing,
    WeighingCheck,
    Withdrawn,
    same_code,
)
from curejournal.colour.sample import Grade
from curejournal.soap.acids import NoAcid
from curejournal.soap.alkali import STRIP_HALF_WIDTH, ImpossibleTest, read_ph, titrate
from curejournal.soap.possible import ImpossibleRecipe, require_possible
from curejournal.soap.recipe import Recipe

AFTER_THE_POUR = (
    *("gel", "partial gel", "volcano", "unmoulded", "cut", "soft", "crumbly", "cracked", "planed", "stamped", "washed"),
    *("smell gone", "smell off"),
)
"""Kinds of events that can only come once a batch was poured."""

LARGEST_BAR_G = 100_000.0
"""Nothing that is weighed here as a bar or tray is above 100 kg. Ours."""


class ImpossibleRecord(CureJournalError):
    """A record that cannot be true."""


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
        raise ImpossibleRecord(f"A journal keeps no “{type(record).__name__}”.", f"It keeps: {', '.join(RECORDS)}.")
    _check_time(batch, record, at, now)
    if type(record) in _CHECKS:
        _CHECKS[type(record)](batch, record, at)
    return () if getattr(record, "confirmed", False) else find_doubts(batch, record, at)


def _check_time(batch: Batch, record: Record, at: datetime, now: datetime | None) -> None:
    if at.tzinfo is None or (now is not None and now.tzinfo is None):
        raise ImpossibleRecord("The time has no offset from UTC.", "Give the time zone with it.")
    # A minute's grace: clocks of phone and computer differ.
    if now is not None and at > now + timedelta(minutes=1):
        raise ImpossibleRecord(f"{at:%Y-%m-%d %H:%M} has not come yet.", "Correct the date or time.")
    poured = batch.poured_at
    after = isinstance(
        record, (ColourReading, Weighing, AlkaliTest, SurfaceNote, BarsOut, BarsBack, Decision, ColourAccepted)
    ) or (isinstance(record, Event) and record.kind in AFTER_THE_POUR)
    # Batter photographed in the minutes before the pour was noted is the same moment.
    grace = timedelta(hours=1) if isinstance(record, ColourReading) else timedelta(0)
    if after and poured is not None and at + grace < poured:
        poured = poured.astimezone(at.tzinfo)  # both by one clock
        raise ImpossibleRecord(
            f"{at:%Y-%m-%d %H:%M} is before the batch was poured ({poured:%Y-%m-%d %H:%M}).",
            "Correct the date, or the time of the pour.",
        )


def _amount(value: float, what: str) -> None:
    if not (math.isfinite(value) and value > 0):
        raise ImpossibleRecord(f"{what} of {digits(value)} cannot be: it has to be above zero.", "Enter it again.")


def _name(value: str, what: str) -> None:
    if not value.strip():
        raise ImpossibleRecord(f"The {what} is empty.", f"Give the {what}.")


def _recipe(batch: Batch, record: Recipe, at: datetime) -> None:
    try:
        require_possible(record)
    except (ImpossibleRecipe, NoAcid) as error:
        raise ImpossibleRecord(error.what, error.do) from error
    if any(same_code(embed.batch, batch.code) for embed in record.embeds):
        raise ImpossibleRecord("A batch cannot be embedded in itself.", "Give the code of the batch it came from.")


def _portion(batch: Batch, record: Portion, at: datetime) -> None:
    _name(record.name, "portion's name")
    _amount(record.tolerance, "A tolerance")
    lab = record.intended_lab
    if lab is not None and not (0 <= lab[0] <= 100 and all(abs(c) <= 150 for c in lab[1:])):
        raise ImpossibleRecord(f"No surface has the colour {describe_lab(lab)}.", "Enter L* from 0 to 100.")


def _event(batch: Batch, record: Event, at: datetime) -> None:
    if record.bars is not None and not 0 < record.bars <= 100_000:
        raise ImpossibleRecord(f"{digits(record.bars, 0)} bars cannot be.", "Enter the number of bars cut.")
    if record.temperature_c is not None and not -20 <= record.temperature_c <= 150:
        raise ImpossibleRecord(f"{digits(record.temperature_c)}\u00a0°C cannot be.", "Enter the temperature in °C.")
    if record.kind == "poured":
        earlier = [e.at for e in batch.entries if isinstance(e.record, (Weighing, AlkaliTest)) and e.at < at]
        if earlier:
            raise ImpossibleRecord(
                f"The batch was weighed or tested before that ({min(earlier):%Y-%m-%d}).",
                "Correct the date of the pour.",
            )


def _colour(batch: Batch, record: ColourReading, at: datetime) -> None:
    _name(record.portion, "portion's name")
    values = (*record.lab, *(c for row in record.covariance for c in row))
    if not all(math.isfinite(value) for value in values) or not -5 <= record.lab[0] <= 110:
        raise ImpossibleRecord(f"The colour {describe_lab(record.lab)} cannot be.", "Measure the photo again.")
    if record.grade not in [grade.value for grade in Grade]:
        raise ImpossibleRecord(f"“{record.grade}” is no grade of a reading.", "Measure the photo again.")


def _weighing(batch: Batch, record: Weighing, at: datetime) -> None:
    _name(record.subject, "bar's or tray's name")
    _amount(record.grams, "A weight in grams")
    _amount(record.resolution_g, "A scale's step in grams")
    if record.bars < 1:
        raise ImpossibleRecord(f"{digits(record.bars, 0)} bars cannot be weighed.", "Enter how many were on the scale.")
    if not (math.isfinite(record.tare_g) and record.tare_g >= 0):
        raise ImpossibleRecord(f"A tare of {digits(record.tare_g)}\u00a0g cannot be.", "Enter the empty tray's weight.")
    if record.grams / record.bars > LARGEST_BAR_G:
        raise ImpossibleRecord(f"A bar of {record.grams / record.bars / 1000:g} kg cannot be.", "Enter grams.")


def _alkali(batch: Batch, record: AlkaliTest, at: datetime) -> None:
    try:
        if record.method == "titration":
            if record.soap_g is None or record.acid_mol_l is None or not record.acid_ml:
                raise ImpossibleRecord(
                    "A titration needs the soap's weight, the acid's strength and the volume used.", "Enter them."
                )
            titrate(record.soap_g, record.acid_ml, record.acid_mol_l, record.blank_ml)
        else:
            if record.ph is None:
                raise ImpossibleRecord("A strip or meter needs its pH.", "Enter the pH as read.")
            _ph(record.ph, record.half_width, record.strength_pct)
    except ImpossibleTest as error:
        raise ImpossibleRecord(error.what, error.do) from error
    if record.bar_weight_g is not None:
        _amount(record.bar_weight_g, "A bar's weight in grams")


def _ph(ph: float, half_width: float | None, strength_pct: float | None) -> None:
    if half_width is not None and not (math.isfinite(half_width) and half_width > 0):
        raise ImpossibleRecord(
            f"A half-width of {digits(half_width)} cannot be: no reading is free of doubt.",
            "Enter half a step of the strip, or what the meter may be off: 0.1, say.",
        )
    try:
        read_ph(ph, half_width if half_width is not None else STRIP_HALF_WIDTH, strength_pct)
    except ImpossibleTest as error:
        raise ImpossibleRecord(error.what, error.do) from error


def _surface(batch: Batch, record: SurfaceNote, at: datetime) -> None:
    if record.count is not None and record.count < 0:
        raise ImpossibleRecord(f"{digits(record.count, 0)} spots cannot be.", "Enter how many you see.")
    if record.set_aside is not None and record.set_aside < 0:
        raise ImpossibleRecord(f"{digits(record.set_aside, 0)} bars cannot be set aside.", "Enter how many were.")
    if record.area_pct is not None and not 0 <= record.area_pct <= 100:
        raise ImpossibleRecord(f"An area of {digits(record.area_pct)}% cannot be.", "Enter 0 to 100%.")


def _scalar(batch: Batch, record: ScalarReading, at: datetime) -> None:
    kind = KINDS.get(record.kind)
    if kind is None:
        raise ImpossibleRecord(f"“{record.kind}” is not measured here.", f"Choose one of: {', '.join(KINDS)}.")
    if not kind.low <= record.value <= kind.high:
        raise ImpossibleRecord(
            f"{digits(record.value)} {kind.unit} cannot be the {kind.words}.",
            f"It has to be from {digits(kind.low)} to {digits(kind.high)} {kind.unit}.",
        )


def _bars_out(batch: Batch, record: BarsOut, at: datetime) -> None:
    if record.bars < 1:
        raise ImpossibleRecord(f"{digits(record.bars, 0)} bars cannot leave.", "Enter how many bars left.")
    if record.left_the_house:
        _name(record.to, "place or person that they went to")
    cut = batch.event_at("cut")
    if cut is not None and at < cut:
        cut = cut.astimezone(at.tzinfo)
        raise ImpossibleRecord(
            f"{at:%Y-%m-%d %H:%M} is before the bars were cut ({cut:%Y-%m-%d %H:%M}).",
            "Correct the date, or the time of the cut.",
        )
    if batch.kind == "test pour" and record.why in ("sold", "given", "sample"):
        raise ImpossibleRecord(
            f"{batch.code} is a test pour, which is not for sale: its bars cannot be {record.why}.",
            "Keep or scrap them; if it is soap for sale after all, change its kind first, and say why.",
        )
    if batch.bars_cut and record.bars > batch.bars_here:
        back = f", {batch.bars_back} back" if batch.bars_back else ""
        raise ImpossibleRecord(
            f"{how_many(batch.bars_cut, 'bar')} cut and {batch.bars_out} gone{back}, so {record.bars} more cannot "
            "leave.",
            "Correct the number, or that of the bars cut.",
        )


def _bars_back(batch: Batch, record: BarsBack, at: datetime) -> None:
    if record.bars < 1:
        raise ImpossibleRecord(f"{digits(record.bars, 0)} bars cannot come back.", "Enter how many bars came back.")
    _name(record.why, "reason")
    others = sum(out.bars for _, out in batch.records(BarsOut) if out.left_the_house) - batch.bars_back
    if record.bars > others:
        raise ImpossibleRecord(
            f"Others have {how_many(others, 'bar')} of {batch.code}, so {record.bars} cannot come back.",
            "Correct the number, or enter first how many had left.",
        )


def _complaint(batch: Batch, record: Complaint, at: datetime) -> None:
    _name(record.what, "complaint")
    if record.bars is not None and record.bars < 1:
        raise ImpossibleRecord(f"{digits(record.bars, 0)} bars cannot be complained of.", "Enter how many bars.")


def _place(batch: Batch, record: Place, at: datetime) -> None:
    _name(record.words, "place")


def _own_rules(batch: Batch, record: OwnRules, at: datetime) -> None:
    _name(record.why, "reason")


def _making(batch: Batch, record: MakingDetails, at: datetime) -> None:
    if record.planned_bars is not None and record.planned_bars < 1:
        raise ImpossibleRecord(f"{digits(record.planned_bars, 0)} bars cannot be planned.", "Enter how many bars.")
    if record.weighed_by and record.weighed_by.strip().casefold() == record.checked_by.strip().casefold():
        raise ImpossibleRecord(
            "Who weighed cannot be the one who checked it.",
            "Leave “checked by” empty if nobody else looked.",
        )
    if record.best_before is not None and batch.poured_at and record.best_before <= batch.poured_at.date():
        raise ImpossibleRecord(f"Best before {record.best_before} is not after the pour.", "Correct the date.")
    for what, day in (("scale", record.scale_checked), ("meter", record.meter_checked)):
        if day is not None and day > at.date():
            raise ImpossibleRecord(f"The {what} cannot have been calibrated on {day} yet.", "Correct the date.")


def _deviation(batch: Batch, record: Deviation, at: datetime) -> None:
    _name(record.what, "deviation")
    if record.disposition != "under review":
        _name(record.decided_by, "name of who decided")


def _decision(batch: Batch, record: Decision, at: datetime) -> None:
    _name(record.signed_by, "name of who signs")
    _name(record.statement, "statement that is signed")


def _weighing_check(batch: Batch, record: WeighingCheck, at: datetime) -> None:
    _amount(record.resolution_g, "A scale's step in grams")
    if record.batter_g is not None:
        _amount(record.batter_g, "A weight of batter in grams")
    elif record.how == "batter weighed":
        raise ImpossibleRecord("The weight of the batter is missing.", "Enter what it weighed, without its pot.")


def _packet_check(batch: Batch, record: PacketCheck, at: datetime) -> None:
    _name(record.packet, "packet's name")
    for ph, half_width in ((record.strip_ph, record.half_width), (record.reference_ph, record.reference_half_width)):
        _ph(ph, half_width, None)


def _colour_accepted(batch: Batch, record: ColourAccepted, at: datetime) -> None:
    _name(record.portion, "portion's name")
    _name(record.why, "reason")


def _photo_view(batch: Batch, record: PhotoView, at: datetime) -> None:
    if record.place and (len(record.place) < 3 or not all(map(math.isfinite, sum(record.place, ())))):
        raise ImpossibleRecord("The place in the photo is no area.", "Mark it again.")
    if record.place and record.portion not in {reading.portion for _, reading in batch.records(ColourReading)}:
        raise ImpossibleRecord(
            f"No colour of “{record.portion}” was measured.", "Choose a portion with a measured colour."
        )
    if record.crop is not None:
        left, top, right, bottom = record.crop
        if not (0 <= left < right <= 1 and 0 <= top < bottom <= 1):
            raise ImpossibleRecord("The cut leaves nothing of the photo.", "Choose other sides.")
    if not math.isfinite(record.turn_deg) or abs(record.turn_deg) > 360:
        raise ImpossibleRecord(f"A photo cannot be turned by {record.turn_deg}°.", "Give an angle up to 360°.")


def _renamed(batch: Batch, record: Renamed, at: datetime) -> None:
    _name(record.name, "name")


def _withdrawn(batch: Batch, record: Withdrawn, at: datetime) -> None:
    _name(record.why, "reason")


_CHECKS: dict[type[Record], Callable[..., None]] = {
    Recipe: _recipe,
    Portion: _portion,
    Event: _event,
    ColourReading: _colour,
    Weighing: _weighing,
    AlkaliTest: _alkali,
    SurfaceNote: _surface,
    ScalarReading: _scalar,
    BarsOut: _bars_out,
    BarsBack: _bars_back,
    Complaint: _complaint,
    Place: _place,
    OwnRules: _own_rules,
    MakingDetails: _making,
    Deviation: _deviation,
    Decision: _decision,
    WeighingCheck: _weighing_check,
    PacketCheck: _packet_check,
    ColourAccepted: _colour_accepted,
    PhotoView: _photo_view,
    Renamed: _renamed,
    Withdrawn: _withdrawn,
}
"""One check for each kind of record that can be wrong by itself."""
