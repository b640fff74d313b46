"""Use cases of the rules: limits of the workshop, of a recipe, of a batch; each no laxer than the one above."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from curejournal.base.messages import join, msg
from curejournal.batch.records import Batch, Entry, OwnRules
from curejournal.batch.validation import check_record
from curejournal.journal.store import Journal
from curejournal.judging.limits import Limits, LimitTooLoose, narrowed, strictest
from curejournal.workflow import settings
from curejournal.workflow.settings import RecipeRules, keep_settings, settings_of


@dataclass(frozen=True)
class RuleSet:
    """Limits with whose they are and why, of a recipe or of a batch. Only what differs is in `limits`."""

    of: str
    limits: Mapping[str, float]
    why: str


def current_limits(journal: Journal) -> Limits:
    """The workshop's limits, as kept in the journal, or the defaults."""
    return settings_of(journal).house_rules


def save_limits(journal: Journal, rules: Limits) -> Limits:
    """Keep the workshop's limits; earlier ones stay in the history."""
    keep_settings(journal, rules=rules)
    return rules


def limits_of(journal: Journal, batch: Batch) -> Limits:
    """The limits that a batch is judged by: of the workshop's, its recipe's and its own the strictest of each."""
    floor = current_limits(journal)
    return strictest(floor, *(narrowed(floor, rules.limits, strict=False) for rules in rule_sets(journal, batch)))


def rule_sets(journal: Journal, batch: Batch) -> tuple[RuleSet, ...]:
    """The rule sets that concern a batch beside the workshop's, its recipe's first, each with its reason."""
    found = []
    recipe = batch.recipe
    named = recipe.name.strip() if recipe else ""
    kept = settings_of(journal).rules_of_recipes.get(_key(named)) if named else None
    if kept and kept.limits:
        found.append(RuleSet(msg("the recipe {named}", named=named), kept.limits, kept.why))
    own = batch.records(OwnRules)
    if own and own[-1][1].limits:
        found.append(RuleSet(msg("this batch"), dict(own[-1][1].limits), own[-1][1].why))
    return tuple(found)


def rules_state(journal: Journal) -> str:
    """What changes whenever the rules of the workshop or of a recipe do, for caches of what was judged."""
    return f"{current_limits(journal).version} {sorted(settings_of(journal).rules_of_recipes.items(), key=str)}"


def set_recipe_rules(journal: Journal, name: str, limits: Mapping[str, float], why: str) -> Limits:
    """Set limits for all batches of a recipe, by its name; without any, the workshop's alone count again.

    Raises
    ------
    LimitTooLoose
        If the name or the reason is empty, or a limit is laxer than the workshop's.
    """
    if not name.strip() or not why.strip():
        raise LimitTooLoose(msg("A recipe's rules need its name and a reason."), msg("Give both."))
    floor = current_limits(journal)
    found = narrowed(floor, limits)
    settings.set_recipe_rules(journal, _key(name), RecipeRules(dict(limits), why.strip()))
    return found


def set_batch_rules(
    journal: Journal, code: str, limits: Mapping[str, float], why: str, *, by: str, now: datetime
) -> Entry:
    """Set limits for one batch; without any, those of its recipe and of the workshop count again.

    Raises
    ------
    LimitTooLoose
        If a limit is laxer than the workshop's, or than its recipe's.
    ImpossibleRecord
        Without a reason.
    """
    batch = journal.batch(code)
    record = OwnRules(tuple(sorted((name, float(value)) for name, value in limits.items())), why.strip())
    check_record(batch, record, now, now=now)
    floor = current_limits(journal)
    of_recipe = [rules for rules in rule_sets(journal, batch) if rules.of != "this batch"]
    narrowed(floor, limits)
    for rules in of_recipe:
        narrowed(strictest(floor, narrowed(floor, rules.limits, strict=False)), limits, of=rules.of)
    return journal.add(code, record, at=now, by=by)


def _key(name: str) -> str:
    return join(" ", name.split()).casefold()
