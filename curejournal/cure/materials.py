"""What each material did in the batches that held it: dose, turn, way back, end, trace; and what to expect of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

import numpy as np

from curejournal.colour.difference import Interval
from curejournal.colour.sample import Lab
from curejournal.cure.culprits import Dose, Observation
from curejournal.cure.curves import Array
from curejournal.cure.forecast import Forecast, forecast_from_history, one_more
from curejournal.cure.journey import Journey, State
from curejournal.cure.records import Batch, ColourReading, Event
from curejournal.soap.recipe import Recipe

DAY = timedelta(days=1)

Kind = Literal["fragrance", "pigment", "other", "liquid"]
Outcome = Literal["came back", "stayed within", "settled off", "still browning", "not known yet"]
What = Literal["turn", "end"]

_OUTCOMES: dict[State, Outcome] = {
    State.BACK: "came back",
    State.STEADY: "stayed within",
    State.SETTLED_OFF: "settled off",
    State.BROWNING: "still browning",
}

FIRST_LOOK_DAYS = 2.5
"""A portion first measured later than this after its pour may have turned unseen: its turn is not compared. Ours."""
AT_REST_DAYS = 14.0
"""Age from which a colour's distance from the intended one counts as where it ended. Ours: fast turns are over
[common practice, no source]."""
SMALLEST, LARGEST = 0.5, 100.0
"""Differences below are as good as none, ΔE00 (ours: half of just noticeable); none is above that of black to white."""


@dataclass(frozen=True)
class Ingredient:
    """A material in a portion. `dose_pct` is % of the whole batch's oils by mass, None without oils."""

    material: str
    kind: Kind
    lot: str
    grams: float
    dose_pct: float | None


@dataclass(frozen=True)
class Story:
    """What one portion of one batch did.

    `turn` is the greatest difference from the intended colour that was seen (ΔE00), `turn_days` when; more may have
    gone unseen between photos. `back_days` (middle, low, high) is when it was within tolerance to stay, for one that
    came back. `end_lab`, `end_difference` are at the last reading of one that is at rest. `photos` are hashes: first,
    at the turn, last. `trace` is what was noted, `trace_minutes` how long before the pour.
    """

    batch: str
    name: str
    portion: str
    poured_at: datetime | None
    ingredients: tuple[Ingredient, ...]
    outcome: Outcome
    turn: Interval | None
    turn_days: float | None
    first_days: float | None
    back_days: tuple[float | None, float | None, float | None] | None
    end_lab: Lab | None
    end_difference: Interval | None
    trace: str
    trace_minutes: float | None
    photos: tuple[str, ...]
    journey: Journey


@dataclass(frozen=True)
class Use:
    """A material in one portion of one batch."""

    story: Story
    ingredient: Ingredient


@dataclass(frozen=True)
class Expected:
    """What a planned pour with this material may do, from the batches that held it: medians and 95% intervals.

    `turn` in ΔE00, None without any. `back` is when it may be within tolerance. `days`, `difference` (middle, low, high
    at each day) are the journey that it may take. `beyond_doses` is true for a dose that was never tried.
    """

    batches: int
    turn: Interval | None
    back: Forecast | None
    days: tuple[float, ...]
    difference: tuple[Interval, ...]
    beyond_doses: bool
    words: str


@dataclass(frozen=True)
class History:
    """All uses of a material, oldest first."""

    material: str
    kind: Kind
    uses: tuple[Use, ...]

    @property
    def batches(self) -> tuple[str, ...]:
        """Codes of the batches that held it."""
        return tuple(dict.fromkeys(use.story.batch for use in self.uses))

    @property
    def doses_pct(self) -> tuple[float, float] | None:
        """Lowest and highest dose, % of the batch's oils."""
        doses = [use.ingredient.dose_pct for use in self.uses if use.ingredient.dose_pct is not None]
        return (min(doses), max(doses)) if doses else None

    @property
    def lots(self) -> tuple[History, ...]:
        """The same, lot by lot, in the order in which they were first used."""
        names = dict.fromkeys(use.ingredient.lot for use in self.uses)
        return tuple(
            History(self.material, self.kind, tuple(use for use in self.uses if use.ingredient.lot == lot))
            for lot in names
        )

    def count(self, outcome: Outcome) -> int:
        """How many portions had this outcome."""
        return sum(use.story.outcome == outcome for use in self.uses)


