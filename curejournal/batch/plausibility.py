"""What is unlikely about a record: the maker is asked, and it is kept if confirmed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from curejournal.base.messages import day_and_time, join, msg, msg_n, quantity
from curejournal.batch.records import (
    AlkaliTest,
    BarsOut,
    Batch,
    ColourReading,
    Event,
    Portion,
    Record,
    Weighing,
    WeighingCheck,
)
from curejournal.soap.alkali import titrate
from curejournal.soap.lye import check_lye, water_share
from curejournal.soap.recipe import MOST_WATER, Recipe

MOST_LOSS_AT_ONCE = 0.08
"""Loss from one weighing to the next, of one tray, above which it is asked whether bars left it: bars lose 8 to 14% by
week six and about half of that in the first two [common practice, no source]. Ours."""


EARLIEST_CUT = timedelta(hours=4)
"""After the pour, before which a cut is asked about: a loaf is firm enough after half a day to two days, after a few
hours where it went through gel in an oven [common practice, no source]. Chosen by us, below both."""


@dataclass(frozen=True)
class Doubt:
    """Something unlikely about a record: what, and what to do. Confirmed, it is kept as it is."""

    code: str
    text: str
    do: str


def find_doubts(batch: Batch, record: Record, at: datetime) -> tuple[Doubt, ...]:
    """What is unlikely about a record that can be true, with the arguments of `checks.check_record`."""
    return tuple(_DOUBTS[type(record)](batch, record, at)) if type(record) in _DOUBTS else ()


def _recipe(batch: Batch, record: Recipe, at: datetime) -> Iterator[Doubt]:
    if record.oils:
        for doubt in check_lye(record).doubts:
            yield Doubt(doubt.code, doubt.text, doubt.do)


def _portion(batch: Batch, record: Portion, at: datetime) -> Iterator[Doubt]:
    if record.tolerance > 10:
        yield Doubt(
            "wide tolerance",
            msg(
                "A tolerance of {tolerance:g} ΔE00 takes quite another colour for the same.", tolerance=record.tolerance
            ),
            msg("About 1 is just noticeable side by side; 2 to 4 is usual here."),
        )


def _event(batch: Batch, record: Event, at: datetime) -> Iterator[Doubt]:
    if record.kind == "cut" and record.bars is not None and record.bars < batch.bars_out:
        yield Doubt(
            "fewer than have left",
            msg("{bars_out} bars have left, more than these {bars}.", bars_out=batch.bars_out, bars=record.bars),
            msg("Look at the number again; correct the bars that left if they were wrong."),
        )
    if record.kind == "cut" and record.bars is not None and batch.bars_cut:
        yield Doubt(
            "cut twice",
            msg(
                "A cut into {bars_cut} was noted already; of several the largest number counts.",
                bars_cut=msg_n("{number} bar", "{number} bars", batch.bars_cut),
            ),
            msg(
                "If there are more bars of the same loaf now, enter how many there are in all; if the earlier number "
                "was "
                "wrong, correct it."
            ),
        )
    if record.kind == "cut" and batch.poured_at is not None and at - batch.poured_at < EARLIEST_CUT:
        minutes = max(0, round((at - batch.poured_at).total_seconds() / 60))
        yield Doubt(
            "cut early",
            msg(
                "Cut {minutes} after the pour? A loaf is usually too soft to cut then.",
                minutes=msg_n("{number} minute", "{number} minutes", minutes),
            ),
            msg("If another button was meant, do not keep it; if it was another day, say which."),
        )
    if record.kind == "poured" and batch.poured_at is not None:
        poured = batch.poured_at.astimezone(at.tzinfo)  # by the same clock
        yield Doubt(
            "poured twice",
            msg("A pour was noted already ({poured}); age counts from the first.", poured=day_and_time(poured)),
            msg("Correct that entry if it was wrong."),
        )


def _colour(batch: Batch, record: ColourReading, at: datetime) -> Iterator[Doubt]:
    known = [portion.name for portion in batch.portions]
    if known and record.portion not in known:
        yield Doubt(
            "unknown portion",
            msg("The batch has no portion “{portion}”.", portion=record.portion),
            msg("It has: {known}. Add the portion, or choose one of these.", known=join(", ", known)),
        )


def _weighing(batch: Batch, record: Weighing, at: datetime) -> Iterator[Doubt]:
    if 0 < batch.bars_cut < record.bars:
        yield Doubt(
            "more than were cut",
            msg("{bars} bars were weighed, more than the {bars_cut} cut.", bars=record.bars, bars_cut=batch.bars_cut),
            msg("Count the bars on the scale again, or correct the cut."),
        )
    alike = [weighing for when, weighing in batch.records(Weighing) if weighing.bars == record.bars and when < at]
    before = [weighing for weighing in alike if weighing.subject == record.subject]
    if not before:
        return
    first, last = before[0], before[-1]
    mistaken = _mistaken(record, last, alike)
    if mistaken is not None:
        yield mistaken
        return
    error_g = record.resolution_g + last.resolution_g
    if record.grams - last.grams > error_g + 0.002 * last.grams:
        yield Doubt(
            "gain",
            msg(
                "It gained {grams}, more than the scale's error of {error_g}.",
                grams=quantity(f"{record.grams - last.grams:.1f}", "g"),
                error_g=quantity(f"{error_g:g}", "g"),
            ),
            msg("Weigh it again. Damp air can do this; so can another bar, tray or scale."),
        )
    share = _water_share(batch)
    most = MOST_WATER if share is None else share
    if first.grams - record.grams > most * first.grams + error_g:
        yield Doubt(
            "more than water",
            msg(
                "It lost {grams:.0f}% since its first weighing; {share} {most:.0f}% of the fresh batch was water.",
                grams=100 * (1 - record.grams / first.grams),
                share="no more than about" if share is None else "only",
                most=100 * most,
            ),
            msg("Weigh it again. Was the bar trimmed, or another one taken?"),
        )


def _mistaken(record: Weighing, last: Weighing, alike: Sequence[Weighing]) -> Doubt | None:
    """What would explain a weight that is far from the last: a decimal point, another bar, bars that left the tray."""
    ratio = record.grams / last.grams
    if any(abs(ratio * shift - 1) < 0.12 for shift in (0.01, 0.1, 10.0, 100.0)):
        return Doubt(
            "slipped decimal",
            msg(
                "{now} after {before} looks like a slipped decimal point.",
                now=quantity(f"{record.grams:g}", "g"),
                before=quantity(f"{last.grams:g}", "g"),
            ),
            msg("Look at the scale again."),
        )
    swapped = _swapped(record, last, alike)
    if swapped:
        return Doubt(
            "swapped",
            msg(
                "{grams} fits {swapped} better than {subject}.",
                grams=quantity(f"{record.grams:g}", "g"),
                swapped=swapped,
                subject=record.subject,
            ),
            msg("Look at the marks: were two bars swapped?"),
        )
    missing = _missing_bars(record, last)
    if missing:
        return Doubt(
            "bars missing",
            msg(
                "{now} after {before} fits {fewer} better than {bars}.",
                now=quantity(f"{record.grams:g}", "g"),
                before=quantity(f"{last.grams:g}", "g"),
                fewer=msg_n("{number} bar", "{number} bars", record.bars - missing),
                bars=record.bars,
            ),
            msg(
                "Count the bars on the tray: if some were sold or taken, enter how many are left, and note them as out."
            ),
        )
    return None


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
    share = water_share(batch.recipe) if batch.recipe is not None else 0.0
    return share if share > 0 else None


def _alkali(batch: Batch, record: AlkaliTest, at: datetime) -> Iterator[Doubt]:
    if record.method == "titration" and record.soap_g is not None and record.acid_mol_l is not None:
        result = titrate(record.soap_g, record.acid_ml, record.acid_mol_l, record.blank_ml)
        if min(record.acid_ml) < record.blank_ml:
            yield Doubt(
                "below blank",
                msg("The soap took less acid than the blank."),
                msg("Look at the volumes: are they exchanged?"),
            )
        if result.free_alkali_pct > 5:
            yield Doubt(
                "very high",
                msg(
                    "{free_alkali_pct:.1f}% free alkali is far more than soap holds.",
                    free_alkali_pct=result.free_alkali_pct,
                ),
                msg("Check soap weight, acid strength and decimal points; keep the batch apart meanwhile."),
            )
    if record.ph is not None and record.ph < 8:
        yield Doubt(
            "low pH",
            msg("A pH of {ph:g} is not that of true soap, which reads about 9 to 10.5 at 1%.", ph=record.ph),
            msg("Suspect the strip, its age, or too weak a solution."),
        )
    if record.ph is not None and record.strength_pct is None:
        yield Doubt(
            "no strength",
            msg("The solution's strength was not noted, so this reading cannot be compared."),
            msg("Dissolve 1 g in 100 ml of distilled water and enter 1%."),
        )


def _weighing_check(batch: Batch, record: WeighingCheck, at: datetime) -> Iterator[Doubt]:
    recipe = batch.recipe
    if recipe is None or record.batter_g is None or recipe.agrees_with(record.batter_g, record.resolution_g):
        return
    yield Doubt(
        "batter off",
        msg(
            "The batter weighs {batter_g}, the materials of the recipe {sum_g}.",
            batter_g=quantity(f"{record.batter_g:g}", "g"),
            sum_g=quantity(f"{recipe.batter_g:g}", "g"),
        ),
        msg("Was the pot taken off? Then something was misweighed or left out: correct the recipe, or titrate."),
    )


def _bars_out(batch: Batch, record: BarsOut, at: datetime) -> Iterator[Doubt]:
    if not batch.bars_cut:
        yield Doubt(
            "not cut", msg("No cut with its number of bars is on record."), msg("Note the cut and its bars first.")
        )
    _, act = batch.as_of(at).last_act
    if batch.kind == "earlier stock":
        return  # not judged here
    if record.why in ("sold", "given") and (act is None or act.act != "release"):
        stands = {"hold": msg("on hold"), "withdraw": msg("withdrawn from sale")}.get(
            act.act if act else "", "not released"
        )
        yield Doubt(
            "not released",
            msg("The batch was {stands} when these bars were {why}.", stands=stands, why=record.why),
            msg(
                "Did they really go out? If so, keep this, hold the batch, and ask yourself whether to call them back."
            ),
        )


_DOUBTS: dict[type[Record], Callable[..., Iterator[Doubt]]] = {
    Recipe: _recipe,
    Portion: _portion,
    Event: _event,
    ColourReading: _colour,
    Weighing: _weighing,
    AlkaliTest: _alkali,
    WeighingCheck: _weighing_check,
    BarsOut: _bars_out,
}
"""What is asked about each kind of record."""
