"""The checks, one by one, and the limits in force."""

from dataclasses import fields, replace

import pytest

from curejournal.batch.records import AlkaliTest, Event, Portion, ScalarReading, SurfaceNote, Weighing
from curejournal.judging.checks import CHECKS
from curejournal.judging.checks.age import age
from curejournal.judging.checks.alkali import alkali
from curejournal.judging.checks.colour import colour
from curejournal.judging.checks.lye_margin import lye_margin
from curejournal.judging.checks.surface import surface
from curejournal.judging.context import build_context
from curejournal.judging.findings import Verdict
from curejournal.judging.limits import Limits, LimitTooLoose
from curejournal.soap.recipe import Recipe
from tests.judging.batches import (
    BASICS,
    GOOD_METER,
    GOOD_TITRATION,
    HIGH_METER,
    HIGH_TITRATION,
    INTENDED,
    LOW_STRIP,
    READY,
    RECIPE,
    batch,
    day,
    seen,
    weighed,
    without,
)

RULES = tuple(check.function for check in CHECKS)
RATHER_HIGH_METER = replace(HIGH_METER, ph=11.3)
HIGH_STRIP = AlkaliTest("strip", ph=12.0, half_width=0.5, strength_pct=1.0)


def _context(records, on=45, rules=None):
    return build_context(batch(*records), day(on), rules or Limits())


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
@pytest.mark.parametrize("records", [READY, BASICS, ()], ids=["ready", "just poured", "empty"])
def test_every_rule_says_what_it_found_by_which_rule_from_where(rule, records):
    finding = rule(_context(records))
    assert finding.words and finding.rule and finding.source
    assert all(isinstance(unit, str) and value == value for value, unit in finding.figures.values())
    if finding.verdict in (Verdict.PENDING, Verdict.HOLD):
        assert finding.advice or finding.until is not None
    assert not finding.needs or finding.verdict in (Verdict.PENDING, Verdict.UNKNOWN)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_every_check_passes_on_a_ready_batch(rule):
    assert rule(_context(READY)).verdict is Verdict.PASS


@pytest.mark.parametrize("limit", fields(Limits), ids=lambda limit: limit.name)
def test_no_limit_can_be_loosened_to_nonsense(limit):
    assert limit.metadata["source"]
    for end in ("low", "high"):
        Limits(**{limit.name: limit.metadata[end]})
    for value in (limit.metadata["low"] - 0.01, limit.metadata["high"] + 0.01, float("nan")):
        with pytest.raises(LimitTooLoose):
            Limits(**{limit.name: value})


def test_the_version_names_the_limits():
    assert Limits().version == Limits().version
    assert Limits(min_age_days=28.0).version == Limits().version
    assert Limits(min_age_days=42).version != Limits().version


@pytest.mark.parametrize(
    ("tests", "verdict"),
    [
        ([], Verdict.UNKNOWN),
        ([LOW_STRIP], Verdict.UNKNOWN),
        ([GOOD_METER], Verdict.PASS),
        ([GOOD_TITRATION], Verdict.PASS),
        ([HIGH_STRIP], Verdict.HOLD),
        ([HIGH_METER], Verdict.HOLD),
        ([HIGH_TITRATION], Verdict.HOLD),
        # A hold is lifted only by a later good test of the same or a stronger kind.
        ([HIGH_METER, LOW_STRIP], Verdict.HOLD),
        # Once the reaction is over, titration alone lifts a high reading; contradictions are not averaged away.
        ([HIGH_METER, GOOD_METER], Verdict.HOLD),
        ([RATHER_HIGH_METER, GOOD_TITRATION], Verdict.PASS),
        # From pH 11.5 at 1% it is never for sale, whatever is titrated later.
        ([HIGH_METER, GOOD_TITRATION, GOOD_TITRATION, GOOD_TITRATION], Verdict.HOLD),
        ([HIGH_TITRATION, GOOD_METER], Verdict.HOLD),
        ([HIGH_TITRATION, GOOD_TITRATION], Verdict.HOLD),
        ([HIGH_TITRATION, GOOD_TITRATION, GOOD_TITRATION, GOOD_TITRATION], Verdict.PASS),
        ([HIGH_STRIP, LOW_STRIP], Verdict.HOLD),
        ([GOOD_TITRATION, HIGH_STRIP], Verdict.HOLD),
        ([GOOD_METER, AlkaliTest("meter", ph=10.8, half_width=0.1, strength_pct=1.0)], Verdict.PASS),
        ([replace(GOOD_METER, strength_pct=None)], Verdict.UNKNOWN),
        ([replace(GOOD_METER, strength_pct=0.05)], Verdict.UNKNOWN),
        # Never checked, so unusable: no crash and no clearance.
        ([AlkaliTest("titration")], Verdict.UNKNOWN),
        ([AlkaliTest("meter", ph=99.0)], Verdict.UNKNOWN),
    ],
)
def test_alkali_holds_and_is_lifted_by_the_right_tests(tests, verdict):
    records = [*BASICS, *((20 + 5 * i, test) for i, test in enumerate(tests))]
    assert alkali(_context(records)).verdict is verdict


