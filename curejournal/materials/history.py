"""What each material did in the batches that held it: dose, turn, way back, end, trace."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from curejournal.base.messages import join, msg
from curejournal.batch.records import Batch, ColourReading, Event
from curejournal.colour.difference import Interval
from curejournal.colour.sample import Lab
from curejournal.judging.colour_series import ColourSeries
from curejournal.judging.colour_states import State
from curejournal.materials.effect_sampler import Dose, Observation
from curejournal.soap.dose import Dosage, dosage
from curejournal.soap.recipe import Recipe

DAY = timedelta(days=1)

Kind = Literal["fragrance", "pigment", "other", "liquid"]
Outcome = Literal[
    "came back", "stayed within", "settled off", "still browning", "darkened as intended", "not known yet"
]
What = Literal["turn", "end"]

OUTCOMES: dict[State, Outcome] = {
    State.RECOVERED: "came back",
    State.STABLE: "stayed within",
    State.STABLE_OFF: "settled off",
    State.BROWNING: "still browning",
}

FIRST_LOOK_DAYS = 2.5
"""A portion first measured later than this after its pour may have turned unseen: its turn is not compared. Ours."""
AT_REST_DAYS = 14.0
"""Age from which a colour's distance from the target counts as where it ended. Ours: fast turns are over
[common practice, no source]."""


@dataclass(frozen=True)
class Ingredient:
    """A material in a portion.

    `dosage` is what is said of its dose. `dose_pct` is what portions are compared by: % of that portion's batter, which
    was `weighed` or, for the whole batch, is the sum of the recipe; where nobody weighed it, it counts as an equal
    share. None where that share cannot be.
    """

    material: str
    kind: Kind
    lot: str
    grams: float
    dose_pct: float | None
    dosage: Dosage
    weighed: bool = True


@dataclass(frozen=True)
class Story:
    """What one portion of one batch did.

    `turn` is the greatest difference from the target colour that was seen (ΔE00), `turn_days` when; more may have
    gone unseen between photos, and one that darkens as intended has none. `back_days` (middle, low, high) is when it
    was within tolerance to stay, for one that came back. `end_lab`, `end_difference` are at the last reading of one
    that is at rest. `photos` are hashes: first, at the turn, last. `trace` is what was noted, `trace_minutes` how long
    before the pour.
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
    journey: ColourSeries


@dataclass(frozen=True)
class Use:
    """A material in one portion of one batch."""

    story: Story
    ingredient: Ingredient


@dataclass(frozen=True)
class Named:
    """A material as recipes name it: the batches that held it, the latest last, and its lowest and highest dose.

    `doses_pct` is % of all the batch's oils.
    """

    material: str
    kind: Kind
    batches: tuple[str, ...]
    doses_pct: tuple[float, float] | None


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
    def known(self) -> tuple[Story, ...]:
        """What the portions did of which it is known."""
        return tuple(use.story for use in self.uses if use.story.outcome != "not known yet")

    @property
    def turned(self) -> tuple[Story, ...]:
        """What those did that left their colour, other than by darkening as intended."""
        return tuple(story for story in self.known if story.outcome not in ("stayed within", "darkened as intended"))

    @property
    def doses_pct(self) -> tuple[float, float] | None:
        """Lowest and highest dose, % of all the batch's oils."""
        return _range(use.ingredient for use in self.uses)

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


