"""What cannot be is refused when it is entered; what is unlikely is asked about and kept if confirmed."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from curejournal.colour.sample import Grade
from curejournal.counting import how_many
from curejournal.cure.kinds import KINDS
from curejournal.cure.lineage import same_code
from curejournal.cure.records import (
    RECORDS,
    AlkaliTest,
    BarsOut,
    Batch,
    ColourReading,
    Decision,
    Event,
    Portion,
    Record,
    Renamed,
    ScalarReading,
    SurfaceNote,
    Weighing,
    Withdrawn,
)
from curejournal.errors import CureJournalError
from curejournal.soap.alkali import STRIP_HALF_WIDTH, ImpossibleTest, read_ph, titrate
from curejournal.soap.lye import ImpossibleRecipe, check_lye
from curejournal.soap.oils import UnknownOil
from curejournal.soap.recipe import MOST_WATER, Recipe

MOST_LOSS_AT_ONCE = 0.08
"""Loss from one weighing to the next, of one tray, above which it is asked whether bars left it: bars lose 8 to 14% by
week six and about half of that in the first two [common practice, no source]. Ours."""
LARGEST_BAR_G = 100_000.0
"""Nothing that is weighed here as a bar or tray is above 100 kg. Ours."""


class ImpossibleRecord(CureJournalError):
    """A record that cannot be true."""


@dataclass(frozen=True)
class Doubt:
    """Something unlikely about a record: what, and what to do. Confirmed, it is kept as it is."""

    code: str
    text: str
    do: str


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
    doubts = tuple(_CHECKS[type(record)](batch, record, at) or ()) if type(record) in _CHECKS else ()
    return () if getattr(record, "confirmed", False) else doubts


def _check_time(batch: Batch, record: Record, at: datetime, now: datetime | None) -> None:
    if at.tzinfo is None or (now is not None and now.tzinfo is None):
        raise ImpossibleRecord("The time has no offset from UTC.", "Give the time zone with it.")
    # A minute's grace: clocks of phone and computer differ.
    if now is not None and at > now + timedelta(minutes=1):
        raise ImpossibleRecord(f"{at:%Y-%m-%d %H:%M} has not come yet.", "Correct the date or time.")
    poured = batch.poured_at
    after = isinstance(record, (ColourReading, Weighing, AlkaliTest, SurfaceNote, BarsOut, Decision)) or (
        isinstance(record, Event) and record.kind in ("gel", "unmoulded", "cut")
    )
    # Batter photographed in the minutes before the pour was noted is the same moment.
    grace = timedelta(hours=1) if isinstance(record, ColourReading) else timedelta(0)
    if after and poured is not None and at + grace < poured:
        raise ImpossibleRecord(
            f"{at:%Y-%m-%d %H:%M} is before the batch was poured ({poured:%Y-%m-%d %H:%M}).",
            "Correct the date, or the time of the pour.",
        )


def _amount(value: float, what: str) -> None:
    if not (math.isfinite(value) and value > 0):
        raise ImpossibleRecord(f"{what} of {value:g} cannot be: it has to be above zero.", "Enter it again.")


def _name(value: str, what: str) -> None:
    if not value.strip():
        raise ImpossibleRecord(f"The {what} is empty.", f"Give the {what}.")


def _recipe(batch: Batch, record: Recipe, at: datetime) -> Iterator[Doubt]:
    try:
        lye = check_lye(record)
    except (ImpossibleRecipe, UnknownOil) as error:
        raise ImpossibleRecord(error.what, error.do) from error
    if any(same_code(embed.batch, batch.code) for embed in record.embeds):
        raise ImpossibleRecord("A batch cannot be embedded in itself.", "Give the code of the batch it came from.")
    for doubt in lye.doubts:
        yield Doubt(doubt.code, doubt.text, doubt.do)


def _portion(batch: Batch, record: Portion, at: datetime) -> Iterator[Doubt]:
    _name(record.name, "portion's name")
    _amount(record.tolerance, "A tolerance")
    lab = record.intended_lab
    if lab is not None and not (0 <= lab[0] <= 100 and all(abs(c) <= 150 for c in lab[1:])):
        raise ImpossibleRecord(f"No surface has the colour L* a* b* {lab}.", "Enter L* from 0 to 100.")
    if record.tolerance > 10:
        yield Doubt(
            "wide tolerance",
            f"A tolerance of {record.tolerance:g} ΔE00 takes quite another colour for the same.",
            "About 1 is just noticeable side by side; 2 to 4 is usual here.",
        )


def _event(batch: Batch, record: Event, at: datetime) -> Iterator[Doubt]:
    if record.bars is not None and not 0 < record.bars <= 100_000:
        raise ImpossibleRecord(f"{record.bars} bars cannot be.", "Enter the number of bars cut.")
    if record.temperature_c is not None and not -20 <= record.temperature_c <= 150:
        raise ImpossibleRecord(f"{record.temperature_c:g}\u00a0°C cannot be.", "Enter the temperature in °C.")
    if record.kind == "cut" and record.bars is not None and record.bars < batch.bars_out:
        yield Doubt(
            "fewer than have left",
            f"{batch.bars_out} bars have left, more than these {record.bars}.",
            "Look at the number again; correct the bars that left if they were wrong.",
        )
    if record.kind == "cut" and record.bars is not None and batch.bars_cut:
        yield Doubt(
            "cut twice",
            f"A cut into {how_many(batch.bars_cut, 'bar')} was noted already; of several the largest number counts.",
            "If there are more bars of the same loaf now, enter how many there are in all; if the earlier number was "
            "wrong, correct it.",
        )
    if record.kind == "poured":
        earlier = [e.at for e in batch.entries if isinstance(e.record, (Weighing, AlkaliTest)) and e.at < at]
        if earlier:
            raise ImpossibleRecord(
                f"The batch was weighed or tested before that ({min(earlier):%Y-%m-%d}).",
                "Correct the date of the pour.",
            )
        if batch.poured_at is not None:
            yield Doubt(
                "poured twice",
                f"A pour was noted already ({batch.poured_at:%Y-%m-%d %H:%M}); age counts from the first.",
                "Correct that entry if it was wrong.",
            )


def _colour(batch: Batch, record: ColourReading, at: datetime) -> Iterator[Doubt]:
    _name(record.portion, "portion's name")
    values = (*record.lab, *(c for row in record.covariance for c in row))
    if not all(math.isfinite(value) for value in values) or not -5 <= record.lab[0] <= 110:
        raise ImpossibleRecord(f"The colour {record.lab} cannot be.", "Measure the photo again.")
    if record.grade not in [grade.value for grade in Grade]:
        raise ImpossibleRecord(f"“{record.grade}” is no grade of a reading.", "Measure the photo again.")
    known = [portion.name for portion in batch.portions]
    if known and record.portion not in known:
        yield Doubt(
            "unknown portion",
            f"The batch has no portion “{record.portion}”.",
            f"It has: {', '.join(known)}. Add the portion, or choose one of these.",
        )


def _weighing(batch: Batch, record: Weighing, at: datetime) -> Iterator[Doubt]:
    _name(record.subject, "bar's or tray's name")
    _amount(record.grams, "A weight in grams")
    _amount(record.resolution_g, "A scale's step in grams")
    if record.bars < 1:
        raise ImpossibleRecord(f"{record.bars} bars cannot be weighed.", "Enter how many bars were on the scale.")
    if not (math.isfinite(record.tare_g) and record.tare_g >= 0):
        raise ImpossibleRecord(f"A tare of {record.tare_g:g}\u00a0g cannot be.", "Enter the empty tray's weight.")
    if record.grams / record.bars > LARGEST_BAR_G:
        raise ImpossibleRecord(f"A bar of {record.grams / record.bars / 1000:g} kg cannot be.", "Enter grams.")
    if 0 < batch.bars_cut < record.bars:
        yield Doubt(
            "more than were cut",
            f"{record.bars} bars were weighed, more than the {batch.bars_cut} cut.",
            "Count the bars on the scale again, or correct the cut.",
        )
    alike = [weighing for when, weighing in batch.records(Weighing) if weighing.bars == record.bars and when < at]
    before = [weighing for weighing in alike if weighing.subject == record.subject]
    if not before:
        return
    first, last = before[0], before[-1]
    ratio = record.grams / last.grams
    if any(abs(ratio * shift - 1) < 0.12 for shift in (0.01, 0.1, 10.0, 100.0)):
        yield Doubt(
            "slipped decimal",
            f"{record.grams:g}\u00a0g after {last.grams:g}\u00a0g looks like a slipped decimal point.",
            "Look at the scale again.",
        )
        return
    swapped = _swapped(record, last, alike)
    if swapped:
        yield Doubt(
            "swapped",
            f"{record.grams:g}\u00a0g fits {swapped} better than {record.subject}.",
            "Look at the marks: were two bars swapped?",
        )
        return
    missing = _missing_bars(record, last)
    if missing:
        yield Doubt(
            "bars missing",
            f"{record.grams:g}\u00a0g after {last.grams:g}\u00a0g fits "
            f"{how_many(record.bars - missing, 'bar')} better than {record.bars}.",
            "Count the bars on the tray: if some were sold or taken, enter how many are left, and note them as out.",
        )
        return
    error_g = record.resolution_g + last.resolution_g
    if record.grams - last.grams > error_g + 0.002 * last.grams:
        yield Doubt(
            "gain",
            f"It gained {record.grams - last.grams:.1f}\u00a0g, more than the scale's error of {error_g:g}\u00a0g.",
            "Weigh it again. Damp air can do this; so can another bar, tray or scale.",
        )
    share = _water_share(batch)
    most = MOST_WATER if share is None else share
    if first.grams - record.grams > most * first.grams + error_g:
        yield Doubt(
            "more than water",
            f"It lost {100 * (1 - record.grams / first.grams):.0f}% since its first weighing; "
            f"{'no more than about' if share is None else 'only'} {100 * most:.0f}% of the fresh batch was water.",
            "Weigh it again. Was the bar trimmed, or another one taken?",
        )


def _missing_bars(record: Weighing, last: Weighing) -> int:
    """How many bars seem to have left a tray unsaid: the loss would else be more than `MOST_LOSS_AT_ONCE`; 0 if none.

    A bar or two less of many looks like drying, and stays unseen.
    """
    if record.grams > (1 - MOST_LOSS_AT_ONCE) * last.grams:
        return 0
    per_bar = last.grams / last.bars
    missing = max(1, round(record.bars - record.grams / (0.98 * per_bar)))
    left = record.bars - missing
    return missing if left > 0 and abs(record.grams / (left * per_bar) - 0.98) < 0.04 else 0


def _swapped(record: Weighing, last: Weighing, alike: Sequence[Weighing]) -> str | None:
    """Another bar whose last weight, among all alike so far, this one fits clearly better than its own."""
    others = {weighing.subject: weighing for weighing in alike if weighing.subject != record.subject}
    own = abs(record.grams / last.grams - 1)
    gained = record.grams > last.grams + record.resolution_g + last.resolution_g
    # Bars of one batch lose alike, so a bar that gained, or lost far more than another's weight asks for, is suspect.
    if own < 0.05 or not (gained or record.grams < 0.9 * last.grams):
        return None
    off = {name: abs(record.grams / other.grams - 1) for name, other in others.items()}
    nearest = min(off, key=off.__getitem__, default=None)
    return nearest if nearest is not None and off[nearest] < 0.02 else None


def _water_share(batch: Batch) -> float | None:
    if batch.recipe is None:
        return None
    try:
        lye = check_lye(batch.recipe)
    except CureJournalError:
        return None
    return lye.water_share if lye.water_g > 0 else None


def _alkali(batch: Batch, record: AlkaliTest, at: datetime) -> Iterator[Doubt]:
    try:
        if record.method == "titration":
            if record.soap_g is None or record.acid_mol_l is None or not record.acid_ml:
                raise ImpossibleRecord(
                    "A titration needs the soap's weight, the acid's strength and the volume used.", "Enter them."
                )
            result = titrate(record.soap_g, record.acid_ml, record.acid_mol_l, record.blank_ml)
        else:
            if record.ph is None:
                raise ImpossibleRecord("A strip or meter needs its pH.", "Enter the pH as read.")
            read_ph(record.ph, record.half_width or STRIP_HALF_WIDTH, record.strength_pct)
            result = None
    except ImpossibleTest as error:
        raise ImpossibleRecord(error.what, error.do) from error
    if record.bar_weight_g is not None:
        _amount(record.bar_weight_g, "A bar's weight in grams")
    if result is not None and min(record.acid_ml) < record.blank_ml:
        yield Doubt(
            "below blank", "The soap took less acid than the blank.", "Look at the volumes: are they exchanged?"
        )
    if result is not None and result.free_alkali_pct > 5:
        yield Doubt(
            "very high",
            f"{result.free_alkali_pct:.1f}% free alkali is far more than soap holds.",
            "Check soap weight, acid strength and decimal points; keep the batch apart meanwhile.",
        )
    if record.ph is not None and record.ph < 8:
        yield Doubt(
            "low pH",
            f"A pH of {record.ph:g} is not that of true soap, which reads about 9 to 10.5 at 1%.",
            "Suspect the strip, its age, or too weak a solution.",
        )
    if record.ph is not None and record.strength_pct is None:
        yield Doubt(
            "no strength",
            "The solution's strength was not noted, so this reading cannot be compared.",
            "Dissolve 1 g in 100 ml of distilled water and enter 1%.",
        )


def _surface(batch: Batch, record: SurfaceNote, at: datetime) -> None:
    if record.count is not None and record.count < 0:
        raise ImpossibleRecord(f"{record.count} spots cannot be.", "Enter how many you see.")
    if record.area_pct is not None and not 0 <= record.area_pct <= 100:
        raise ImpossibleRecord(f"An area of {record.area_pct:g}% cannot be.", "Enter 0 to 100%.")


def _scalar(batch: Batch, record: ScalarReading, at: datetime) -> None:
    kind = KINDS.get(record.kind)
    if kind is None:
        raise ImpossibleRecord(f"“{record.kind}” is not measured here.", f"Choose one of: {', '.join(KINDS)}.")
    if not kind.low <= record.value <= kind.high:
        raise ImpossibleRecord(
            f"{record.value:g} {kind.unit} cannot be the {kind.words}.",
            f"It has to be from {kind.low:g} to {kind.high:g} {kind.unit}.",
        )


def _bars_out(batch: Batch, record: BarsOut, at: datetime) -> Iterator[Doubt]:
    if record.bars < 1:
        raise ImpossibleRecord(f"{record.bars} bars cannot leave.", "Enter how many bars left.")
    if record.left_the_house:
        _name(record.to, "place or person that they went to")
    cut = batch.event_at("cut")
    if cut is not None and at < cut:
        raise ImpossibleRecord(
            f"{at:%Y-%m-%d %H:%M} is before the bars were cut ({cut:%Y-%m-%d %H:%M}).",
            "Correct the date, or the time of the cut.",
        )
    if batch.bars_cut and batch.bars_out + record.bars > batch.bars_cut:
        raise ImpossibleRecord(
            f"{how_many(batch.bars_cut, 'bar')} cut and {batch.bars_out} gone, so {record.bars} more cannot leave.",
            "Correct the number, or that of the bars cut.",
        )
    if not batch.bars_cut:
        yield Doubt("not cut", "No cut with its number of bars is on record.", "Note the cut and its bars first.")
    _, act = batch.as_of(at).last_act
    if record.why in ("sold", "given") and (act is None or act.act != "release"):
        stands = {"hold": "on hold", "withdraw": "withdrawn from sale"}.get(act.act if act else "", "not released")
        yield Doubt(
            "not released",
            f"The batch was {stands} when these bars were {record.why}.",
            "Did they really go out? If so, keep this, hold the batch, and ask yourself whether to call them back.",
        )


def _decision(batch: Batch, record: Decision, at: datetime) -> None:
    _name(record.signed_by, "name of who signs")
    _name(record.statement, "statement that is signed")


def _renamed(batch: Batch, record: Renamed, at: datetime) -> None:
    _name(record.name, "name")


def _withdrawn(batch: Batch, record: Withdrawn, at: datetime) -> None:
    _name(record.why, "reason")


_CHECKS: dict[type[Record], Callable[..., Iterator[Doubt] | None]] = {
    Recipe: _recipe,
    Portion: _portion,
    Event: _event,
    ColourReading: _colour,
    Weighing: _weighing,
    AlkaliTest: _alkali,
    SurfaceNote: _surface,
    ScalarReading: _scalar,
    BarsOut: _bars_out,
    Decision: _decision,
    Renamed: _renamed,
    Withdrawn: _withdrawn,
}
"""One check for each kind of record that can be wrong by itself: it refuses, and may yield doubts."""
