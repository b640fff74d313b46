"""The verdict: ready only when it is known, with a date or a reason otherwise."""

import random
from dataclasses import replace

import pytest

from curejournal.batch.records import (
    AlkaliTest,
    BarsOut,
    ColourReading,
    Decision,
    Event,
    Portion,
    SurfaceNote,
    Weighing,
)
from curejournal.judging import judgement
from curejournal.judging.colour_states import State
from curejournal.judging.findings import Check, Finding, Verdict
from curejournal.judging.judgement import judge
from curejournal.judging.limits import Limits
from curejournal.soap.recipe import Alkali, Recipe
from tests.judging.batches import (
    BASICS,
    GOOD_METER,
    HIGH_METER,
    HIGH_TITRATION,
    INTENDED,
    LOW_STRIP,
    READY,
    RECIPE,
    batch,
    day,
    reading,
    seen,
    weighed,
    without,
)


def _judge(records, on=45, **kwargs):
    return judge(batch(*records), day(on), **kwargs)


def test_a_batch_with_all_its_evidence_is_ready():
    found = _judge(READY)
    assert (found.verdict, found.headline) == ("ready", "ready")
    assert "Review and release" in found.next_step
    assert [thing.what for thing in found.due] == ["release"]


@pytest.mark.parametrize("kind", [AlkaliTest, Weighing, Event, ColourReading])
def test_nothing_is_ready_without_its_evidence(kind):
    assert _judge(without(READY, kind)).verdict == "not yet"


def test_a_young_batch_is_told_its_date():
    found = _judge(READY, on=20)
    assert found.verdict == "not yet"
    young = (*BASICS, *weighed((1, 3, 7, 14, 21)), *seen("stays", (0.2, 1, 3, 7, 14, 21)), (21, GOOD_METER))
    found = _judge(young, on=22)
    assert found.headline.startswith("not yet: from about ")
    low, middle, high = found.from_about
    assert day(28) <= low <= middle
    # No end: at three weeks it may brown yet.
    assert high is None or middle <= high
    # Steady from day 25, shown by a second weighing a week later.
    assert low <= day(32) and (high is None or day(32) <= high)


def test_a_date_is_given_even_while_a_test_is_still_needed():
    found = _judge([*BASICS, *weighed((1, 3, 7, 14, 21)), *seen("stays", (0.2, 1, 3, 7, 14, 21))], on=22)
    assert found.headline.startswith("not yet: from about ")
    assert "still needed: an alkali test" in found.headline
    assert found.from_about[1] is not None


def test_no_day_that_is_over_is_given_while_a_weighing_is_missing():
    weighed_once_more = [*without(READY, Weighing), *weighed((1, 3, 7, 14, 21))]
    for on, more in ((45, ""), (300, "; still needed: a new photo with the card")):
        said = _judge(weighed_once_more, on=on).headline
        assert said == f"not yet: it may be ready; the checks below will show{more}"


def test_no_date_is_given_for_what_may_never_come():
    found = _judge([*BASICS, *weighed((1, 3, 7, 14, 21)), *seen("browns", (0.2, 1, 3, 7, 14, 21))], on=22)
    assert found.from_about == (None, None, None)
    assert "still browning" in found.headline and "from about" not in found.headline


def test_a_strip_never_makes_a_batch_ready():
    assert _judge([*without(READY, AlkaliTest), (40, LOW_STRIP)]).verdict == "not yet"


@pytest.mark.parametrize("bad", [HIGH_METER, HIGH_TITRATION])
def test_high_alkali_holds_whatever_else_says(bad):
    found = _judge([*READY, (43, bad)])
    assert found.verdict == "hold"
    assert found.headline.startswith("on hold: because of alkali") and found.hold_for == "safety"
    assert "do not sell" in found.next_step.lower()
    assert any("Lye burns" in caution for caution in found.cautions)


def test_a_batch_that_settled_off_colour_is_held_for_the_makers_decision():
    off = [*without(READY, ColourReading), *seen("settles off", (0.2, 1, 3, 7, 14, 21, 28, 35, 42))]
    found = _judge(off)
    assert found.verdict == "hold" and "Not a safety matter" in found.next_step
    lab = found.journeys["cream"].lab_now
    accepted = _judge([*off, (44, Portion("cream", target_lab=lab, target_source="swatch"))])
    assert accepted.verdict == "ready"


