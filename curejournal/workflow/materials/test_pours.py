"""A test pour that all batches propose, started by one press and compared with the batch that it is like."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import count

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg, quantity
from curejournal.batch.making import BatchKind
from curejournal.batch.records import Batch, Portion, Record
from curejournal.journal.store import Journal
from curejournal.materials.effects import MaterialEffects, TestPour
from curejournal.materials.history import Ingredient, ingredients, material_key
from curejournal.soap.recipe import Additive, Recipe
from curejournal.soap.scaling import scale
from curejournal.workflow.batches import start_batch
from curejournal.workflow.materials.analysis import holding

POUR_G = 500.0
"""Batter of a test pour, g. Chosen by us, because four bars are enough to photograph, and less is hard to weigh."""
PORTION = "test"
POUR_CAUTION = msg(
    "It is started as a batch that may not be sold, its recipe planned for {grams}: enter what you weigh. "
    "A test pour is caustic like any other: goggles, gloves, lye into water.",
    grams=quantity(f"{POUR_G:g}", "g"),
)


class NoTestPour(CureJournalError):
    """A test pour that cannot be written down by itself."""


@dataclass(frozen=True)
class Compared:
    """A test pour, and the batch that it stands beside."""

    code: str
    name: str
    beside: str
    poured: bool


def proposed_pour(found: MaterialEffects, material: str) -> TestPour:
    """Find the test pour of a material among those that all batches propose.

    Raises
    ------
    NoTestPour
        If none is proposed of it.
    """
    for pour in found.test_pours:
        if material_key(pour.material) == material_key(material):
            return pour
    others = join(", ", (pour.material for pour in found.test_pours))
    raise NoTestPour(
        msg("No test pour of “{material}” is proposed.", material=material),
        msg("These are: {others}.", others=others)
        if others
        else msg("All batches together tell what can be told, or too few tell anything yet."),
    )


def start_test_pour(journal: Journal, pour: TestPour, *, by: str, now: datetime) -> Batch:
    """Start the batch of a test pour, by the latest recipe with its material, scaled to `POUR_G`.

    Its recipe is the plan: what is weighed is entered over it. It has the target of the portion that it is compared
    with, and may not be sold.

    Raises
    ------
    NoTestPour
        If the material is a liquid, or no recipe names it any more.
    """
    found = holding(journal, [pour.material], 1)
    if not found or found[-1].recipe is None:
        raise NoTestPour(
            msg("No recipe names “{material}” any more.", material=pour.material), msg("Start the pour by hand.")
        )
    beside, recipe = found[-1], found[-1].recipe
    divided = [portion.name for portion in beside.portions if not portion.control]
    held = tuple(ingredients(recipe, divided))
    of_it = [where for where, item in held if _is(item, pour.material)]
    where = of_it[0] or next(iter(divided), "")
    additives = [item for of, item in held if of in ("", where) and item.kind != "liquid"]
    if not any(_is(item, pour.material) for item in additives):
        raise NoTestPour(
            msg("“{material}” is a liquid of the recipe, which only you can replace.", material=pour.material),
            msg("Start the pour by hand, with water in its place."),
        )
    kept = [item for item in additives if _is(item, pour.material) != pour.without]
    planned = _planned(recipe, kept, pour)
    kind = BatchKind("test pour", f"to find out whether {pour.material} did it", beside.code)
    records: list[Record] = [kind, _portion(beside, where), planned]
    return start_batch(journal, _code(journal), _name_of(pour), at=now, by=by, now=now, records=records)


def _name_of(pour: TestPour) -> str:
    return f"Test pour: without {pour.material}" if pour.without else f"Test pour: {pour.material} alone"


def pours_made(journal: Journal) -> tuple[Compared, ...]:
    """The test pours of the journal that stand beside another batch, the latest last."""
    codes = journal.names()
    kinds = ((batch, batch.records(BatchKind)) for batch in journal.all_batches() if batch.kind == "test pour")
    return tuple(
        Compared(batch.code, batch.name, noted[-1][1].beside, batch.poured_at is not None)
        for batch, noted in kinds
        if noted[-1][1].beside in codes
    )


def _is(item: Ingredient, material: str) -> bool:
    return material_key(item.material) == material_key(material)


def _planned(recipe: Recipe, kept: Iterable[Ingredient], pour: TestPour) -> Recipe:
    melted = tuple(piece for piece in recipe.embeds if piece.melted)
    plain = scale(replace(recipe, additives=(), batter=(), embeds=melted), to_g=POUR_G)
    doses = ((item, item.dose_pct if pour.without else pour.dose_pct) for item in kept)
    return replace(
        plain,
        name="",
        additives=tuple(
            Additive(item.material, item.kind, round(dose / 100 * plain.batter_g, 2), PORTION, item.lot)
            for item, dose in doses
            if dose and item.kind != "liquid"
        ),
    )


def _portion(beside: Batch, where: str) -> Portion:
    like = next((portion for portion in beside.portions if portion.name == where), Portion(PORTION))
    return replace(like, name=PORTION, order=0, control=False)


def _code(journal: Journal) -> str:
    taken = {code.casefold() for code in journal.names()}
    return next(code for number in count(1) if (code := f"TP-{number}").casefold() not in taken)
