"""What all batches say, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

from curejournal.base.messages import join, msg, msg_n
from curejournal.documents import formatting
from curejournal.documents.fact_sheet import FactSheet, summary
from curejournal.materials.effects import Effect, TestPour
from curejournal.materials.expectation import Expected, LotSeen
from curejournal.materials.history import Outcome, What
from curejournal.materials.lot_comparison import LotComparison
from curejournal.workflow.materials.analysis import MaterialReport, Planned, Which

VERBS: dict[What, str] = {"turn": msg("discoloured it"), "end": msg("kept it off its colour")}


def outcome_words(outcome: Outcome) -> str:
    """What became of a portion, as the rest of a sentence that begins with “it”."""
    return _BECAME.get(outcome, outcome)


_BECAME: dict[Outcome, str] = {
    "stayed within": msg("stayed within tolerance"),
    "settled off": msg("settled off its colour"),
    "still browning": msg("is still browning"),
    "not known yet": msg("has not shown yet what it does"),
}


def material_in_words(report: MaterialReport) -> list[tuple[str, str]]:
    """The figures of a material, a name and a value each."""
    return summary(FactSheet(report.history, report.expected, report.effect, ()))


def which_in_words(answer: Which) -> list[str]:
    """The answer in sentences, the most telling first."""
    found = answer.found
    return [
        *(
            msg(
                "{materials}: {what}", materials=join(" and ", effect.materials), what=effect_words(effect, answer.what)
            )
            for effect in found.effects
        ),
        *map(pour_words, found.test_pours),
        *map(lot_words, found.lots),
        base_words(answer),
        *(msg("Not compared: {line}.", line=line) for line in answer.left_out),
    ]


def effect_words(effect: Effect, what: What) -> str:
    """What a material, or several that were never apart, did."""
    seen = msg(
        "{portions} of {batches}",
        portions=msg_n("{number} portion", "{number} portions", effect.portions),
        batches=msg_n("{number} batch", "{number} batches", effect.batches),
    )
    if effect.chance < 0.5:
        return msg("probably not ({chance:.0f} %); {seen}.", chance=100 * effect.chance, seen=seen)
    sure = msg("very likely") if effect.named else "perhaps"
    size = msg(
        "{at_usual_dose} ΔE00 at {usual_dose_pct:.1f} % of its portion's batter",
        at_usual_dose=formatting.figure(effect.at_usual_dose),
        usual_dose_pct=effect.usual_dose_pct,
    )
    line = msg(
        "{sure} {what} ({chance:.0f} %), by {size}; {seen}.",
        sure=sure,
        what=VERBS[what],
        chance=100 * effect.chance,
        size=size,
        seen=seen,
    )
    if len(effect.materials) > 1:
        line += msg(" They were never apart, so nobody can say which of them.")
    elif not effect.separable:
        line += msg(" It is in every portion, so it cannot be told from the soap itself.")
    if effect.one_season:
        line += msg(
            " It was used at one time of the year only, so it cannot be told from the season: pour it at another."
        )
    if effect.not_told_apart_from:
        line += msg(
            " It may be {not_told_apart_from} instead.", not_told_apart_from=join(" or ", effect.not_told_apart_from)
        )
    return line


def pour_words(pour: TestPour) -> str:
    """A test pour, and what it would show."""
    how = msg("one without") if pour.without else msg("{dose_pct:.1f} % of the batter of", dose_pct=pour.dose_pct)
    alone = "" if pour.without else " alone"
    twice = "" if pour.decides else msg(" These overlap: pour it twice.")
    return msg(
        "Test pour: {how} {material}{alone}. {if_it_did} ΔE00 would say that it did it, "
        "{if_not} that it did not.{twice}",
        how=how,
        material=pour.material,
        alone=alone,
        if_it_did=formatting.figure(pour.if_it_did),
        if_not=formatting.figure(pour.if_not),
        twice=twice,
    )


def lot_words(one: LotComparison) -> str:
    """Whether a material changed with its lot, and by how much."""
    lots = join(" and ", one.between)
    change = msg(
        "{largest_change} ΔE00 per % of its portion's batter between {lots}",
        largest_change=formatting.figure(one.largest_change),
        lots=lots,
    )
    return msg(
        "{material}: {changed}, {change}.",
        material=one.material,
        changed="changed with its lot" if one.changed else "no change with the lot shown",
        change=change,
    )


def base_words(answer: Which) -> str:
    """What soap does without any of the materials."""
    found = answer.found
    base = msg(
        "By itself the soap changes by {base} ΔE00; {portions} portions compared.",
        base=formatting.figure(found.base),
        portions=found.portions,
    )
    doses = msg("Doses are % of each portion's batter")
    if not answer.estimated:
        return msg("{base} {doses}.", base=base, doses=doses)
    return msg(
        "{base} {doses}; in {estimated} nobody weighed it, and equal shares were taken.",
        base=base,
        doses=doses,
        estimated=msg_n("{number} portion", "{number} portions", answer.estimated),
    )


def planned_in_words(plans: Sequence[Planned]) -> list[str]:
    """The same in sentences."""
    told = []
    for plan in plans:
        where = plan.portion or msg("the batch")
        if plan.turn is not None:
            told.append(
                msg(
                    "{where}: by all batches together it may discolour by {turn} ΔE00.",
                    where=where,
                    turn=formatting.figure(plan.turn),
                )
            )
        told += [
            msg("{where}: that takes lots together, but {one}", where=where, one=lot_words(one)) for one in plan.changed
        ]
        for name, expected in plan.materials:
            if expected is None:
                told.append(msg("{where}: {name} was never used before.", where=where, name=name))
                continue
            lot = msg(", lot {lot}", lot=expected.lot) if expected.lot else ""
            line = msg("{where}: {name}{lot} (so far, {words})", where=where, name=name, lot=lot, words=expected.words)
            if expected.turn:
                line += msg(
                    "; with it one more pour may discolour by {turn} ΔE00", turn=formatting.figure(expected.turn)
                )
            if expected.back:
                back = msg("{at}, ", at=formatting.day(expected.back.at)) if expected.back.at else ""
                line += msg(
                    "; within tolerance {words}: {back}{interval}",
                    words=expected.back.words,
                    back=back,
                    interval=formatting.span(expected.back.interval),
                )
            line += msg("; this dose was never tried") if expected.beyond_doses else ""
            told.append(f"{line}.{_of_which_lots(expected)}")
    return told or [msg("The recipe names no material that colours.")]


def lots_in_words(lots: Sequence[LotSeen]) -> list[str]:
    """What each lot of a material did, one a line."""
    each = []
    for one in lots:
        low, high = (f"{value:.1f}" for value in one.turn)
        turn = low if low == high else msg("{low} to {high}", low=low, high=high)
        name = msg("lot {lot}", lot=one.lot) if one.lot else msg("no lot noted")
        each.append(
            msg(
                "{name}: turned by {turn} ΔE00 in {portions}",
                name=name,
                turn=turn,
                portions=msg_n("{number} portion", "{number} portions", one.portions),
            )
        )
    return each


def _of_which_lots(expected: Expected) -> str:
    """Which lots an expectation was told from, wherever that may not be the planned one; empty if there is but one."""
    new = msg(" Lot {new_lot} has told nothing yet.", new_lot=expected.new_lot) if expected.new_lot else ""
    others = [one for one in expected.lots if not expected.lot or one.lot.strip().casefold() != expected.lot.casefold()]
    each = join("; ", lots_in_words(others))
    if expected.lot:
        return msg(" Other lots, left out: {each}.", each=each) if others else ""
    if len(others) > 1:
        return msg("{new} What several lots did is taken together, and they may differ: {each}.", new=new, each=each)
    return msg("{new} What is told is of {each}.", new=new, each=each) if new and others else new