@dataclass(frozen=True)
class LotUse:
    """Where a lot went: the batch, what it was there and how much of it."""

    batch: str
    name: str
    poured_at: datetime | None
    material: str
    lot: str
    grams: float


def stories(batch: Batch, journeys: Mapping[str, Journey]) -> tuple[Story, ...]:
    """What each portion of a batch did.

    Parameters
    ----------
    batch : Batch
        Its current entries.
    journeys : mapping of portion to Journey
        As in its judgement.

    Returns
    -------
    tuple of Story
        One for each portion; a batch without portions has none. A control holds no fragrance that was not put into
        it by name.

    """
    controls = {portion.name for portion in batch.portions if portion.control}
    everything = tuple(ingredients(batch.recipe)) if batch.recipe else ()
    return tuple(
        _story(
            batch,
            portion,
            journey,
            tuple(
                item
                for where, item in everything
                if where == portion or (not where and not (item.kind == "fragrance" and portion in controls))
            ),
        )
        for portion, journey in journeys.items()
    )


def ingredients(recipe: Recipe) -> Iterator[tuple[str, Ingredient]]:
    """The materials of a recipe that may colour, each with its portion (empty for the whole batch)."""
    oils_g = sum(oil.grams for oil in recipe.oils)

    def pct(grams: float) -> float | None:
        return 100 * grams / oils_g if oils_g > 0 else None

    for liquid in recipe.liquids:
        if liquid.water_fraction < 1.0:  # plain water colours nothing
            yield "", Ingredient(liquid.name, "liquid", liquid.lot, liquid.grams, pct(liquid.grams))
    for additive in recipe.additives:
        yield (
            additive.portion,
            Ingredient(additive.name, additive.kind, additive.lot, additive.grams, pct(additive.grams)),
        )


def _story(batch: Batch, portion: str, journey: Journey, held: tuple[Ingredient, ...]) -> Story:
    poured = batch.event_at("poured", portion)
    seen = [point for point in journey.points if point.difference is not None and not point.questioned]
    peak = max(seen, key=lambda point: point.difference.estimate if point.difference else 0.0, default=None)
    outcome = _OUTCOMES.get(journey.state, "not known yet") if journey.intended_lab else "not known yet"
    at_rest = outcome in ("came back", "stayed within", "settled off")
    trace = [
        (at, event) for at, event in batch.records(Event) if event.kind == "trace" and event.portion in ("", portion)
    ]
    minutes = (poured - trace[0][0]) / timedelta(minutes=1) if trace and poured else None
    return Story(
        batch=batch.code,
        name=batch.name,
        portion=portion,
        poured_at=poured,
        ingredients=held,
        outcome=outcome,
        turn=peak.difference if peak else None,
        turn_days=peak.days if peak else None,
        first_days=seen[0].days if seen else None,
        back_days=_back_days(journey, poured) if outcome == "came back" else None,
        end_lab=journey.lab_now if at_rest else None,
        end_difference=journey.difference_now if at_rest else None,
        trace="; ".join(event.note for _, event in trace if event.note),
        trace_minutes=minutes if minutes is not None and minutes >= 0 else None,
        photos=_photos(batch, journey, peak.entries if peak else ()),
        journey=journey,
    )


def _back_days(journey: Journey, poured: datetime | None) -> tuple[float | None, float | None, float | None] | None:
    forecast = journey.forecast
    if forecast is None or poured is None:
        return None
    middle, low, high = (
        None if at is None else (at - poured) / DAY for at in (forecast.at, forecast.interval[0], forecast.interval[1])
    )
    return middle, low, high


