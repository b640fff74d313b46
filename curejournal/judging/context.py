"""What is known of a batch at one time, and what was worked out from it: all that a rule may look at."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from curejournal.base.errors import CureJournalError
from curejournal.batch.records import NEW_SURFACE, AlkaliTest, Batch, ColourReading, Entry, Event, Weighing
from curejournal.judging.alkali import AlkaliSummary, read_tests
from curejournal.judging.colour_series import ColourSeries, fit_colour_series
from curejournal.judging.drying import DryingReport, analyse_drying
from curejournal.judging.limits import Limits
from curejournal.judging.target import target_sd
from curejournal.soap.lye import LyeCheck, check_lye, water_share

DAY = timedelta(days=1)

MOST_SUPERFAT_PCT = 40.0
"""Superfat above which no recipe is as weighed: salt bars and pure coconut soap have 15 to 25% [common practice, no
source]. Ours."""


@dataclass(frozen=True)
class Context:
    """All that a rule may look at: the batch up to `on`, and what was worked out from it."""

    batch: Batch
    on: datetime
    rules: Limits
    poured_at: datetime | None
    lye: LyeCheck | None
    lye_problem: str
    drying: DryingReport
    alkali: AlkaliSummary
    journeys: Mapping[str, ColourSeries]

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
    def titrated_good(self) -> bool:
        """Whether a titration speaks for the batch."""
        return self.alkali.clearing is not None and self.alkali.clearing.method == "titration"


def build_context(batch: Batch, on: datetime, rules: Limits) -> Context:
    """Work out what the rules look at, from the entries up to `on`."""
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
    )
    return Context(
        batch=batch,
        on=on,
        rules=rules,
        poured_at=poured,
        lye=lye,
        lye_problem=problem,
        drying=drying,
        alkali=read_tests(
            batch.records(AlkaliTest), rules.free_alkali_pct, rules.ph_usual_to, _concentrated(drying, poured)
        ),
        journeys=journeys(batch, on, rules),
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
    """
    batch = batch.as_of(on)
    readings: dict[str, list[Entry[ColourReading]]] = {}
    for entry in batch.of(ColourReading):
        readings.setdefault(entry.record.portion, []).append(entry)
    if not all_surfaces:
        readings = {name: _of_last_surface(batch, name, entries) for name, entries in readings.items()}
    portions = {portion.name: portion for portion in batch.portions}
    controls = [entry for p in portions.values() if p.control for entry in readings.get(p.name, [])]
    found = {}
    for name in dict.fromkeys([*portions, *readings]):
        portion = portions.get(name)
        beside = portion is not None and not portion.control and portion.intended_source == "control portion"
        found[name] = fit_colour_series(
            readings.get(name, []),
            batch.event_at("poured", name) or batch.poured_at,
            portion.intended_lab if portion else None,
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