def test_a_ph_never_for_sale_says_what_to_do_and_before_the_reaction_is_over_it_is_lifted():
    late = [*BASICS, (20, HIGH_METER), (25, GOOD_TITRATION)]
    assert "No later test lifts this. If the reading was wrong, undo it" in alkali(_context(late)).advice
    early = [*BASICS, (3, replace(HIGH_METER, ph=12.8)), (25, GOOD_TITRATION)]
    assert alkali(_context(early)).verdict is Verdict.PASS


def test_a_good_titration_that_settles_nothing_says_why():
    close = AlkaliTest("titration", soap_g=5.0, acid_ml=(0.54,), acid_mol_l=0.1)
    found = alkali(_context([*BASICS, (40, close)]))
    assert found.verdict is Verdict.UNKNOWN and "too near the limit (chance of too much:" in found.words


def test_a_usual_ph_alone_clears_nothing_where_the_recipe_does_not():
    records = [*without(BASICS, Recipe), (30, GOOD_METER)]
    assert alkali(_context(records)).verdict is Verdict.UNKNOWN
    heavy = replace(RECIPE, alkalis=(replace(RECIPE.alkalis[0], grams=153.0),))
    records = [*without(BASICS, Recipe), (0, heavy), (30, GOOD_METER)]
    assert alkali(_context(records)).verdict is Verdict.UNKNOWN
    assert lye_margin(_context(records)).verdict is Verdict.PENDING
    records.append((32, GOOD_TITRATION))
    assert alkali(_context(records)).verdict is Verdict.PASS
    assert lye_margin(_context(records)).verdict is Verdict.PASS


def test_a_recipe_below_zero_is_held_until_titrated():
    heavy = replace(RECIPE, alkalis=(replace(RECIPE.alkalis[0], grams=170.0),))
    assert lye_margin(_context([*without(BASICS, Recipe), (0, heavy)])).verdict is Verdict.HOLD


@pytest.mark.parametrize(("naoh_g", "proven"), [(115.0, True), (85.0, False), (14.6, False)])
def test_a_recipe_that_no_soap_can_have_proves_no_margin(naoh_g, proven):
    """Lye mistyped by a factor of ten leaves 90% of the fat over: nothing that a usual pH could rest on."""
    slipped = replace(RECIPE, alkalis=(replace(RECIPE.alkalis[0], grams=naoh_g),))
    found = _context([*without(BASICS, Recipe), (0, slipped), (40, GOOD_METER)])
    assert found.margin_proven == proven
    assert (lye_margin(found).verdict is Verdict.PASS) == (alkali(found).verdict is Verdict.PASS) == proven
    assert proven or "a weight in the recipe is wrong" in lye_margin(found).words
    assert lye_margin(_context([*without(BASICS, Recipe), (0, slipped), (40, GOOD_TITRATION)])).verdict is Verdict.PASS


def test_a_titration_too_coarse_for_the_limit_says_so():
    coarse = AlkaliTest("titration", soap_g=1.0, acid_ml=(0.1,), acid_mol_l=0.1)
    found = alkali(_context([*BASICS, (40, coarse)]))
    assert found.verdict is Verdict.UNKNOWN
    assert "too coarse to tell whether it is at most 0.05%; titrate more soap" in found.words


def test_a_ph_that_the_house_rules_do_not_take_is_not_just_called_usual():
    found = alkali(_context([*BASICS, (40, GOOD_METER)], rules=Limits(ph_usual_to=10.0)))
    assert found.verdict is Verdict.UNKNOWN and "above the 10 of the rules in force" in found.words


def test_a_day_counts_once_it_is_over():
    assert age(_context(BASICS, on=27.9)).words == "27 of 28 days"
    assert age(_context(BASICS, on=28)).verdict is Verdict.PASS


def test_a_titration_that_straddles_the_limit_tells_nothing():
    # 0.048% with an interval beyond 0.05%: the interval's upper end counts.
    straddling = AlkaliTest("titration", soap_g=5.0, acid_ml=(0.62,), acid_mol_l=0.1, blank_ml=0.02)
    assert alkali(_context([*BASICS, (30, straddling)])).verdict is Verdict.UNKNOWN


