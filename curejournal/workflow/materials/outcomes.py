"""What goes with an outcome over all batches: spots, ash, softness; and how often each thing happened."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import get_args

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg, msg_n
from curejournal.batch.records import Batch, Event, EventKind, ScalarReading, SurfaceLook, SurfaceNote
from curejournal.journal.store import Journal
from curejournal.judging.traceability import lots_of
from curejournal.materials.history import year_part
from curejournal.materials.outcome_causes import OutcomeCause, OutcomeSeen, causes_of
from curejournal.soap.lye import check_lye
from curejournal.workflow.materials.analysis import compared
from curejournal.workflow.room import with_room
from curejournal.workflow.stock import ages_at_pour, lots

ON_THE_SURFACE: tuple[SurfaceLook, ...] = tuple(look for look in get_args(SurfaceLook) if look != "clear")
WHILE_MADE: tuple[EventKind, ...] = (
    *("thickening", "seizing", "ricing", "separation", "colour changed", "overheated", "volcano", "partial gel"),
    *("soft", "crumbly", "cracked", "smell gone", "smell off"),
)
OUTCOMES: tuple[str, ...] = (*ON_THE_SURFACE, *WHILE_MADE)
"""Every outcome that can be asked about."""


class OutcomeUnknown(CureJournalError):
    """Something that is not noted here was asked about."""


@dataclass(frozen=True)
class OutcomeAnswer:
    """What goes with an outcome: every factor with its chance, over how many batches, and how many had it."""

    outcome: str
    causes: tuple[OutcomeCause, ...]
    batches: int
    had_it: int
    words: tuple[str, ...]


@dataclass(frozen=True)
class Happening:
    """In which batches something happened, of how many where it would have been noted."""

    batches: tuple[str, ...]
    of: int


def causes_of_outcome(journal: Journal, outcome: str, on: datetime) -> OutcomeAnswer:
    """Weigh materials, lots and figures against an outcome, by the batches that were compared.

    Raises
    ------
    OutcomeUnknown, TooFewBatches
    """
    if outcome not in OUTCOMES:
        raise OutcomeUnknown(
            msg("“{outcome}” is not noted here.", outcome=outcome),
            msg("Ask about one of: {outcomes}.", outcomes=join(", ", OUTCOMES)),
        )
    known = lots(journal)
    batches = [batch.as_of(on) for batch in compared(journal) if _would_be_noted(batch, outcome)]
    seen = [
        OutcomeSeen(
            batch.code,
            _happened(batch, outcome),
            frozenset(_held(batch)),
            _figures(with_room(journal, batch)) | ages_at_pour(batch, known),
            year_part(batch.poured_at),
        )
        for batch in batches
    ]
    causes = causes_of(seen)
    had = sum(one.happened for one in seen)
    return OutcomeAnswer(outcome, causes, len(seen), had, tuple(_words(outcome, causes, had, len(seen))))


def happenings(journal: Journal) -> dict[str, Happening]:
    """How often each outcome came, over all batches, those that never came left out."""
    every = journal.all_batches()
    found = {}
    for outcome in OUTCOMES:
        noted = [batch for batch in every if _would_be_noted(batch, outcome)]
        had = tuple(batch.code for batch in noted if _happened(batch, outcome))
        if had:
            found[outcome] = Happening(tuple(sorted(had, key=_natural)), len(noted))
    return found


def _natural(code: str) -> tuple[str, int]:
    digits = "".join(sign for sign in code if sign.isdigit())
    return code.rstrip("0123456789"), int(digits or 0)


def _would_be_noted(batch: Batch, outcome: str) -> bool:
    """Whether it is known that it came or not: of a surface only where somebody looked."""
    if outcome in ON_THE_SURFACE:
        return bool(batch.records(SurfaceNote))
    return batch.poured_at is not None


def _happened(batch: Batch, outcome: str) -> bool:
    looks: Iterable[str] = (note.look for _, note in batch.records(SurfaceNote))
    kinds: Iterable[str] = (event.kind for _, event in batch.records(Event))
    return outcome in (set(looks) if outcome in ON_THE_SURFACE else set(kinds))


def _held(batch: Batch) -> list[str]:
    if batch.recipe is None:
        return []
    found = []
    for name, lot, _ in lots_of(batch.recipe):
        found += [name, msg("{name}, lot {lot}", name=name, lot=lot)] if lot else [name]
    return found


def _figures(batch: Batch) -> dict[str, float]:
    """Superfat, lye concentration, temperatures and humidity, those that are known."""
    figures: dict[str, float] = {}
    if batch.recipe is not None and batch.recipe.oils:
        lye = check_lye(batch.recipe)
        if lye.lye_g > 0 and not lye.unknown_oils:
            figures["superfat, %"] = lye.superfat_nominal_pct
        if lye.lye_concentration_pct is not None:
            figures["lye concentration, %"] = lye.lye_concentration_pct
    warm = [event.temperature_c for _, event in batch.records(Event) if event.temperature_c is not None]
    if warm:
        figures["temperature at the pour, °C"] = max(warm)
    for kind in (msg("room temperature"), msg("room humidity"), msg("batter temperature")):
        values = [reading.value for _, reading in batch.records(ScalarReading) if reading.kind == kind]
        if values:
            figures[kind] = sum(values) / len(values)
    return figures


def _words(outcome: str, causes: Iterable[OutcomeCause], had: int, count: int) -> Iterable[str]:
    yield msg(
        "{had} of {count} had it: {outcome}.",
        had=had,
        count=msg_n("{number} batch", "{number} batches", count),
        outcome=outcome,
    )
    for cause in causes:
        if cause.chance < 0.5:
            continue
        names = join(" or ", cause.factors)
        sure = msg("very likely") if cause.named else "perhaps"
        more = "a higher " if cause.figure else ""
        sides = msg(
            "{with_hits} of {with_all} with it, {without_hits} of {without_all} without",
            with_hits=cause.with_it[0],
            with_all=cause.with_it[1],
            without_hits=cause.without_it[0],
            without_all=cause.without_it[1],
        )
        line = msg(
            "{more}{names}: {sure} ({chance:.0f} %); {sides}.",
            more=more,
            names=names,
            sure=sure,
            chance=100 * cause.chance,
            sides=sides,
        )
        if cause.one_season:
            line += msg(" It was used at one time of the year only, so it cannot be told from the season.")
        if len(cause.factors) > 1:
            line += msg(" They were never apart: a test pour with one of them alone would tell.")
        yield line