def stories(batch: Batch, journeys: Mapping[str, ColourSeries]) -> tuple[Story, ...]:
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
        One for each portion, and for each part of one that is followed apart; a batch without portions has none. A
        control holds no fragrance that was not put into it by name.

    """
    controls = {portion.name for portion in batch.portions if portion.control}
    divided = [portion.name for portion in batch.portions if not portion.control]
    parts = batch.parts
    everything = tuple(ingredients(batch.recipe, divided)) if batch.recipe else ()
    return tuple(
        _story(
            batch,
            portion,
            journey,
            tuple(
                item
                for where, item in everything
                if where == parts.get(portion, portion)
                or (not where and not (item.kind == "fragrance" and portion in controls))
            ),
        )
        for portion, journey in journeys.items()
    )


def ingredients(recipe: Recipe, portions: Collection[str] = ()) -> Iterator[tuple[str, Ingredient]]:
    """The materials of a recipe that may colour, each with its portion (empty for the whole batch).

    `portions` are those that share the batter; those that the recipe names are among them.
    """
    shared = dict.fromkeys([*portions, *portions_of(recipe)])
    weighed = {part.portion for part in recipe.batter}

    def pct(grams: float, portion: str = "") -> float | None:
        share = recipe.share(portion, shared) if portion else 1.0
        return 100 * grams / (recipe.batter_g * share) if recipe.batter_g > 0 and share else None

    for liquid in recipe.liquids:
        if liquid.water_fraction < 1.0:  # plain water colours nothing
            dose = dosage(recipe, liquid.grams)
            yield "", Ingredient(liquid.name, "liquid", liquid.lot, liquid.grams, pct(liquid.grams), dose)
    for one in recipe.additives:
        dose = dosage(recipe, one.grams, one.portion)
        known = not one.portion or one.portion in weighed or len(shared) == 1
        yield (
            one.portion,
            Ingredient(one.name, one.kind, one.lot, one.grams, pct(one.grams, one.portion), dose, known),
        )


def portions_of(recipe: Recipe) -> tuple[str, ...]:
    """The portions that a recipe names."""
    named = [*(part.portion for part in recipe.batter), *(additive.portion for additive in recipe.additives)]
    return tuple(dict.fromkeys(name for name in named if name))


def _story(batch: Batch, portion: str, journey: ColourSeries, held: tuple[Ingredient, ...]) -> Story:
    whole = batch.parts.get(portion, portion)
    poured = batch.event_at("poured", whole)
    seen = [point for point in journey.points if point.difference is not None and not point.questioned]
    peak = max(seen, key=lambda point: point.difference.estimate if point.difference else 0.0, default=None)
    outcome = OUTCOMES.get(journey.state, "not known yet") if journey.target_lab else "not known yet"
    if journey.darkens:
        # Its way to a brown that is meant is neither a turn, nor a way back, nor an end that tells of other colours.
        outcome, peak = ("darkened as intended" if outcome == "came back" else outcome), None
    at_rest = outcome in ("came back", "stayed within", "settled off")
    trace = [
        (at, event) for at, event in batch.records(Event) if event.kind == "trace" and event.portion in ("", whole)
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
        trace=join("; ", (event.note for _, event in trace if event.note)),
        trace_minutes=minutes if minutes is not None and minutes >= 0 else None,
        photos=_photos(batch, journey, peak.entries if peak else ()),
        journey=journey,
    )


def _back_days(
    journey: ColourSeries, poured: datetime | None
) -> tuple[float | None, float | None, float | None] | None:
    forecast = journey.forecast
    if forecast is None or poured is None:
        return None
    middle, low, high = (
        None if at is None else (at - poured) / DAY for at in (forecast.at, forecast.interval[0], forecast.interval[1])
    )
    return middle, low, high


def _photos(batch: Batch, journey: ColourSeries, at_turn: tuple[int, ...]) -> tuple[str, ...]:
    if not journey.points:
        return ()
    of_entry = {entry.id: entry.photo for entry in batch.of(ColourReading)}
    wanted = (*journey.points[0].entries[:1], *at_turn[:1], *journey.points[-1].entries[-1:])
    return tuple(dict.fromkeys(photo for photo in map(of_entry.get, wanted) if photo))


def named(batches: Iterable[Batch]) -> tuple[Named, ...]:
    """The materials of recipes, by name, without looking at what they did."""
    found: dict[str, list[tuple[str, Ingredient]]] = {}
    for batch in batches:
        for item in materials_in(batch):
            found.setdefault(material_key(item.material), []).append((batch.code, item))
    told = []
    for _, uses in sorted(found.items()):
        codes = tuple(dict.fromkeys(code for code, _ in uses))
        first = uses[0][1]
        told.append(Named(first.material, first.kind, codes, _range(item for _, item in uses)))
    return tuple(told)


def _range(items: Iterable[Ingredient]) -> tuple[float, float] | None:
    """Lowest and highest dose, % of all the batch's oils."""
    doses = [item.dosage.of_oils_pct for item in items if item.dosage.of_oils_pct is not None]
    return (min(doses), max(doses)) if doses else None


def materials_in(batch: Batch) -> tuple[Ingredient, ...]:
    """The materials that may colour, of a batch's recipe."""
    divided = [portion.name for portion in batch.portions if not portion.control]
    return tuple(item for _, item in ingredients(batch.recipe, divided)) if batch.recipe else ()


def material_key(name: str) -> str:
    """What two spellings of one material have in common."""
    return join(" ", name.split()).casefold()


def histories(told: Iterable[Story]) -> tuple[History, ...]:
    """The history of each material, by name; two spellings that differ in case or blanks alone are one."""
    by_key: dict[str, list[Use]] = {}
    for story in sorted(told, key=lambda story: (story.poured_at is None, story.poured_at, story.batch)):
        for item in story.ingredients:
            by_key.setdefault(material_key(item.material), []).append(Use(story, item))
    return tuple(
        History(uses[0].ingredient.material, uses[0].ingredient.kind, tuple(uses)) for _, uses in sorted(by_key.items())
    )


def observations(told: Iterable[Story], what: What = "turn") -> tuple[tuple[Observation, ...], tuple[str, ...]]:
    """What the portions showed, for `culprits.which_did_it`, and which were left out, why.

    Parameters
    ----------
    told : iterable of Story
        Portions with and without materials: plain ones show what soap does by itself.
    what : str
        *turn*: the greatest difference seen from the target colour. *end*: the difference where it came to rest, or
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
            left_out.append(msg("{batch}, {portion}: {why}", batch=story.batch, portion=story.portion, why=why))
            continue
        doses = tuple(
            Dose(names.setdefault(material_key(item.material), item.material), item.dose_pct, item.lot)
            for item in story.ingredients
            if item.dose_pct
        )
        sd = max((value.high - value.estimate) / 1.96, 0.05)
        kept.append(Observation(story.batch, story.portion, value.estimate, sd, doses, year_part(story.poured_at)))
    return tuple(kept), tuple(left_out)


def year_part(at: datetime | None) -> float | None:
    """When it was poured, as a part of its year."""
    return None if at is None else ((at.timetuple().tm_yday - 1) % 365) / 365


def turn_seen(story: Story) -> bool:
    """Whether a portion was looked at early enough for its turn to have been seen."""
    return story.turn is not None and story.first_days is not None and story.first_days <= FIRST_LOOK_DAYS


def _seen(story: Story, what: What) -> tuple[Interval | None, str]:
    if story.journey.target_lab is None:
        return None, msg("no target colour to compare with")
    if story.journey.darkens:
        return None, msg("it darkens as intended, which is not discolouring")
    if story.turn is None or story.first_days is None:
        return None, msg("no colour was measured")
    if what == "turn":
        late = msg(
            "first measured {first_days:.1f} days after the pour, when a turn may be over", first_days=story.first_days
        )
        return (story.turn, "") if turn_seen(story) else (None, late)
    if story.end_difference is not None:
        return story.end_difference, ""
    old = story.journey.points[-1].days >= AT_REST_DAYS
    if story.outcome == "still browning" and old:
        return story.journey.difference_now, ""
    return None, msg("not at rest yet")