def test_what_comes_later_does_not_change_an_earlier_judgement():
    before = _judge(READY, on=30)
    after = _judge([*READY, (43, HIGH_TITRATION)], on=30)
    assert after.headline == before.headline
    assert after.drying == before.drying


def test_the_judgement_does_not_depend_on_the_order_of_entries():
    whole = batch(*READY)
    mixed = list(whole.entries)
    random.Random(4).shuffle(mixed)
    shuffled = replace(whole, entries=tuple(sorted(mixed, key=lambda entry: entry.at)))
    assert judge(shuffled, day(45)).headline == judge(whole, day(45)).headline
    assert judge(whole, day(45)) == judge(whole, day(45))


def test_an_empty_batch_is_not_yet_and_says_what_to_enter():
    found = judge(batch(), day(0))
    assert found.verdict == "not yet"
    assert "poured" in found.next_step
    assert found.due[0].what == "complete"
    assert found.headline.count("the pour") == 1, "nothing is asked for twice"


def test_stricter_house_rules_are_followed_and_named():
    strict = Limits(min_age_days=60)
    found = _judge(READY, rules=strict)
    assert found.verdict == "not yet"
    assert found.rules_version == strict.version != Limits().version


def test_the_due_list_names_what_and_why_soonest_first():
    things = judge(batch(*BASICS, *weighed((1,)), *seen("comes back", (0.2, 1))), day(3)).due
    assert {"weigh", "photograph", "test", "look"} <= {thing.what for thing in things}
    assert [thing.when for thing in things] == sorted(thing.when for thing in things)
    assert all(thing.words and thing.why for thing in things)
    weigh = next(thing for thing in things if thing.what == "weigh")
    assert weigh.when == day(8)


GOOD_STRIP, UNCLEAR_METER = LOW_STRIP, replace(GOOD_METER, ph=10.7)
MUCH_LYE = replace(RECIPE, alkalis=(Alkali("NaOH", 170.0),))


@pytest.mark.parametrize(
    ("records", "when", "words"),
    [
        ((), 21, "Test for alkali"),
        (((30, GOOD_STRIP),), 30, "Titrate, or see to what is missing"),
        (((30, UNCLEAR_METER),), 30, "Titrate"),
        (((30, HIGH_METER),), 37, "Titrate"),
        (((5, GOOD_METER),), 21, "Test for alkali by meter or titration"),
        (((30, HIGH_TITRATION), (33, GOOD_STRIP)), 37, "Titrate"),
        (((0, MUCH_LYE),), 21, "Titrate"),
        (((0, MUCH_LYE), (30, GOOD_METER)), 30, "Titrate"),
    ],
)
def test_the_test_that_is_due_is_the_one_that_would_tell(records, when, words):
    due = [thing for thing in _judge([*without(READY, AlkaliTest), *records]).due if thing.what == "test"]
    assert [(thing.when, thing.words) for thing in due] == [(day(when), words)]


def test_a_batch_held_for_its_surface_is_looked_at_again_a_week_later():
    due = _judge([*READY, (43, SurfaceNote("orange spots"))]).due
    assert [(thing.what, thing.when) for thing in due] == [("look", day(50))]


def test_nothing_is_weighed_or_looked_at_of_a_batch_of_which_no_bar_is_left():
    young = [*BASICS, (5, BarsOut(24, "", "scrapped"))]
    assert _judge(young, on=10).due == ()
    assert _judge([*BASICS, (5, BarsOut(23, "", "scrapped"))], on=10).due
    assert _judge([*BASICS, (5, BarsOut(23, "", "scrapped")), (6, BarsOut(1, "", "retained"))], on=10).due


RELEASE = Decision("release", "A. Tester", "ready", "1", "{}")


@pytest.mark.parametrize("later", [(50, HIGH_METER), (55, SurfaceNote("orange spots"))])
def test_a_bad_reading_after_the_release_raises_a_recall_question(later):
    assert _judge([*READY, (45, RELEASE)], on=60).recall == ()
    found = _judge([*READY, (45, RELEASE), later], on=60)
    assert len(found.recall) == 1
    assert "T-1" in found.recall[0] and "24 bars" in found.recall[0] and "called back" in found.recall[0]


