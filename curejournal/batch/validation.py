"""What cannot be is refused when it is entered."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import datetime, timedelta

from curejournal.base.counting import digits
from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg, msg_n, quantity
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
        raise ImpossibleRecord(msg("{at:%Y-%m-%d %H:%M} has not come yet.", at=at), msg("Correct the date or time."))
    poured = batch.poured_at
    after = isinstance(
        record, (ColourReading, Weighing, AlkaliTest, SurfaceNote, BarsOut, BarsBack, Decision, ColourAccepted)
    ) or (isinstance(record, Event) and record.kind in AFTER_THE_POUR)
    # Batter photographed in the minutes before the pour was noted is the same moment.
    grace = timedelta(hours=1) if isinstance(record, ColourReading) else timedelta(0)
    if after and poured is not None and at + grace < poured:
        poured = poured.astimezone(at.tzinfo)  # both by one clock
        raise ImpossibleRecord(
            msg("{at:%Y-%m-%d %H:%M} is before the batch was poured ({poured:%Y-%m-%d %H:%M}).", at=at, poured=poured),
            msg("Correct the date, or the time of the pour."),
        )


def _amount(value: float, what: str) -> None:
    if not (math.isfinite(value) and value > 0):
        raise ImpossibleRecord(
            msg("{what} of {value} cannot be: it has to be above zero.", what=what, value=digits(value)),
            msg("Enter it again."),
        )


def _name(value: str, what: str) -> None:
    if not value.strip():
        raise ImpossibleRecord(msg("The {what} is empty.", what=what), msg("Give the {what}.", what=what))


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
    _name(record.name, msg("portion's name"))
    _amount(record.tolerance, "A tolerance")
    lab = record.target_lab
    if lab is not None and not (0 <= lab[0] <= 100 and all(abs(c) <= 150 for c in lab[1:])):
        raise ImpossibleRecord(
            msg("No surface has the colour {lab}.", lab=describe_lab(lab)), msg("Enter L* from 0 to 100.")
        )


def _event(batch: Batch, record: Event, at: datetime) -> None:
    if record.bars is not None and not 0 < record.bars <= 100_000:
        raise ImpossibleRecord(
            msg("{bars} bars cannot be.", bars=digits(record.bars, 0)), msg("Enter the number of bars cut.")
        )
    if record.temperature_c is not None and not -20 <= record.temperature_c <= 150:
        raise ImpossibleRecord(
            msg("{temperature_c} cannot be.", temperature_c=quantity(digits(record.temperature_c), "°C")),
            msg("Enter the temperature in °C."),
        )
    if record.kind == "poured":
        earlier = [e.at for e in batch.entries if isinstance(e.record, (Weighing, AlkaliTest)) and e.at < at]
        if earlier:
            raise ImpossibleRecord(
                msg("The batch was weighed or tested before that ({earlier:%Y-%m-%d}).", earlier=min(earlier)),
                msg("Correct the date of the pour."),
            )


def _colour(batch: Batch, record: ColourReading, at: datetime) -> None:
    _name(record.portion, msg("portion's name"))
    values = (*record.lab, *(c for row in record.covariance for c in row))
    if not all(math.isfinite(value) for value in values) or not -5 <= record.lab[0] <= 110:
        raise ImpossibleRecord(
            msg("The colour {lab} cannot be.", lab=describe_lab(record.lab)), msg("Measure the photo again.")
        )
    if record.grade not in [grade.value for grade in Grade]:
        raise ImpossibleRecord(
            msg("“{grade}” is no grade of a reading.", grade=record.grade), msg("Measure the photo again.")
        )


def _weighing(batch: Batch, record: Weighing, at: datetime) -> None:
    _name(record.subject, msg("bar's or tray's name"))
    _amount(record.grams, msg("A weight in grams"))
    _amount(record.resolution_g, msg("A scale's step in grams"))
    if record.bars < 1:
        raise ImpossibleRecord(
            msg("{bars} bars cannot be weighed.", bars=digits(record.bars, 0)), msg("Enter how many were on the scale.")
        )
    if not (math.isfinite(record.tare_g) and record.tare_g >= 0):
        raise ImpossibleRecord(
            msg("A tare of {tare_g} cannot be.", tare_g=quantity(digits(record.tare_g), "g")),
            msg("Enter the empty tray's weight."),
        )
    if record.grams / record.bars > LARGEST_BAR_G:
        raise ImpossibleRecord(
            msg("A bar of {bars:g} kg cannot be.", bars=record.grams / record.bars / 1000), msg("Enter grams.")
        )


def _alkali(batch: Batch, record: AlkaliTest, at: datetime) -> None:
    try:
        if record.method == "titration":
            if record.soap_g is None or record.acid_mol_l is None or not record.acid_ml:
                raise ImpossibleRecord(
                    msg("A titration needs the soap's weight, the acid's strength and the volume used."),
                    msg("Enter them."),
                )
            titrate(record.soap_g, record.acid_ml, record.acid_mol_l, record.blank_ml)
        else:
            if record.ph is None:
                raise ImpossibleRecord(msg("A strip or meter needs its pH."), msg("Enter the pH as read."))
            _ph(record.ph, record.half_width, record.strength_pct)
    except ImpossibleTest as error:
        raise ImpossibleRecord(error.what, error.do) from error
    if record.bar_weight_g is not None:
        _amount(record.bar_weight_g, msg("A bar's weight in grams"))


def _ph(ph: float, half_width: float | None, strength_pct: float | None) -> None:
    if half_width is not None and not (math.isfinite(half_width) and half_width > 0):
        raise ImpossibleRecord(
            msg("A half-width of {half_width} cannot be: no reading is free of doubt.", half_width=digits(half_width)),
            msg("Enter half a step of the strip, or what the meter may be off: 0.1, say."),
        )
    try:
        read_ph(ph, half_width if half_width is not None else STRIP_HALF_WIDTH, strength_pct)
    except ImpossibleTest as error:
        raise ImpossibleRecord(error.what, error.do) from error


def _surface(batch: Batch, record: SurfaceNote, at: datetime) -> None:
    if record.count is not None and record.count < 0:
        raise ImpossibleRecord(
            msg("{count} spots cannot be.", count=digits(record.count, 0)), msg("Enter how many you see.")
        )
    if record.set_aside is not None and record.set_aside < 0:
        raise ImpossibleRecord(
            msg("{set_aside} bars cannot be set aside.", set_aside=digits(record.set_aside, 0)),
            msg("Enter how many were."),
        )
    if record.area_pct is not None and not 0 <= record.area_pct <= 100:
        raise ImpossibleRecord(
            msg("An area of {area_pct}% cannot be.", area_pct=digits(record.area_pct)), msg("Enter 0 to 100%.")
        )


def _scalar(batch: Batch, record: ScalarReading, at: datetime) -> None:
    kind = KINDS.get(record.kind)
    if kind is None:
        raise ImpossibleRecord(
            msg("“{kind}” is not measured here.", kind=record.kind),
            msg("Choose one of: {kinds}.", kinds=join(", ", KINDS)),
        )
    if not kind.low <= record.value <= kind.high:
        raise ImpossibleRecord(
            msg(
                "{record} {unit} cannot be the {words}.", record=digits(record.value), unit=kind.unit, words=kind.words
            ),
            msg(
                "It has to be from {low} to {high} {unit}.",
                low=digits(kind.low),
                high=digits(kind.high),
                unit=kind.unit,
            ),
        )


def _bars_out(batch: Batch, record: BarsOut, at: datetime) -> None:
    if record.bars < 1:
        raise ImpossibleRecord(
            msg("{bars} bars cannot leave.", bars=digits(record.bars, 0)), msg("Enter how many bars left.")
        )
    if record.left_the_house:
        _name(record.to, msg("place or person that they went to"))
    cut = batch.event_at("cut")
    if cut is not None and at < cut:
        cut = cut.astimezone(at.tzinfo)
        raise ImpossibleRecord(
            msg("{at:%Y-%m-%d %H:%M} is before the bars were cut ({cut:%Y-%m-%d %H:%M}).", at=at, cut=cut),
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
    _name(record.why, "reason")
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
    _name(record.what, "complaint")
    if record.bars is not None and record.bars < 1:
        raise ImpossibleRecord(
            msg("{bars} bars cannot be complained of.", bars=digits(record.bars, 0)), msg("Enter how many bars.")
        )


def _place(batch: Batch, record: Place, at: datetime) -> None:
    _name(record.words, "place")


def _own_rules(batch: Batch, record: OwnRules, at: datetime) -> None:
    _name(record.why, "reason")


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
    _name(record.what, "deviation")
    if record.disposition != "under review":
        _name(record.decided_by, msg("name of who decided"))


def _decision(batch: Batch, record: Decision, at: datetime) -> None:
    _name(record.signed_by, msg("name of who signs"))
    _name(record.statement, msg("statement that is signed"))


def _weighing_check(batch: Batch, record: WeighingCheck, at: datetime) -> None:
    _amount(record.resolution_g, msg("A scale's step in grams"))
    if record.batter_g is not None:
        _amount(record.batter_g, msg("A weight of batter in grams"))
    elif record.how == "batter weighed":
        raise ImpossibleRecord(
            msg("The weight of the batter is missing."), msg("Enter what it weighed, without its pot.")
        )


def _packet_check(batch: Batch, record: PacketCheck, at: datetime) -> None:
    _name(record.packet, msg("packet's name"))
    for ph, half_width in ((record.strip_ph, record.half_width), (record.reference_ph, record.reference_half_width)):
        _ph(ph, half_width, None)


def _colour_accepted(batch: Batch, record: ColourAccepted, at: datetime) -> None:
    _name(record.portion, msg("portion's name"))
    _name(record.why, "reason")


def _photo_view(batch: Batch, record: PhotoView, at: datetime) -> None:
    if record.place and (len(record.place) < 3 or not all(map(math.isfinite, sum(record.place, ())))):
        raise ImpossibleRecord(msg("The place in the photo is no area."), msg("Mark it again."))
    if record.place and record.portion not in {reading.portion for _, reading in batch.records(ColourReading)}:
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