def _photos(batch: Batch, journey: Journey, at_turn: tuple[int, ...]) -> tuple[str, ...]:
    if not journey.points:
        return ()
    of_entry = {entry.id: entry.photo for entry in batch.of(ColourReading)}
    wanted = (*journey.points[0].entries[:1], *at_turn[:1], *journey.points[-1].entries[-1:])
    return tuple(dict.fromkeys(photo for photo in map(of_entry.get, wanted) if photo))


def material_key(name: str) -> str:
    """What two spellings of one material have in common."""
    return " ".join(name.split()).casefold()


def histories(told: Iterable[Story]) -> tuple[History, ...]:
    """The history of each material, by name; two spellings that differ in case or blanks alone are one."""
    by_key: dict[str, list[Use]] = {}
    for story in sorted(told, key=lambda story: (story.poured_at is None, story.poured_at, story.batch)):
        for item in story.ingredients:
            by_key.setdefault(material_key(item.material), []).append(Use(story, item))
    return tuple(
        History(uses[0].ingredient.material, uses[0].ingredient.kind, tuple(uses)) for _, uses in sorted(by_key.items())
    )


def expect(history: History, dose_pct: float | None, poured_at: datetime) -> Expected:
    """What a planned pour may do.

    Parameters
    ----------
    history : History
        Of its material; or of one lot.
    dose_pct : float or None
        % of the oils; None for the usual one. Turns are taken as proportional to the dose.
    poured_at : datetime
        When it is to be poured.

    Returns
    -------
    Expected
        Intervals are those of one more batch: Student's t on logarithms, with a first guess of the spread between
        batches; see `forecast.one_more`.

    """
    compared = [use for use in history.uses if _turn_seen(use.story)]
    factors = np.array([_factor(use.ingredient.dose_pct, dose_pct) for use in compared])
    turns = np.array([use.story.turn.estimate for use in compared if use.story.turn is not None])
    known = [use.story for use in history.uses if use.story.outcome != "not known yet"]
    returned = [story.back_days[0] if story.back_days else None for story in known if story.outcome != "stayed within"]
    days, difference = _expected_journey([use.story.journey for use in compared], factors)
    doses = history.doses_pct
    beyond = dose_pct is not None and doses is not None and not 0.8 * doses[0] <= dose_pct <= 1.25 * doses[1]
    count = len({use.story.batch for use in compared})
    return Expected(
        batches=count,
        turn=_one_more(np.log(np.maximum(turns * factors, SMALLEST))) if len(turns) else None,
        back=forecast_from_history(returned, poured_at),
        days=days,
        difference=difference,
        beyond_doses=beyond,
        words=_expected_words(history, known, count),
    )


def _turn_seen(story: Story) -> bool:
    return story.turn is not None and story.first_days is not None and story.first_days <= FIRST_LOOK_DAYS


def _factor(tried_pct: float | None, planned_pct: float | None) -> float:
    return planned_pct / tried_pct if tried_pct and planned_pct else 1.0


def _one_more(logs: Array, own_variance: float = 0.0) -> Interval:
    return Interval(*np.minimum(one_more(logs, own_variance), LARGEST).tolist())


def _expected_journey(journeys: Sequence[Journey], factors: Array) -> tuple[tuple[float, ...], tuple[Interval, ...]]:
    grid = np.geomspace(0.1, 90.0, 48)
    rows, variances = [], []
    for journey, factor in zip(journeys, factors, strict=True):
        curve = journey.curve
        if curve is None or not curve.difference:
            continue
        inside = (grid >= journey.points[0].days - 0.1) & (grid <= journey.points[-1].days + 0.1)
        middle, low, high = (
            np.log(np.maximum(factor * np.interp(grid, curve.days, row), SMALLEST))
            for row in (curve.difference, curve.difference_low, curve.difference_high)
        )
        rows.append(np.where(inside, middle, np.nan))
        variances.append(((high - low) / 3.92) ** 2)
    if not rows:
        return (), ()
    logs, own = np.array(rows), np.array(variances)
    known = np.isfinite(logs).any(axis=0)
    difference = []
    for column in np.flatnonzero(known):
        there = np.isfinite(logs[:, column])
        difference.append(_one_more(logs[there, column], float(own[there, column].mean())))
    return tuple(grid[known].tolist()), tuple(difference)


