"""The use cases that learn from all batches: what a material did, which one did it, what to expect of a planned pour.

Like `workflow`, on which they stand: faces call these and show what comes back.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from curejournal import workflow
from curejournal.colour.difference import Interval
from curejournal.cure import materials
from curejournal.cure.culprits import Culprits, Effect, TestPour, TooFewBatches, which_did_it
from curejournal.cure.expectation import Expected, expect
from curejournal.cure.journey import State
from curejournal.cure.judgement import look_at
from curejournal.cure.materials import History, Ingredient, Story, Use, What
from curejournal.errors import CureJournalError
from curejournal.journal.store import Journal
from curejournal.report import wording
from curejournal.report.fact_sheet import FactSheet, batches, summary
from curejournal.soap.recipe import Recipe


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
    """Which material did it, and the portions that could not be compared, each with the reason."""

    what: What
    found: Culprits
    left_out: tuple[str, ...]


@dataclass(frozen=True)
class Planned:
    """What one portion of a planned pour may do.

    `turn` by all batches together (ΔE00), None where there are too few; `materials` by what each did in the batches
    that held it, None for one that was never used. `portion` is empty for the whole batch.
    """

    portion: str
    turn: Interval | None
    materials: tuple[tuple[str, Expected | None], ...]


def all_stories(journal: Journal, on: datetime) -> tuple[Story, ...]:
    """What every portion of every batch did, as it was known at a time."""
    rules = workflow.house_rules(journal)
    return tuple(
        story
        for batch in journal.all_batches()
        for story in materials.stories(batch, look_at(batch, on, rules).journeys)
    )


def all_materials(journal: Journal, on: datetime) -> tuple[History, ...]:
    """The history of each material that any recipe names."""
    return materials.histories(all_stories(journal, on))


def material(journal: Journal, name: str, on: datetime, *, dose_pct: float | None = None) -> MaterialReport:
    """What a material did, and what a pour with it now may do.

    Parameters
    ----------
    journal, name, on
        The material as recipes name it, and the time.
    dose_pct : float, optional
        The planned dose, % of the oils.

    Raises
    ------
    MaterialUnknown
    """
    told = all_stories(journal, on)
    history = _history(told, name)
    expected = expect(history, dose_pct, on)
    try:
        found = which_did_it(materials.observations(told)[0])
        effect = next((e for e in found.effects if _is_in(e.materials, name)), None)
    except TooFewBatches:
        effect = None
    return MaterialReport(history, expected, effect)


def material_in_words(report: MaterialReport) -> list[tuple[str, str]]:
    """The figures of a material, a name and a value each."""
    return summary(FactSheet(report.history, report.expected, report.effect, ()))


def material_as_json(report: MaterialReport) -> dict[str, Any]:
    """The same as plain data, use by use."""
    return {
        "material": report.history.material,
        "kind": report.history.kind,
        "uses": [_use_as_json(use) for use in report.history.uses],
        "expected": _expected_as_json(report.expected),
        "effect": _effect_as_json(report.effect) if report.effect else None,
    }


def _expected_as_json(expected: Expected) -> dict[str, Any]:
    return {
        "batches": expected.batches,
        "turn": expected.turn._asdict() if expected.turn else None,
        "back": workflow.as_json(expected.back) if expected.back else None,
        "journey": [
            {"day": day, **interval._asdict()} for day, interval in zip(expected.days, expected.difference, strict=True)
        ],
        "beyond_doses": expected.beyond_doses,
        "words": expected.words,
    }


def _use_as_json(use: Use) -> dict[str, Any]:
    story = use.story
    return {
        "batch": story.batch,
        "portion": story.portion,
        "poured_at": story.poured_at.isoformat() if story.poured_at else None,
        "lot": use.ingredient.lot,
        "grams": use.ingredient.grams,
        "dose_pct": use.ingredient.dose_pct,
        "turn": story.turn._asdict() if story.turn else None,
        "turn_days": story.turn_days,
        "back_days": list(story.back_days) if story.back_days else None,
        "outcome": story.outcome,
        "end_lab": list(story.end_lab) if story.end_lab else None,
        "end_difference": story.end_difference._asdict() if story.end_difference else None,
        "trace": story.trace,
        "trace_minutes": story.trace_minutes,
        "photos": list(story.photos),
    }


def _effect_as_json(effect: Effect) -> dict[str, Any]:
    return asdict(effect) | {"per_pct": effect.per_pct._asdict(), "at_usual_dose": effect.at_usual_dose._asdict()}


def _history(told: Sequence[Story], name: str) -> History:
    every = {materials.material_key(history.material): history for history in materials.histories(told)}
    found = every.get(materials.material_key(name))
    if found is None:
        known = ", ".join(history.material for history in every.values()) or "none yet"
        raise MaterialUnknown(f"No recipe names “{name}”.", f"Materials of this journal: {known}.")
    return found


def _is_in(names: Iterable[str], name: str) -> bool:
    return materials.material_key(name) in map(materials.material_key, names)


def which(journal: Journal, on: datetime, what: What = "turn") -> Which:
    """Which material turned the batter, or keeps it off its colour, by all batches together.

    Raises
    ------
    TooFewBatches
    """
    seen, left_out = materials.observations(all_stories(journal, on), what)
    return Which(what, which_did_it(seen), left_out)


def which_as_json(answer: Which) -> dict[str, Any]:
    """The answer as plain data."""
    found = answer.found
    return {
        "what": answer.what,
        "portions": found.portions,
        "base": found.base._asdict(),
        "noise": found.noise._asdict(),
        "effects": [_effect_as_json(effect) for effect in found.effects],
        "test_pours": [
            asdict(pour)
            | {"if_it_did": pour.if_it_did._asdict(), "if_not": pour.if_not._asdict(), "decides": pour.decides}
            for pour in found.test_pours
        ],
        "lots": [
            {
                "material": one.material,
                "changed": one.changed,
                "largest_change": one.largest_change._asdict(),
                "between": list(one.between),
                "lots": [
                    {"lot": lot.lot, "portions": lot.portions, "per_pct": lot.per_pct._asdict()} for lot in one.lots
                ],
            }
            for one in found.lots
        ],
        "left_out": list(answer.left_out),
    }


def which_in_words(answer: Which) -> list[str]:
    """The answer in sentences, the most telling first."""
    found, told = answer.found, []
    verb = {"turn": "turned it", "end": "kept it off its colour"}[answer.what]
    for effect in found.effects:
        names = " and ".join(effect.materials)
        size = f"{wording.figure(effect.at_usual_dose)} ΔE00 at {effect.usual_dose_pct:.1f} % of the oils"
        seen = f"{wording.count(effect.portions, 'portion')} of {batches(effect.batches)}"
        if effect.chance < 0.5:
            told.append(f"{names}: probably not ({100 * effect.chance:.0f} %); {seen}.")
            continue
        sure = "very likely" if effect.chance >= 0.9 else "perhaps"
        line = f"{names}: {sure} {verb} ({100 * effect.chance:.0f} %), by {size}; {seen}."
        if len(effect.materials) > 1:
            line += " They were never apart, so nobody can say which of them."
        elif not effect.separable:
            line += " It is in every portion, so it cannot be told from the soap itself."
        if effect.not_told_apart_from:
            line += f" It may be {' or '.join(effect.not_told_apart_from)} instead."
        told.append(line)
    told += [_pour_words(pour) for pour in found.test_pours]
    for one in found.lots:
        change = f"{wording.figure(one.largest_change)} ΔE00 per % of the oils between {' and '.join(one.between)}"
        told.append(
            f"{one.material}: {'changed with its lot' if one.changed else 'no change with the lot shown'}, {change}."
        )
    told.append(f"By itself the soap changes by {wording.figure(found.base)} ΔE00; {found.portions} portions compared.")
    told += [f"Not compared: {line}." for line in answer.left_out]
    return told


def _pour_words(pour: TestPour) -> str:
    how = "one without" if pour.without else f"{pour.dose_pct:.1f} % of the oils of"
    alone = "" if pour.without else " alone"
    twice = "" if pour.decides else " These overlap: pour it twice."
    return (
        f"Test pour: {how} {pour.material}{alone}. {wording.figure(pour.if_it_did)} ΔE00 would say that it did it, "
        f"{wording.figure(pour.if_not)} that it did not.{twice}"
    )


def planned(
    journal: Journal,
    recipe: Recipe,
    on: datetime,
    *,
    portions: Collection[str] = (),
    told: Sequence[Story] | None = None,
) -> tuple[Planned, ...]:
    """What a recipe that is poured now may do, portion by portion, by what its materials did before.

    `portions` are those that share the batter beside the ones that the recipe names.
    """
    told = all_stories(journal, on) if told is None else told
    every = {materials.material_key(history.material): history for history in materials.histories(told)}
    try:
        found = which_did_it(materials.observations(told)[0])
    except TooFewBatches:
        found = None
    held = tuple(materials.ingredients(recipe, portions))
    everywhere = [item for portion, item in held if not portion]
    plans = []
    for name in dict.fromkeys([*portions, *materials.portions_of(recipe)]) or {"": None}:
        own = [item for portion, item in held if portion and portion == name]
        plans.append(_plan(name, (*everywhere, *own), every, on, found))
    return tuple(plans)


def _plan(
    portion: str,
    held: Iterable[Ingredient],
    every: Mapping[str, History],
    poured_at: datetime,
    found: Culprits | None = None,
) -> Planned:
    doses: dict[str, float] = {}
    each: list[tuple[str, Expected | None]] = []
    for item in held:
        history = every.get(materials.material_key(item.material))
        known = history.material if history else item.material
        doses[known] = doses.get(known, 0.0) + (item.dose_pct or 0.0)
        each.append((known, expect(history, item.dose_pct, poured_at) if history else None))
    return Planned(portion, found.foretell(doses) if found else None, tuple(each))


EARLIER = 40
"""How many earlier batches of the same materials a young one is compared with, the latest. Ours: judging them takes
about a second, and more would hardly narrow the interval of one more batch."""


def expected(journal: Journal, code: str, on: datetime) -> tuple[Planned, ...]:
    """What the portions of a batch that have too few readings yet may do, by what their materials did before."""
    batch, rules = journal.batch(code), workflow.house_rules(journal)
    young = [
        story
        for story in materials.stories(batch, look_at(batch, on, rules).journeys)
        if story.journey.state is State.TOO_FEW and story.ingredients
    ]
    wanted = {materials.material_key(item.material) for story in young for item in story.ingredients}
    others = [
        (other.poured_at, other)
        for other in (journal.all_batches() if wanted else ())
        if other.code != batch.code
        and other.recipe
        and other.poured_at
        and wanted & {materials.material_key(item.material) for _, item in materials.ingredients(other.recipe)}
    ]
    latest = sorted(others, key=lambda pair: pair[0])[-EARLIER:]
    told = [s for _, other in latest for s in materials.stories(other, look_at(other, on, rules).journeys)]
    every = {materials.material_key(history.material): history for history in materials.histories(told)}
    return tuple(_plan(story.portion, story.ingredients, every, story.poured_at or on) for story in young)


def planned_in_words(plans: Sequence[Planned]) -> list[str]:
    """The same in sentences."""
    told = []
    for plan in plans:
        where = plan.portion or "the batch"
        if plan.turn is not None:
            told.append(f"{where}: by all batches together it may turn by {wording.figure(plan.turn)} ΔE00.")
        for name, expected in plan.materials:
            if expected is None:
                told.append(f"{where}: {name} was never used before.")
                continue
            line = f"{where}: {name}, {expected.words}"
            if expected.turn:
                line += f"; with it one more pour may turn by {wording.figure(expected.turn)} ΔE00"
            if expected.back:
                back = f"{wording.day(expected.back.at)}, " if expected.back.at else ""
                line += f"; within tolerance {expected.back.words}: {back}{wording.span(expected.back.interval)}"
            told.append(line + ("; this dose was never tried." if expected.beyond_doses else "."))
    return told or ["The recipe names no material that colours."]


def planned_as_json(plans: Sequence[Planned]) -> list[dict[str, Any]]:
    """The same as plain data."""
    return [
        {
            "portion": plan.portion,
            "turn": plan.turn._asdict() if plan.turn else None,
            "materials": [
                {"material": name, "expected": _expected_as_json(expected) if expected else None}
                for name, expected in plan.materials
            ],
        }
        for plan in plans
    ]