def test_free_alkali_grows_as_the_bar_dries():
    near = AlkaliTest("titration", soap_g=10.0, acid_ml=(1.16, 1.16, 1.16), acid_mol_l=0.1)
    early, late = [*BASICS, (14, near), *weighed((1, 3, 7, 14, 21, 28, 35, 42))], [*BASICS, (14, near)]
    assert alkali(_context(late)).verdict is Verdict.PASS
    found = alkali(_context(early))
    assert found.verdict is Verdict.UNKNOWN and "drier" in found.words


@pytest.mark.parametrize(
    ("look", "verdict"),
    [
        ("clear", Verdict.PASS),
        ("ash", Verdict.PASS),
        ("sweat", Verdict.PENDING),
        ("orange spots", Verdict.HOLD),
        ("lye pocket", Verdict.HOLD),
        ("weeping", Verdict.HOLD),
    ],
)
def test_the_last_look_at_the_surface_counts(look, verdict):
    assert surface(_context([*BASICS, (20, SurfaceNote("clear")), (30, SurfaceNote(look))])).verdict is verdict


def test_what_spots_are_is_not_claimed_but_what_they_often_are():
    """A look is no diagnosis: rust or colourant makes orange spots too [common practice, no source]."""
    found = surface(_context([*BASICS, (30, SurfaceNote("orange spots"))]))
    assert "often" in found.words and "smell" in found.advice


def test_a_lye_pocket_is_not_undone_by_another_bar_on_the_same_day():
    notes = [(30, SurfaceNote("lye pocket")), (30.1, SurfaceNote("clear"))]
    assert surface(_context([*BASICS, *notes])).verdict is Verdict.HOLD


@pytest.mark.parametrize("look", ["orange spots", "weeping"])
def test_what_holds_at_the_surface_is_undone_only_by_a_later_look_that_finds_it_clear(look):
    spotted = [*BASICS, (30, SurfaceNote(look)), (33, SurfaceNote("ash")), (35, SurfaceNote("sweat"))]
    found = surface(_context(spotted))
    assert found.verdict is Verdict.HOLD and f"{day(30).day} {day(30):%B}" in found.words
    assert surface(_context([*spotted, (37, SurfaceNote("clear"))])).verdict is Verdict.PASS
    assert surface(_context([*spotted, (37, SurfaceNote("clear")), (38, SurfaceNote("ash"))])).verdict is Verdict.PASS


@pytest.mark.parametrize(
    ("journey", "verdict"),
    [("comes back", Verdict.PASS), ("stays", Verdict.PASS), ("browns", Verdict.PENDING), ("settles off", Verdict.HOLD)],
)
def test_colour_waits_for_what_moves_and_holds_what_settled_off(journey, verdict):
    found = colour(_context([*BASICS, *seen(journey, (0.2, 1, 3, 7, 14, 21, 28, 35, 42))]))
    assert found.verdict is verdict
    if verdict is Verdict.HOLD:
        assert "Not a safety matter" in found.advice


def test_no_target_colour_and_no_photos_hold_nobody_up():
    plain = [*without(BASICS, Portion), (0, Portion("plain"))]
    assert colour(_context(plain)).verdict is Verdict.UNKNOWN
    assert colour(_context(BASICS)).verdict is Verdict.PENDING


def test_the_worst_portion_speaks_for_the_batch():
    records = [
        *READY,
        (0, Portion("swirl", order=1, target_lab=INTENDED)),
        *seen("settles off", (0.2, 1, 3, 7, 14, 21, 28, 35, 42), portion="swirl"),
    ]
    found = colour(_context(records))
    assert found.verdict is Verdict.HOLD and "swirl" in found.words and "cream" not in found.words


def test_missing_records_are_named():
    found = {rule.__name__: rule(_context(without(READY, Recipe))) for rule in RULES}
    assert "recipe" in found["record_complete"].words
    assert found["lye_margin"].verdict is Verdict.UNKNOWN
    unnoted = [rule(_context(without(READY, Event))) for rule in RULES]
    assert "pour" in {f.check: f for f in unnoted}["record complete"].words


def test_a_damp_room_is_shown_with_the_drying_and_advised_against():
    damp = [(18, ScalarReading("room humidity", 72.0)), (20, ScalarReading("room humidity", 68.0))]
    young = [*BASICS, *weighed((1, 7, 14, 21)), *damp]
    found = {rule.__name__: rule(_context(young, on=22)) for rule in RULES}["drying"]
    assert found.figures["room humidity, two weeks"] == (70.0, "% RH")
    assert "Dry the room" in found.advice


def test_weights_that_were_never_taken_are_not_known():
    found = {rule.__name__: rule(_context(without(READY, Weighing))) for rule in RULES}["drying"]
    assert found.verdict is Verdict.UNKNOWN and "Weigh" in found.advice
