"""What is asked of all batches together."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from curejournal import workflow
from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg
from curejournal.batch.records import Batch
from curejournal.colour.difference import Interval
from curejournal.journal.store import Journal
from curejournal.judging.colour_states import State
from curejournal.judging.context import journeys
from curejournal.judging.limits import Limits
from curejournal.materials.effects import Effect, MaterialEffects, TooFewBatches, find_causes
from curejournal.materials.expectation import Expected, expect
from curejournal.materials.history import (
    History,
    Ingredient,
    Named,
    Story,
    What,
    histories,
    ingredients,
    material_key,
    materials_in,
    named,
    observations,
    portions_of,
    stories,
)
from curejournal.materials.lot_comparison import LotComparison
from curejournal.soap.recipe import Recipe

Tell = Callable[[Sequence[Batch]], Sequence[Story]]
"""Gives what the portions of some batches did; a face may remember it between two questions."""

COMPARED = 400
"""How many batches are compared with each other at most, the latest. Ours: with more, intervals of effects hardly
narrow, and recipes change."""

EARLIER = 40
"""How many earlier batches of the same materials a young one is compared with, the latest. Ours: judging them takes
about a second, and more would hardly narrow the interval of one more batch."""


class MaterialUnknown(CureJournalError):
    """No recipe names this material."""


@dataclass(frozen=True)
class MaterialReport:
    """A material's history, what to expect of it, and its part in all batches together (None: not to be told)."""

    history: History
    expected: Expected
    effect: Effect | None


@dataclass(frozen=True)
class Which:
    """Which material did it, and the portions that could not be compared, each with the reason.

    Of `estimated` portions nobody weighed the batter, so that their doses rest on equal shares.
    """

    what: What
    found: MaterialEffects
    left_out: tuple[str, ...]
    estimated: int = 0


@dataclass(frozen=True)
class Planned:
    """What one portion of a planned pour may do.

    `turn` by all batches together (ΔE00), None where there are too few; `materials` by what each did in the batches
    that held it, None for one that was never used. `portion` is empty for the whole batch. `changed` are those of its
    materials of which all batches together show that they changed with their lot, which `turn` leaves out of account.
    """

    portion: str
    turn: Interval | None
    materials: tuple[tuple[str, Expected | None], ...]
    changed: tuple[LotComparison, ...] = ()


def teller(journal: Journal, on: datetime) -> Tell:
    """Tells what portions did, as it was known at a time; works it out again each time."""
    rules = workflow.current_limits(journal)
    return lambda batches: [story for batch in batches for story in stories_of(batch, on, rules)]


def stories_of(batch: Batch, on: datetime, rules: Limits) -> tuple[Story, ...]:
    """What each portion of a batch did, as it was known at a time; parts of one are no further cases."""
    told = stories(batch, journeys(batch, on, rules, all_surfaces=True))
    return tuple(story for story in told if story.portion not in batch.parts)


def compared(journal: Journal) -> tuple[Batch, ...]:
    """The batches that are compared with each other: the latest poured, oldest first."""
    return recent(journal.all_batches(), COMPARED)


def recent(batches: Iterable[Batch], most: int) -> tuple[Batch, ...]:
    """The batches that were poured last, oldest first."""
    poured = [(batch.poured_at, batch.code, batch) for batch in batches if batch.poured_at]
    return tuple(batch for _, _, batch in sorted(poured, key=lambda row: row[:2])[-most:])


def holding(journal: Journal, names: Collection[str], most: int | None = None) -> tuple[Batch, ...]:
    """The batches that hold any of some materials, the latest poured alone if there are more than `most`."""
    keys = {material_key(name) for name in names}
    every = journal.all_batches()
    found = [b for b in every if keys & {material_key(item.material) for item in materials_in(b)}]
    return tuple(found) if most is None or len(found) <= most else recent(found, most)


def all_materials(journal: Journal) -> tuple[Named, ...]:
    """Each material that any recipe names, with its batches and doses."""
    return named(journal.all_batches())


