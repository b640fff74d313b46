"""What cannot have been measured or seen is refused."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import datetime
from typing import Any

from curejournal.base.counting import digits
from curejournal.base.messages import join, msg, quantity
from curejournal.batch.descriptions import describe_lab
from curejournal.batch.kinds import KINDS
from curejournal.batch.records import (
    AlkaliTest,
    Batch,
    ColourReading,
    PacketCheck,
    ScalarReading,
    SurfaceNote,
    Weighing,
    WeighingCheck,
)
from curejournal.batch.refusals import ImpossibleRecord, require_amount, require_name
from curejournal.colour.sample import Grade
from curejournal.soap.alkali import STRIP_HALF_WIDTH, ImpossibleTest, read_ph, titrate

LARGEST_BAR_G = 100_000.0
"""Nothing that is weighed here as a bar or tray is above 100 kg. Ours."""


def _colour(batch: Batch, record: ColourReading, at: datetime) -> None:
    require_name(record.portion, msg("portion's name"))
    values = (*record.lab, *(c for row in record.covariance for c in row))
    if not all(math.isfinite(value) for value in values) or not -5 <= record.lab[0] <= 110:
        raise ImpossibleRecord(
            msg("{lab} is not a possible colour.", lab=describe_lab(record.lab)), msg("Measure the photo again.")
        )
    if record.grade not in [grade.value for grade in Grade]:
        raise ImpossibleRecord(
            msg("“{grade}” is not a valid grade.", grade=record.grade), msg("Measure the photo again.")
        )


def _weighing(batch: Batch, record: Weighing, at: datetime) -> None:
    require_name(record.subject, msg("bar's or tray's name"))
    require_amount(record.grams, msg("A weight in grams"))
    require_amount(record.resolution_g, msg("A scale's step in grams"))
    if record.bars < 1:
        raise ImpossibleRecord(
            msg("{bars} is not a possible number of bars.", bars=digits(record.bars, 0)),
            msg("Enter how many were on the scale."),
        )
    if not (math.isfinite(record.tare_g) and record.tare_g >= 0):
        raise ImpossibleRecord(
            msg("A tare of {tare_g} is not possible.", tare_g=quantity(digits(record.tare_g), "g")),
            msg("Enter the empty tray's weight."),
        )
    if record.grams / record.bars > LARGEST_BAR_G:
        raise ImpossibleRecord(
            msg("A bar of {bars:g} kg is not possible.", bars=record.grams / record.bars / 1000), msg("Enter grams.")
        )


def _alkali(batch: Batch, record: AlkaliTest, at: datetime) -> None:
    _half_width(record.half_width)
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
        require_amount(record.bar_weight_g, msg("A bar's weight in grams"))


def _half_width(half_width: float | None) -> None:
    if half_width is not None and not (math.isfinite(half_width) and half_width > 0):
        raise ImpossibleRecord(
            msg("A half-width of {half_width} is not possible: no reading is exact.", half_width=digits(half_width)),
            msg("Enter half a step of the strip, or what the meter may be off: 0.1, say."),
        )


def _ph(ph: float, half_width: float | None, strength_pct: float | None) -> None:
    _half_width(half_width)
    try:
        read_ph(ph, half_width if half_width is not None else STRIP_HALF_WIDTH, strength_pct)
    except ImpossibleTest as error:
        raise ImpossibleRecord(error.what, error.do) from error


def _surface(batch: Batch, record: SurfaceNote, at: datetime) -> None:
    if record.count is not None and record.count < 0:
        raise ImpossibleRecord(
            msg("{count} is not a possible number of spots.", count=digits(record.count, 0)),
            msg("Enter how many you see."),
        )
    if record.set_aside is not None and record.set_aside < 0:
        raise ImpossibleRecord(
            msg("{set_aside} bars cannot be set aside.", set_aside=digits(record.set_aside, 0)),
            msg("Enter how many were."),
        )
    if record.area_pct is not None and not 0 <= record.area_pct <= 100:
        raise ImpossibleRecord(
            msg("An area of {area_pct}% is not possible.", area_pct=digits(record.area_pct)), msg("Enter 0 to 100%.")
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
                "{record} {unit} is not a possible {words}.",
                record=digits(record.value),
                unit=kind.unit,
                words=kind.words,
            ),
            msg(
                "It has to be from {low} to {high} {unit}.",
                low=digits(kind.low),
                high=digits(kind.high),
                unit=kind.unit,
            ),
        )


def _weighing_check(batch: Batch, record: WeighingCheck, at: datetime) -> None:
    require_amount(record.resolution_g, msg("A scale's step in grams"))
    if record.batter_g is not None:
        require_amount(record.batter_g, msg("A weight of batter in grams"))
    elif record.how == "batter weighed":
        raise ImpossibleRecord(
            msg("The weight of the batter is missing."), msg("Enter what it weighed, without its pot.")
        )


def _packet_check(batch: Batch, record: PacketCheck, at: datetime) -> None:
    require_name(record.packet, msg("packet's name"))
    for ph, half_width in ((record.strip_ph, record.half_width), (record.reference_ph, record.reference_half_width)):
        _ph(ph, half_width, None)


CHECKS_OF_READINGS: dict[type[Any], Callable[..., None]] = {
    ColourReading: _colour,
    Weighing: _weighing,
    AlkaliTest: _alkali,
    SurfaceNote: _surface,
    ScalarReading: _scalar,
    WeighingCheck: _weighing_check,
    PacketCheck: _packet_check,
}