def _expected_words(history: History, known: Sequence[Story], compared: int) -> str:
    if not history.uses:
        return "never used before"
    if not known and not compared:
        return "used before, but no colour journey tells what it did"
    counts = [(outcome, history.count(outcome)) for outcome in _OUTCOMES.values() if history.count(outcome)]
    told = ", ".join(f"{number} {outcome}" for outcome, number in counts)
    waiting = history.count("not known yet")
    told += f"{', ' if told else ''}{waiting} not known yet" if waiting else ""
    number = len(history.uses)
    return f"of {number} {'portion' if number == 1 else 'portions'}: {told}"


def observations(told: Iterable[Story], what: What = "turn") -> tuple[tuple[Observation, ...], tuple[str, ...]]:
    """What the portions showed, for `culprits.which_did_it`, and which were left out, why.

    Parameters
    ----------
    told : iterable of Story
        Portions with and without materials: plain ones show what soap does by itself.
    what : str
        *turn*: the greatest difference seen from the intended colour. *end*: the difference where it came to rest, or
        where it is after `AT_REST_DAYS` and still browning.

    Returns
    -------
    tuple of Observation, tuple of str

    """
    kept, left_out = [], []
    names: dict[str, str] = {}
    for story in told:
        value, why = _seen(story, what)
        if value is None:
            left_out.append(f"{story.batch}, {story.portion}: {why}")
            continue
        doses = tuple(
            Dose(names.setdefault(material_key(item.material), item.material), item.dose_pct, item.lot)
            for item in story.ingredients
            if item.dose_pct
        )
        sd = max((value.high - value.estimate) / 1.96, 0.05)
        kept.append(Observation(story.batch, story.portion, value.estimate, sd, doses))
    return tuple(kept), tuple(left_out)


def _seen(story: Story, what: What) -> tuple[Interval | None, str]:
    if story.journey.intended_lab is None:
        return None, "no intended colour to compare with"
    if story.turn is None or story.first_days is None:
        return None, "no colour was measured"
    if what == "turn":
        late = f"first measured {story.first_days:.1f} days after the pour, when a turn may be over"
        return (story.turn, "") if _turn_seen(story) else (None, late)
    if story.end_difference is not None:
        return story.end_difference, ""
    old = story.journey.points[-1].days >= AT_REST_DAYS
    if story.outcome == "still browning" and old:
        return story.journey.difference_now, ""
    return None, "not at rest yet"


def where_did_it_go(batches: Iterable[Batch], lot: str) -> tuple[LotUse, ...]:
    """Every batch that a lot of any material went into, oldest first; oils, lye and liquids too."""
    wanted = lot.strip().casefold()
    found = [
        LotUse(batch.code, batch.name, batch.poured_at, name, kept_lot, grams)
        for batch in batches
        if batch.recipe
        for name, kept_lot, grams in lots_of(batch.recipe)
        if kept_lot.strip().casefold() == wanted
    ]
    return tuple(sorted(found, key=lambda use: (use.poured_at is None, use.poured_at, use.batch)))


def lots_of(recipe: Recipe) -> Iterator[tuple[str, str, float]]:
    """Every material of a recipe with its lot and its weight in g; the lot of embeds is the code of their batch."""
    yield from ((oil.key, oil.lot, oil.grams) for oil in recipe.oils)
    yield from ((alkali.kind, alkali.lot, alkali.grams) for alkali in recipe.alkalis)
    yield from ((liquid.name, liquid.lot, liquid.grams) for liquid in recipe.liquids)
    yield from ((additive.name, additive.lot, additive.grams) for additive in recipe.additives)
    yield from (("embeds", embed.batch, embed.grams) for embed in recipe.embeds)