def material(
    journal: Journal,
    name: str,
    on: datetime,
    *,
    dose_pct: float | None = None,
    most: int | None = None,
    beside_others: bool = True,
    tell: Tell | None = None,
) -> MaterialReport:
    """What a material did, and what a pour with it now may do.

    Parameters
    ----------
    journal, name, on
        The material as recipes name it, and the time.
    dose_pct : float, optional
        The planned dose, % of the batter of the portion that it goes into.
    most : int, optional
        Look at so many of its latest batches only.
    beside_others : bool
        Also estimate its part in all batches together, which takes longest.
    tell : callable, optional
        See `Tell`.

    Raises
    ------
    MaterialUnknown
    """
    tell = tell or teller(journal, on)
    found = holding(journal, [name], most)
    if not found:
        known = join(", ", (one.material for one in all_materials(journal))) or msg("none yet")
        raise MaterialUnknown(
            msg("No recipe names “{name}”.", name=name), msg("Materials of this journal: {known}.", known=known)
        )
    history = _history(tell(found), found, name)
    effect = None
    if beside_others:
        try:
            together = find_causes(observations(tell(compared(journal)))[0])
            effect = next((e for e in together.effects if _is_in(e.materials, name)), None)
        except TooFewBatches:
            pass
    return MaterialReport(history, expect(history, dose_pct, on), effect)


def _history(told: Sequence[Story], batches: Sequence[Batch], name: str) -> History:
    found = next((history for history in histories(told) if _is_in([history.material], name)), None)
    if found is not None:
        return found
    # Batches without portions, and without any photo, have no story to tell yet.
    known = next(one for one in named(batches) if _is_in([one.material], name))
    return History(known.material, known.kind, ())


def _is_in(names: Iterable[str], name: str) -> bool:
    return material_key(name) in map(material_key, names)


def which(journal: Journal, on: datetime, what: What = "turn", *, tell: Tell | None = None) -> Which:
    """Which material turned the batter, or keeps it off its colour, by all batches together.

    Raises
    ------
    TooFewBatches
    """
    chosen = compared(journal)
    told = (tell or teller(journal, on))(chosen)
    seen, left_out = observations(told, what)
    compared_portions = {(one.batch, one.portion) for one in seen}
    estimated = sum(
        (story.batch, story.portion) in compared_portions and not all(item.weighed for item in story.ingredients)
        for story in told
    )
    earlier = len(journal.all_batches()) - len(chosen)
    if earlier > 0 and len(chosen) == COMPARED:
        left_out = (
            msg("{earlier} earlier batches: the latest {compared} are compared", earlier=earlier, compared=COMPARED),
            *left_out,
        )
    return Which(what, find_causes(seen), left_out, estimated)


def planned(
    journal: Journal,
    recipe: Recipe,
    on: datetime,
    *,
    portions: Collection[str] = (),
    tell: Tell | None = None,
) -> tuple[Planned, ...]:
    """What a recipe that is poured now may do, portion by portion, by what its materials did before.

    `portions` are those that share the batter beside the ones that the recipe names.
    """
    tell = tell or teller(journal, on)
    held = tuple(ingredients(recipe, portions))
    told = tell(holding(journal, {item.material for _, item in held}, EARLIER))
    every = {material_key(history.material): history for history in histories(told)}
    try:
        found = find_causes(observations(tell(compared(journal)))[0])
    except TooFewBatches:
        found = None
    everywhere = [item for portion, item in held if not portion]
    plans = []
    for name in dict.fromkeys([*portions, *portions_of(recipe)]) or {"": None}:
        own = [item for portion, item in held if portion and portion == name]
        plans.append(_plan(name, (*everywhere, *own), every, on, found))
    return tuple(plans)


def _plan(
    portion: str,
    held: Iterable[Ingredient],
    every: Mapping[str, History],
    poured_at: datetime,
    found: MaterialEffects | None = None,
) -> Planned:
    doses: dict[str, float] = {}
    each: list[tuple[str, Expected | None]] = []
    for item in held:
        history = every.get(material_key(item.material))
        known = history.material if history else item.material
        doses[known] = doses.get(known, 0.0) + (item.dose_pct or 0.0)
        each.append((known, expect(history, item.dose_pct, poured_at, item.lot) if history else None))
    if found is None:
        return Planned(portion, None, tuple(each))
    changed = tuple(one for one in found.lots if one.changed and _is_in(doses, one.material))
    return Planned(portion, found.predict(doses), tuple(each), changed)


def expected(journal: Journal, code: str, on: datetime) -> tuple[Planned, ...]:
    """What the portions of a batch that have too few readings yet may do, by what their materials did before."""
    batch, rules = journal.batch(code), workflow.current_limits(journal)
    young = [
        story for story in stories_of(batch, on, rules) if story.journey.state is State.TOO_FEW and story.ingredients
    ]
    wanted = {item.material for story in young for item in story.ingredients}
    others = [one for one in (holding(journal, wanted) if wanted else ()) if one.code != batch.code]
    told = [story for other in recent(others, EARLIER) for story in stories_of(other, on, rules)]
    every = {material_key(history.material): history for history in histories(told)}
    return tuple(_plan(story.portion, story.ingredients, every, story.poured_at or on) for story in young)
