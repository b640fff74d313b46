"""Use cases of the stock: lots of oils, lye, additives and packaging, each with its supplier and dates."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg, quantity
from curejournal.batch.records import Batch, Entry
from curejournal.batch.stock import MaterialLot
from curejournal.journal.store import Journal
from curejournal.judging.traceability import lots_of
from curejournal.soap.recipe import Recipe


class LotImpossible(CureJournalError):
    """A lot whose dates cannot be, or that has no name."""


def enter_lot(journal: Journal, record: MaterialLot, *, by: str, now: datetime) -> Entry:
    """Enter a lot as it was received, or say more of one; what was entered before stays in the history.

    Raises
    ------
    LotImpossible
        Without a material or lot; opened or best before it was received; received after today.
    """
    _possible(record, now.date())
    return journal.add("", record, at=now, by=by)


def _possible(record: MaterialLot, today: date) -> None:
    if not record.material.strip() or not record.lot.strip():
        raise LotImpossible(
            msg("A lot needs its material and its number."), msg("Enter both, as they stand on the bottle.")
        )
    received, opened, ends = record.received, record.opened, record.best_before
    for what, day in (("received", received), ("opened", opened)):
        if day is not None and day > today:
            raise LotImpossible(
                msg("Lot {lot} cannot have been {what} on {day} yet.", lot=record.lot, what=what, day=day),
                msg("Correct the date."),
            )
    if received and opened and opened < received:
        raise LotImpossible(
            msg(
                "Lot {lot} was opened on {opened}, before it was received on {received}.",
                lot=record.lot,
                opened=opened,
                received=received,
            ),
            msg("Look at the delivery note: correct one of the two dates."),
        )
    if received and ends and ends <= received:
        raise LotImpossible(
            msg(
                "Lot {lot} was best before {ends}, and received on {received}.",
                lot=record.lot,
                ends=ends,
                received=received,
            ),
            msg("Correct the date; or do not accept it."),
        )
    if record.on_hand_g is not None and not 0 <= record.on_hand_g < 1e7:
        raise LotImpossible(
            msg("{on_hand_g} is not a possible amount on hand.", on_hand_g=quantity(f"{record.on_hand_g:g}", "g")),
            msg("Enter grams."),
        )


def lots(journal: Journal) -> dict[tuple[str, str], MaterialLot]:
    """Every lot as it was entered last, by its material and number in lower case."""
    return {_key(entry.record.material, entry.record.lot): entry.record for entry in journal.of_workshop(MaterialLot)}


def lots_in(journal: Journal, recipe: Recipe | None) -> tuple[MaterialLot, ...]:
    """What is known of the lots that a recipe names."""
    known = lots(journal)
    used = [_key(name, lot) for name, lot, _ in lots_of(recipe)] if recipe else []
    return tuple(known[key] for key in dict.fromkeys(used) if key in known)


def own_names(found: tuple[MaterialLot, ...]) -> tuple[Mapping[str, str], Mapping[str, str]]:
    """The ingredients' names and the allergens, as the suppliers of lots state them, by material."""
    names = {lot.material: lot.inci for lot in found if lot.inci.strip()}
    return names, {lot.material: lot.allergens for lot in found if lot.allergens.strip()}


def ages_at_pour(batch: Batch, known: Mapping[tuple[str, str], MaterialLot]) -> dict[str, float]:
    """Days from a lot's arrival to the pour, by “age of MATERIAL, days”; those that are not known are left out."""
    if batch.recipe is None or batch.poured_at is None:
        return {}
    ages = {}
    for name, lot, _ in lots_of(batch.recipe):
        found = known.get(_key(name, lot))
        if found is not None and found.received is not None:
            ages[f"age of {name}, days"] = float((batch.poured_at.date() - found.received).days)
    return ages


def _key(material: str, lot: str) -> tuple[str, str]:
    return join(" ", material.split()).casefold(), lot.strip().casefold()