def test_a_photo_of_another_portion_raises_no_question_about_a_colour_that_was_known_before():
    two = [*BASICS, (0, Portion("rim")), *seen("settles off", (0.2, 1, 3, 7, 14, 21, 28))]
    two += [(30, BarsOut(5, "a market", "sold")), *seen("stays", (1, 7, 40), portion="rim")]
    assert _judge(two, on=60).journeys["cream"].state is State.STABLE_OFF
    assert _judge(two, on=60).recall == ()
    (question,) = _judge([*two, *seen("settles off", (42,), seed=5)], on=60).recall
    assert "colour: cream: stable, off target" in question


def test_a_recall_question_is_due_until_it_is_answered():
    assert _judge([*READY, (45, RELEASE)], on=60).due == ()
    found = _judge([*READY, (45, RELEASE), (50, HIGH_METER)], on=60)
    assert [(thing.what, thing.words, thing.why) for thing in found.due] == [
        ("decide", "Decide whether it stays on sale", found.recall[0])
    ]


def test_a_recall_question_stays_until_a_later_act_answers_it():
    bad = [*READY, (45, RELEASE), (50, HIGH_METER)]
    assert _judge([*bad, (49, replace(RELEASE, act="hold"))], on=60).recall
    assert _judge([*bad, (51, replace(RELEASE, act="withdraw"))], on=60).recall == ()


def test_a_colour_that_goes_off_after_the_release_is_asked_about():
    brown = reading((70.0, 8.0, 24.0))
    later = [(d, brown, f"late {d}") for d in (52, 58, 64, 70)]
    found = _judge([*READY, (45, RELEASE), *later], on=71)
    assert any("colour" in question for question in found.recall)


def test_a_withdrawn_release_is_no_release():
    withdrawn = replace(RELEASE, act="withdraw")
    assert _judge([*READY, (45, RELEASE)], on=60).released_at == day(45)
    assert _judge([*READY, (45, RELEASE), (46, withdrawn)], on=60).released_at is None


def test_readings_of_a_portion_that_was_never_entered_are_followed():
    found = _judge([*BASICS, (5, reading(INTENDED, portion="topper"), "p")])
    assert "topper" in found.journeys


def test_cautions_defer_to_local_codes():
    assert any("local codes" in caution for caution in _judge(READY).cautions)


def test_a_batch_without_recipe_is_judged_on_the_rest():
    found = _judge(without(READY, Recipe))
    assert found.lye is None and found.verdict == "not yet"
    assert {finding.check: finding.verdict for finding in found.findings}["drying"] == "pass"


@pytest.mark.parametrize(("act", "word"), [("hold", "held"), ("withdraw", "withdrawn")])
def test_a_signed_hold_stands_in_the_verdict_until_a_release_is_signed(act, word):
    kept_back = [*READY, (45, RELEASE), (46, replace(RELEASE, act=act))]
    found = _judge(kept_back, on=50)
    since = f"{day(46).day} {day(46):%B} {day(46).year}"
    assert (found.verdict, found.headline) == ("hold", f"on hold: {word} by A. Tester since {since}")
    assert found.releasable and found.from_about == (None, None, None)
    assert [thing.words for thing in found.due] == ["Decide whether it stays on hold"]
    assert _judge(kept_back, on=45.5).verdict == "ready"
    assert _judge([*kept_back, (51, RELEASE)], on=55).verdict == "ready"


def test_a_signed_hold_and_a_check_that_holds_are_both_named():
    found = _judge([*READY, (46, replace(RELEASE, act="hold")), (47, HIGH_METER)], on=50)
    assert found.headline.startswith("on hold: held by A. Tester since ") and "; because of alkali" in found.headline
    assert not found.releasable


def test_a_signed_hold_leaves_what_is_still_needed_in_sight():
    young = [*without(READY, AlkaliTest), (44, replace(RELEASE, act="hold"))]
    found = _judge(young, on=45)
    assert (
        found.headline.startswith("on hold: held by A. Tester") and "; still needed: an alkali test" in found.headline
    )


def test_a_rule_of_the_makers_own_that_holds_is_theirs_to_decide_and_not_called_a_colour(monkeypatch):
    light = Finding("bar weight", Verdict.HOLD, "one bar is light", "80 g", "house rule", advice="Set it aside.")
    own = Check("bar weight", lambda context: light, "", needed=False, safety=False, source="house rule", rank=80)
    monkeypatch.setattr(judgement, "CHECKS", (*judgement.CHECKS, own))
    found = _judge(READY)
    assert (found.word, found.hold_for, found.releasable) == ("decide", "rule", False)
    assert [(task.what, task.why) for task in found.due] == [("decide", "one bar is light")]
