"""What is known of a batch at one time, and what was worked out from it: all that a rule may look at."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from curejournal.base.errors import CureJournalError
from curejournal.batch.records import (
    NEW_SURFACE,
    AlkaliTest,
    Batch,
    ColourReading,
    Entry,
    Event,
    MakingDetails,
    PacketCheck,
    ScalarReading,
    Weighing,
    WeighingCheck,
)
from curejournal.judging.alkali import AlkaliSummary, Outcome, for_posterior, read_tests
from curejournal.judging.colour_series import ColourSeries, fit_colour_series
from curejournal.judging.drying import DryingReport, analyse_drying
from curejournal.judging.drying_models import RoomHistory
from curejournal.judging.limits import Limits
from curejournal.judging.lye_left import LyeLeft, RecipeKnown, blunder_chance, lye_left
from curejournal.judging.target import target_sd
from curejournal.soap.lye import LyeCheck, check_lye, water_share
from curejournal.soap.spreads import NAOH_PER_KOH, lye_spreads

DAY = timedelta(days=1)

MOST_SUPERFAT_PCT = 40.0
"""Superfat above which no recipe is as weighed: salt bars and pure coconut soap have 15 to 25% [common practice, no
source]. Ours."""


@dataclass(frozen=True)
class Context:
    """All that a rule may look at: the batch up to `on`, and what was worked out from it.

    `packets` are the packets of strips that were tried beside a meter, in this batch or another; `parent_held` says
    which batch whose pieces are in it was once held for alkali.
    """

    batch: Batch
    on: datetime
    rules: Limits
    poured_at: datetime | None
    lye: LyeCheck | None
    lye_problem: str
    drying: DryingReport
    alkali: AlkaliSummary
    journeys: Mapping[str, ColourSeries]
    packets: tuple[PacketCheck, ...] = ()
    parent_held: str = ""

    @property
    def margin_proven(self) -> bool:
        """Whether the recipe leaves fat over even at the low end of its interval, and can be that of a soap."""
        lye = self.lye
        return lye is not None and lye.lye_g > 0 and lye.superfat_interval_pct[0] >= 0 and not self.margin_absurd

    @property
    def margin_absurd(self) -> bool:
        """Whether the recipe leaves so much fat over that a weight in it must be wrong."""
        return self.lye is not None and self.lye.superfat_nominal_pct > MOST_SUPERFAT_PCT

    @property
    def tests_from(self) -> datetime | None:
        """From when an alkali test can tell: the reaction is over."""
        return None if self.poured_at is None else self.poured_at + self.rules.alkali_test_days * DAY

    @property
    def titrated_good(self) -> bool:
        """Whether a late titration that can tell says so, and all evidence together leaves next to no other chance."""
        left, since = self.alkali.left, self.tests_from
        if left is None or since is None or self.alkali.holding:
            return False
        good = any(test.outcome is Outcome.GOOD for test in self.alkali.usable("titration", since))
        return good and left.chance <= self.rules.alkali_chance_pct / 100


def build_context(
    batch: Batch, on: datetime, rules: Limits, packets: Iterable[PacketCheck] = (), parent_held: str = ""
) -> Context:
    """Work out what the rules look at, from the entries up to `on`.

    Parameters
    ----------
    batch : Batch
    on : datetime
        The time at which it is judged.
    rules : Limits
        The limits in force.
    packets : iterable of PacketCheck
        Packets of strips that were tried beside a meter.
    parent_held : str
        Why a batch whose pieces are in it is held; empty if none is.

    Returns
    -------
    Context
    """
    batch = batch.as_of(on)
    lye, problem = None, ""
    if batch.recipe is not None:
        try:
            lye = check_lye(batch.recipe)
        except CureJournalError as error:
            problem = error.what
    poured = batch.poured_at
    drying = analyse_drying(
        batch.of(Weighing),
        poured,
        water_share=_share_of_water(batch, lye),
        limit_pct_week=rules.loss_pct_week,
        days_apart=rules.weighings_days_apart,
        room=_room(batch, poured),
    )
    concentrated = _concentrated(drying, poured)
    late_from = None if poured is None else poured + rules.alkali_test_days * DAY
    context = Context(
        batch=batch,
        on=on,
        rules=rules,
        poured_at=poured,
        lye=lye,
        lye_problem=problem,
        drying=drying,
        alkali=read_tests(batch.records(AlkaliTest), rules.free_alkali_pct, rules.ph_usual_to, concentrated, late_from),
        journeys=journeys(batch, on, rules),
        packets=(*(check for _, check in batch.records(PacketCheck)), *packets),
        parent_held=parent_held,
    )
    return replace(context, alkali=replace(context.alkali, left=_lye_left(context, concentrated)))


def _room(batch: Batch, poured: datetime | None) -> RoomHistory | None:
    """The room as it was noted since the pour."""
    if poured is None:
        return None
    damp, warm = (
        tuple(
            ((at - poured) / DAY, reading.value) for at, reading in batch.records(ScalarReading) if reading.kind == kind
        )
        for kind in ("room humidity", "room temperature")
    )
    return RoomHistory(damp, warm)


FRESH_LOSS = 0.10
"""What a bar has lost by the time its free alkali is judged, where no weights tell: 8 to 14% by week six [common
practice, no source]."""


def _lye_left(context: Context, concentrated: Callable[[datetime], float]) -> LyeLeft | None:
    """What recipe, age and tests say together; None before the pour."""
    poured = context.poured_at
    if poured is None:
        return None
    loss = max((context.drying.loss_pct or 0.0) / 100, FRESH_LOSS)
    now = 1 / (1 - min(loss, 0.3))
    warm = [reading.value for _, reading in context.batch.records(ScalarReading) if reading.kind == "room temperature"]
    return lye_left(
        _recipe_known(context),
        for_posterior(context.batch.records(AlkaliTest), context.packets, poured, lambda at: now / concentrated(at)),
        (context.on - poured) / DAY,
        context.rules.free_alkali_pct,
        now,
        float(np.mean(warm)) if warm else 20.0,
    )


def weighed_by_two(batch: Batch) -> bool:
    """Whether one person weighed the recipe and another checked it, by the details of its making.

    Parameters
    ----------
    batch : Batch

    Returns
    -------
    bool
    """
    made = [details for _, details in batch.records(MakingDetails)]
    by, checked = (made[-1].weighed_by.strip(), made[-1].checked_by.strip()) if made else ("", "")
    return bool(by and checked) and by.casefold() != checked.casefold()


def batter_agrees(batch: Batch, check: WeighingCheck) -> bool:
    """Whether the batter was weighed, and weighs what the recipe's materials sum up to.

    Parameters
    ----------
    batch : Batch
    check : WeighingCheck

    Returns
    -------
    bool
    """
    weighed, recipe = check.batter_g, batch.recipe
    return weighed is not None and recipe is not None and recipe.agrees_with(weighed, check.resolution_g)


def _guards(batch: Batch) -> list[str]:
    """What guarded lye and oils both against a blunder; a batter that weighs something else guards against none."""
    covered: dict[str, set[str]] = {}
    for _, check in batch.records(WeighingCheck):
        if check.how != "batter weighed" or batter_agrees(batch, check):
            covered.setdefault(check.how, set()).update(check.covers.split(" and "))
    again = covered.get("weighed twice", set()) | covered.get("weighed by two people", set())
    guards = [how for how, what in covered.items() if what >= {"lye", "oils"}]
    return [
        *guards,
        *(["weighed twice"] if again >= {"lye", "oils"} else []),
        *(["weighed by two people"] if weighed_by_two(batch) else []),
    ]


def _recipe_known(context: Context) -> RecipeKnown | None:
    lye, recipe = context.lye, context.batch.recipe
    if lye is None or recipe is None or lye.lye_g <= 0 or lye.unknown_oils or context.margin_absurd:
        return None
    nominal = lye.superfat_nominal_pct
    guards = _guards(context.batch)
    naoh_g = sum(spread.middle_g for spread in lye_spreads(recipe)) * NAOH_PER_KOH - lye.acids_take_g
    return RecipeKnown(
        superfat_pct=nominal,
        sd_pct=lye.superfat_sd_pct,
        lye_pct=100 * naoh_g / (1 - min(nominal, 90.0) / 100) / lye.batch_g,
        blunder=blunder_chance(guards),
        worst_pct=lye.superfat_worst_pct,
    )


def _share_of_water(batch: Batch, lye: LyeCheck | None) -> float | None:
    """Water's part of the fresh batch, if its recipe tells it."""
    if lye is not None:
        return lye.water_share if lye.water_g > 0 else None
    melted = batch.recipe is not None and batch.recipe.rebatch
    return water_share(batch.recipe) if batch.recipe is not None and melted else None


