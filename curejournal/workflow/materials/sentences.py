"""What all batches say, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

from curejournal.base.counting import how_many
from curejournal.documents import formatting
from curejournal.documents.fact_sheet import FactSheet, summary
from curejournal.materials.effects import Effect, TestPour
from curejournal.materials.expectation import Expected, LotSeen
from curejournal.materials.history import Outcome, What
from curejournal.materials.lot_comparison import LotComparison
from curejournal.workflow.materials.analysis import MaterialReport, Planned, Which

VERBS: dict[What, str] = {"turn": "turned it", "end": "kept it off its colour"}


def outcome_words(outcome: Outcome) -> str:
    """What became of a portion, as the rest of a sentence that begins with “it”."""
    return _BECAME.get(outcome, outcome)


_BECAME: dict[Outcome, str] = {
    "stayed within": "stayed within tolerance",
    "settled off": "settled off its colour",
    "still browning": "is still browning",
    "not known yet": "has not shown yet what it does",
}


def material_in_words(report: MaterialReport) -> list[tuple[str, str]]:
    """The figures of a material, a name and a value each."""
    return summary(FactSheet(report.history, report.expected, report.effect, ()))


def which_in_words(answer: Which) -> list[str]:
    """The answer in sentences, the most telling first."""
    found = answer.found
    return [
        *(f"{' and '.join(effect.materials)}: {effect_words(effect, answer.what)}" for effect in found.effects),
        *map(pour_words, found.test_pours),
        *map(lot_words, found.lots),
        base_words(answer),
        *(f"Not compared: {line}." for line in answer.left_out),
    ]


def effect_words(effect: Effect, what: What) -> str:
    """What a material, or several that were never apart, did."""
    seen = f"{how_many(effect.portions, 'portion')} of {how_many(effect.batches, 'batch')}"
    if effect.chance < 0.5:
        return f"probably not ({100 * effect.chance:.0f} %); {seen}."
    sure = "very likely" if effect.named else "perhaps"
    size = f"{formatting.figure(effect.at_usual_dose)} ΔE00 at {effect.usual_dose_pct:.1f} % of the oils in its portion"
    line = f"{sure} {VERBS[what]} ({100 * effect.chance:.0f} %), by {size}; {seen}."
    if len(effect.materials) > 1:
        line += " They were never apart, so nobody can say which of them."
    elif not effect.separable:
        line += " It is in every portion, so it cannot be told from the soap itself."
    if effect.one_season:
        line += " It was used at one time of the year only, so it cannot be told from the season: pour it at another."
    if effect.not_told_apart_from:
        line += f" It may be {' or '.join(effect.not_told_apart_from)} instead."
    return line


def pour_words(pour: TestPour) -> str:
    """A test pour, and what it would show."""
    how = "one without" if pour.without else f"{pour.dose_pct:.1f} % of the oils in its portion of"
    alone = "" if pour.without else " alone"
    twice = "" if pour.decides else " These overlap: pour it twice."
    return (
        f"Test pour: {how} {pour.material}{alone}. {formatting.figure(pour.if_it_did)} ΔE00 would say that it did it, "
        f"{formatting.figure(pour.if_not)} that it did not.{twice}"
    )


def lot_words(one: LotComparison) -> str:
    """Whether a material changed with its lot, and by how much."""
    lots = " and ".join(one.between)
    change = f"{formatting.figure(one.largest_change)} ΔE00 per % of the oils in its portion between {lots}"
    return f"{one.material}: {'changed with its lot' if one.changed else 'no change with the lot shown'}, {change}."


def base_words(answer: Which) -> str:
    """What soap does without any of the materials."""
    found = answer.found
    return f"By itself the soap changes by {formatting.figure(found.base)} ΔE00; {found.portions} portions compared."


def planned_in_words(plans: Sequence[Planned]) -> list[str]:
    """The same in sentences."""
    told = []
    for plan in plans:
        where = plan.portion or "the batch"
        if plan.turn is not None:
            told.append(f"{where}: by all batches together it may turn by {formatting.figure(plan.turn)} ΔE00.")
        told += [f"{where}: that takes lots together, but {lot_words(one)}" for one in plan.changed]
        for name, expected in plan.materials:
            if expected is None:
                told.append(f"{where}: {name} was never used before.")
                continue
            lot = f", lot {expected.lot}" if expected.lot else ""
            line = f"{where}: {name}{lot} (so far, {expected.words})"
            if expected.turn:
                line += f"; with it one more pour may turn by {formatting.figure(expected.turn)} ΔE00"
            if expected.back:
                back = f"{formatting.day(expected.back.at)}, " if expected.back.at else ""
                line += f"; within tolerance {expected.back.words}: {back}{formatting.span(expected.back.interval)}"
            line += "; this dose was never tried" if expected.beyond_doses else ""
            told.append(f"{line}.{_of_which_lots(expected)}")
    return told or ["The recipe names no material that colours."]


def lots_in_words(lots: Sequence[LotSeen]) -> list[str]:
    """What each lot of a material did, one a line."""
    each = []
    for one in lots:
        low, high = (f"{value:.1f}" for value in one.turn)
        turn = low if low == high else f"{low} to {high}"
        name = f"lot {one.lot}" if one.lot else "no lot noted"
        each.append(f"{name}: turned by {turn} ΔE00 in {how_many(one.portions, 'portion')}")
    return each


def _of_which_lots(expected: Expected) -> str:
    """Which lots an expectation was told from, wherever that may not be the planned one; empty if there is but one."""
    new = f" Lot {expected.new_lot} has told nothing yet." if expected.new_lot else ""
    others = [one for one in expected.lots if not expected.lot or one.lot.strip().casefold() != expected.lot.casefold()]
    each = "; ".join(lots_in_words(others))
    if expected.lot:
        return f" Other lots, left out: {each}." if others else ""
    if len(others) > 1:
        return f"{new} What several lots did is taken together, and they may differ: {each}."
    return f"{new} What is told is of {each}." if new and others else new
