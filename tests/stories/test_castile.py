"""A castile that wants two hundred days.

Ana (invented) pours all-olive soap once a year and lets it cure until the next spring. Her other soap is ready after
six weeks; it is not to wait for the castile, nor the castile to be sold too early.
"""

import pytest

from curejournal import workflow
from curejournal.judging.limits import LimitTooLoose
from curejournal.soap.lye_words import answer
from tests.stories.workshop import recipe

CASTILE = recipe({"olive": 1000}, 129.0, 260.0, name="Castile")
EVERYDAY = recipe({"olive": 500, "coconut": 300, "palm": 200}, 143.0, 290.0, name="Everyday")


@pytest.fixture
def both(workshop):
    workflow.set_recipe_rules(workshop.journal, "castile", {"min_age_days": 200}, "all olive: it lathers late")
    for code, name, of in (("C-1", "Castile", CASTILE), ("E-1", "Everyday", EVERYDAY)):
        workshop.pours(code, name, of, bars=10)
        workshop.dries(code, poured=0, until=60)
        workshop.looks(code, day=45)
        workshop.titrates(code, "bar 1", day=45)
    return workshop


def test_the_lye_is_answered_in_a_sentence(workshop):
    said = answer(workshop.lye(CASTILE))
    assert said.startswith("129\u00a0g of lye leaves some oil unsaponified: superfat 7%, likely 3 to 10")
    assert said.endswith("mostly because the saponification value of olive is known only as 184 to 196.")


def test_the_castile_waits_and_holds_nobody_up(both):
    assert both.asks("E-1", day=60).verdict == "ready"
    castile = both.asks("C-1", day=60)
    assert castile.verdict == "not yet"
    age = next(finding for finding in castile.findings if finding.check == "age")
    assert age.until == both.day(200), "two hundred days from its pour"
    with pytest.raises(workflow.NotReady):
        both.signs("C-1", day=60)


def test_the_reason_of_a_rule_is_kept_with_it(both):
    (rules,) = workflow.rule_sets(both.journal, both.journal.batch("C-1"))
    assert (rules.of, rules.why) == ("the recipe Castile", "all olive: it lathers late")
    assert workflow.rule_sets(both.journal, both.journal.batch("E-1")) == ()


def test_one_batch_may_be_stricter_still(both):
    at = both.day(3)
    workflow.set_batch_rules(both.journal, "E-1", {"min_age_days": 90}, "poured with much water", by=both.by, now=at)
    assert both.asks("E-1", day=60).verdict == "not yet"


@pytest.mark.parametrize(
    ("limits", "says"),
    [({"min_age_days": 21}, "laxer than 28"), ({"free_alkali_pct": 0.2}, "laxer"), ({"moon": 1}, "no limit")],
)
def test_no_rule_is_laxer_than_the_workshops(both, limits, says):
    with pytest.raises(LimitTooLoose, match=says):
        workflow.set_recipe_rules(both.journal, "Everyday", limits, "in a hurry")


def test_two_rule_sets_that_contradict_are_refused_with_what_to_do(both):
    """The recipe says 200 days, this batch says 60: nobody could tell which was meant."""
    with pytest.raises(LimitTooLoose, match="laxer than 200, the limit of the recipe Castile") as refused:
        workflow.set_batch_rules(
            both.journal, "C-1", {"min_age_days": 60}, "a market in May", by=both.by, now=both.day(9)
        )
    assert "change the limit of the recipe Castile first" in refused.value.do


def test_a_stricter_workshop_counts_for_all_recipes(both):
    from dataclasses import replace

    now = workflow.current_limits(both.journal)
    workflow.save_limits(both.journal, replace(now, min_age_days=250))
    assert workflow.limits_of(both.journal, both.journal.batch("C-1")).min_age_days == 250