def journeys(batch: Batch, on: datetime, rules: Limits, *, all_surfaces: bool = False) -> dict[str, ColourSeries]:
    """What the colour of each portion does, by its entries up to `on`.

    A planed, stamped or washed face is a new surface: once it was measured, what was read before it is left aside,
    unless `all_surfaces` are asked for, as for what a material did.

    Parameters
    ----------
    batch : Batch
    on : datetime
        The time at which it is judged.
    rules : Limits
        The limits in force.
    all_surfaces : bool
        Count readings of faces that were planed, stamped or washed since.

    Returns
    -------
    dict of str to ColourSeries
        By portion, and by each part of one that is followed apart; a part has no target colour.
    """
    batch = batch.as_of(on)
    readings: dict[str, list[Entry[ColourReading]]] = {}
    for entry in batch.of(ColourReading):
        readings.setdefault(entry.record.subject, []).append(entry)
    parts = batch.parts
    if not all_surfaces:
        readings = {name: _of_last_surface(batch, parts.get(name, name), entries) for name, entries in readings.items()}
    portions = {portion.name: portion for portion in batch.portions}
    controls = [entry for p in portions.values() if p.control for entry in readings.get(p.name, [])]
    found = {}
    for name in dict.fromkeys([*portions, *readings]):
        portion = portions.get(name)
        beside = portion is not None and not portion.control and portion.target_source == "control portion"
        found[name] = fit_colour_series(
            readings.get(name, []),
            batch.event_at("poured", parts.get(name, name)) or batch.poured_at,
            portion.target_lab if portion else None,
            portion.tolerance if portion else 3.0,
            control=controls if beside else (),
            target_sd=target_sd(portion, readings.get(name, [])) if portion else 0.0,
            back_days_apart=rules.colour_days_apart,
            curve_until=on,
        )
    return found


def _of_last_surface(batch: Batch, portion: str, readings: list[Entry[ColourReading]]) -> list[Entry[ColourReading]]:
    """The readings of the face that a portion has now; all, if it was not measured since it was made new."""
    made = [at for at, event in batch.records(Event) if event.kind in NEW_SURFACE and event.portion in ("", portion)]
    since = [entry for entry in readings if not made or entry.at >= max(made)]
    return since or readings


def _concentrated(drying: DryingReport, poured: datetime | None) -> Callable[[datetime], float]:
    curve = drying.curve
    start = poured or (drying.points[0].at if drying.points else None)
    if curve is None or start is None:
        return lambda at: 1.0
    now = float(np.interp(drying.points[-1].days, curve.days, curve.part))
    return lambda at: max(1.0, float(np.interp((at - start) / DAY, curve.days, curve.part)) / now)
