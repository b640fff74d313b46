"""Signed acts, bars that leave and recalls, through a journal and on the command line."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import get_args

import pytest
from pypdf import PdfReader

from curejournal import workflow
from curejournal.base.errors import CureJournalError
from curejournal.batch.records import (
    Act,
    AlkaliTest,
    BarsOut,
    Decision,
    SurfaceNote,
    Weighing,
    WhyOut,
)
from curejournal.batch.validation import ImpossibleRecord
from curejournal.journal.errors import CodeInUse, SignatureStays
from curejournal.journal.store import Journal, NewEntry
from curejournal.judging.limits import RULES_EDITION
from curejournal.soap.recipe import Embed, Recipe
from curejournal.workflow import documents
from tests.cli.test_commands import as_json, run
from tests.judging.batches import (
    GOOD_METER,
    GOOD_TITRATION,
    HIGH_TITRATION,
    POURED,
    READY,
    RECIPE,
    day,
    without,
)

BY = "Kaja (invented)"
NOW = day(60)


def start(journal: Journal, code: str, records: Iterable[tuple], recipe: Recipe = RECIPE) -> None:
    workflow.start_batch(journal, code, f"Soap {code}", at=POURED, by=BY, now=NOW, records=[recipe])
    kept = [NewEntry(item[1], day(item[0])) for item in records if not isinstance(item[1], Recipe)]
    journal.add_many(code, kept, by=BY)


def sign(journal: Journal, code: str, act: str = "release", on: float = 45) -> Decision:
    entry = workflow.decide(journal, code, act, signed_by=BY, statement=f"I {act} it", on=day(on))
    assert isinstance(entry.record, Decision)
    return entry.record


@pytest.fixture
def family(journal: Journal) -> Journal:
    """A released batch with bars at a market, one with its pieces in it, and one with pieces of that."""
    start(journal, "A", READY)
    start(journal, "B", READY, replace(RECIPE, embeds=(Embed("A", 80.0),)))
    start(journal, "C", READY, replace(RECIPE, embeds=(Embed("b", 40.0),)))
    sign(journal, "A")
    sign(journal, "B")
    workflow.enter(journal, "A", BarsOut(6, "the market", "sold"), at=day(46), by=BY, now=NOW)
    workflow.enter(journal, "B", BarsOut(3, "a shop", "sold"), at=day(47), by=BY, now=NOW)
    return journal


@pytest.mark.parametrize("act", get_args(Act))
def test_every_act_freezes_its_evidence_and_the_rules_version(family: Journal, act: str) -> None:
    start(family, "X", READY)
    if act == "withdraw":
        sign(family, "X", on=44)
    if act == "lift hold":
        sign(family, "X", "hold", on=44)
    judged = workflow.judge_batch(family, "X", day(45))
    decision = sign(family, "X", act)
    assert decision.rules_version == judged.rules_version == workflow.current_limits(family).version
    assert json.loads(decision.evidence) == workflow.as_json(judged)
    # A correction of what the act stood on leaves the evidence as it was.
    weight = family.batch("X").of(Weighing)[0]
    changed = replace(weight.record, grams=weight.record.grams + 3, confirmed=True)
    workflow.enter(family, "X", changed, at=weight.at, by=BY, now=NOW, supersedes=weight.id, confirmed=True)
    assert workflow.judge_batch(family, "X", day(45)).drying != judged.drying
    (*_, (_, kept)) = family.batch("X").records(Decision)
    assert kept == decision


LEAN = replace(RECIPE, alkalis=(replace(RECIPE.alkalis[0], grams=75.0),))
"""So much fat over that no soap has it: edition 1 of the rules took it for a proven margin, edition 2 does not."""


def released_under(journal: Journal, code: str, version: str, recipe: Recipe = RECIPE, on: float = 45) -> None:
    """A batch that earlier rules let be released."""
    start(journal, code, [*without(READY, AlkaliTest), (40, GOOD_METER)], recipe)
    journal.add(code, Decision("release", BY, "I looked at every bar.", version, "{}"), at=day(on), by=BY)


@pytest.mark.parametrize("version", ["1", "1-0123abcd"])
def test_a_release_under_an_earlier_edition_says_so_and_what_todays_rules_say(journal: Journal, version: str) -> None:
    released_under(journal, "N", version)
    released_under(journal, "O", version, LEAN)
    same, other = (workflow.released_under(journal, code, NOW) for code in ("N", "O"))
    assert same is not None and other is not None
    assert (same.edition, same.released_at, same.releasable) == ("1", day(45), True)
    assert same.words == (
        f"Released under edition 1 of the rules; today's are edition {RULES_EDITION}. By these rules too it could "
        "have been released then."
    )
    assert not other.releasable and "lye margin: superfat" in other.said
    assert f"could not have been released then: {other.said}. Decide whether it stays on sale." in other.words
    # What is asked there is also what is next to do, as long as there are bars to decide about.
    assert workflow.judge_batch(journal, "N", NOW).next_step == "Nothing is due."
    asked = workflow.judge_batch(journal, "O", NOW)
    assert asked.next_step.startswith("Decide whether it stays on sale (now): by today's rules it could not have been")
    assert other.said in asked.next_step
    assert [batch.code for batch, _ in workflow.due_now(journal, NOW)] == ["O"]
    assert not workflow.judge_batch(journal, "O", day(45)).due, "not at the signature itself"
    # What was known when it was released counts, not what was entered for a later day.
    workflow.enter(journal, "N", HIGH_TITRATION, at=day(50), by=BY, now=NOW)
    assert workflow.released_under(journal, "N", NOW) == same
    assert workflow.released_under(journal, "N", day(44)) is None, "not released yet"
    sign(journal, "N", "withdraw", 51)
    assert workflow.released_under(journal, "N", NOW) is None


def test_a_release_under_todays_edition_has_no_word_on_it(family: Journal) -> None:
    strict = replace(workflow.current_limits(family), min_age_days=50)
    workflow.save_limits(family, strict)
    assert workflow.released_under(family, "A", NOW) is None, "other limits are no other edition"
    assert workflow.released_under(family, "C", NOW) is None, "nobody released it"


def test_pieces_that_todays_rules_hold_back_count_for_a_release_under_an_earlier_edition(journal: Journal) -> None:
    start(journal, "A", [*READY, (41, HIGH_TITRATION)])
    released_under(journal, "B", "1", replace(RECIPE, embeds=(Embed("A", 80.0),)))
    found = workflow.released_under(journal, "B", NOW)
    assert found is not None and not found.releasable and "pieces of batch A" in found.said


def test_the_command_line_and_the_record_say_under_which_edition_it_was_released(tmp_path: Path) -> None:
    where = tmp_path / "journal"
    with Journal.open(where) as journal:
        released_under(journal, "N", "1")
        released_under(journal, "O", "1", LEAN)
        sign(journal, "O", "hold", 50)
        sign(journal, "O", "lift hold", 51)
        released_under(journal, "P", "1", LEAN)
        words = {code: workflow.released_under(journal, code, NOW) for code in "NOP"}
        text = {
            code: " ".join(
                " ".join(
                    page.extract_text()
                    for page in PdfReader(BytesIO(documents.batch_record(journal, [code], NOW))).pages
                ).split()
            )
            for code in "NOP"
        }
    assert words["O"] is None
    for code in "NP":
        found = words[code]
        assert found is not None
        assert found.words in text[code]
        assert found.words in run("judge", code, "--on", f"{NOW:%Y-%m-%d}", journal=where)
        told = as_json("judge", code, "--on", f"{NOW:%Y-%m-%d}", journal=where)["other_edition"]
        assert (told["edition"], told["releasable"], told["said"]) == ("1", found.releasable, found.said)
    assert "under edition" not in text["O"]
    assert as_json("judge", "O", "--on", f"{NOW:%Y-%m-%d}", journal=where)["other_edition"] is None


def test_an_act_needs_a_name_and_a_statement(family: Journal) -> None:
    for name, statement in (("", "x"), (BY, " ")):
        with pytest.raises((ImpossibleRecord, CureJournalError)):
            workflow.decide(family, "C", "hold", signed_by=name, statement=statement, on=NOW)
    assert family.batch("C").of(Decision) == ()


def test_only_what_was_released_can_be_withdrawn(family: Journal) -> None:
    with pytest.raises(workflow.NotReady, match="never released"):
        sign(family, "C", "withdraw")
    sign(family, "A", "withdraw", 50)
    assert family.batch("A").released_at is None


def test_a_signature_is_answered_by_the_next_one_alone(family: Journal) -> None:
    release = family.batch("A").of(Decision)[-1]
    for act in (workflow.take_back, lambda j, entry, **how: workflow.undo(j, entry.id, **how)):
        with pytest.raises(SignatureStays, match=f"{re.escape(BY)} signed"):
            act(family, release, why="too early", by="Tarvo (invented)", now=NOW)
    assert family.batch("A").released_at is not None
    with pytest.raises(workflow.NotReady, match="No hold stands"):
        sign(family, "A", "lift hold", 50)
    sign(family, "A", "hold", 51)
    held = workflow.judge_batch(family, "A", day(51))
    assert held.verdict == "hold" and f"held by {BY}" in held.headline
    assert workflow.judge_batch(family, "B", day(51)).verdict == "hold", "its pieces are in it"
    sign(family, "A", "lift hold", 52)
    # What was signed before the hold does not come back with its end: a release is signed again.
    lifted = workflow.judge_batch(family, "A", day(52))
    assert (lifted.verdict, lifted.released_at) == ("ready", None)
    assert [thing.what for thing in lifted.due] == ["release"]
    assert workflow.judge_batch(family, "B", day(52)).verdict == "ready"
    with pytest.raises(workflow.NotReady, match="No hold stands"):
        sign(family, "A", "lift hold", 53)
    with pytest.raises(workflow.ReadingDoubtful, match="not released"):
        workflow.enter(family, "A", BarsOut(1, "a shop", "sold"), at=day(53), by=BY, now=NOW)
    sign(family, "A", "release", 54)
    assert [entry.record.act for entry in family.batch("A").of(Decision)] == [
        "release", "hold", "lift hold", "release",
    ]  # fmt: skip


def test_a_hold_is_lifted_on_the_command_line_and_undo_says_what_to_do_instead(tmp_path: Path) -> None:
    where = tmp_path / "journal"
    run("batch", "start", "B1", "--name", "Oat", journal=where)
    signed = as_json("batch", "hold", "B1", "--statement", "it smells", journal=where)
    refused = as_json("batch", "undo", signed["id"], "--why", "wrong batch", "--by", "Ott", code=1, journal=where)[
        "error"
    ]
    assert "Kaja (invented) signed" in refused["what"] and "lifted hold" in refused["do"]
    assert "held by Kaja" in as_json("judge", "B1", journal=where)["headline"]
    said = run("batch", "hold", "B1", "--lift", "--statement", "it was the room", "--by", "Ott", journal=where)
    assert said.startswith("B1: lift hold, signed by Ott: it was the room\nHead of the journal with it: ")
    assert "held" not in as_json("judge", "B1", journal=where)["headline"]
    words = [entry["words"] for entry in as_json("batch", "history", "B1", journal=where)["entries"]]
    assert words == ["hold, signed by Kaja (invented): it smells", "lift hold, signed by Ott: it was the room"]


def test_a_bad_reading_after_a_release_asks_for_all_that_it_reaches(family: Journal) -> None:
    assert workflow.recall(family, "A", NOW) == ()
    workflow.enter(family, "A", HIGH_TITRATION, at=day(50), by=BY, now=NOW)
    (found,) = workflow.recall(family, "A", NOW)
    assert [one.batch for one in found.reach] == ["A", "B", "C"]
    assert [(out.bars, out.to) for one in found.reach for out in one.gone] == [(6, "the market"), (3, "a shop")]
    assert "After the release of A (24 bars)" in found.words[0]
    assert "6 to the market on 17 Oct 2026" in found.words[0]
    assert workflow.judge_batch(family, "A", NOW).recall == found.words
    # Whoever looks at a batch with its pieces is asked the same.
    assert workflow.recall(family, "C", NOW) == (found,)
    sign(family, "A", "withdraw", 51)
    assert workflow.recall(family, "C", NOW) == ()


def test_a_bad_test_from_before_the_release_that_is_entered_later_asks_too(family: Journal) -> None:
    entry, _ = workflow.enter(family, "A", HIGH_TITRATION, at=day(44), by=BY, now=NOW)
    assert len(workflow.recall(family, "A", NOW)) == 1
    with pytest.raises(workflow.QuestionStands):
        workflow.take_back(family, entry, why="another batch's sample", by=BY, now=NOW)
    sign(family, "A", "keep on sale", 54)
    assert workflow.recall(family, "A", NOW) == ()
    workflow.take_back(family, entry, why="another batch's sample", by=BY, now=NOW)


def test_a_recipe_corrected_to_too_much_lye_after_the_release_asks_too(family: Journal) -> None:
    test = family.batch("A").of(AlkaliTest)[0]
    workflow.take_back(family, test, why="the acid was old", by=BY, now=NOW)
    much = replace(RECIPE, alkalis=(replace(RECIPE.alkalis[0], grams=190.0),))
    old = next(entry for entry in family.batch("A").entries if isinstance(entry.record, Recipe))
    workflow.enter(family, "A", much, at=old.at, by=BY, now=NOW, supersedes=old.id, confirmed=True)
    (found,) = workflow.recall(family, "A", NOW)
    assert "recipe as it was entered then" in found.words[0]


def test_bars_sold_unreleased_are_asked_about_at_once_and_again_when_a_test_is_bad(journal: Journal) -> None:
    start(journal, "A", READY)
    sold = BarsOut(2, "a neighbour", "sold")
    with pytest.raises(workflow.ReadingDoubtful, match="not released"):
        workflow.enter(journal, "A", sold, at=day(42), by=BY, now=NOW)
    workflow.enter(journal, "A", sold, at=day(42), by=BY, now=NOW, confirmed=True)
    workflow.enter(journal, "A", HIGH_TITRATION, at=day(43), by=BY, now=NOW)
    (found,) = workflow.recall(journal, "A", NOW)
    assert "went out unreleased" in found.words[0]
    assert "2 to a neighbour" in found.words[0]


def test_no_bar_is_released_with_pieces_of_a_held_batch_in_it(family: Journal) -> None:
    sign(family, "A", "hold", 50)
    with pytest.raises(workflow.NotReady, match=r"pieces of batch A.*signed hold"):
        sign(family, "C", on=52)
    sign(family, "A", "release", 53)
    sign(family, "C", on=54)
    assert family.batch("C").released_at == day(54)


def test_a_batch_with_pieces_of_a_held_one_says_so_also_when_it_is_on_sale(family: Journal) -> None:
    assert workflow.judge_batch(family, "B", day(52)).verdict == "ready"
    assert workflow.due_now(family, day(52))[0][0].code == "C"
    sign(family, "A", "hold", 50)
    on_sale, unsold = (workflow.judge_batch(family, code, day(52)) for code in ("B", "C"))
    for judged in (on_sale, unsold):
        assert judged.headline == "on hold: it has pieces of batch A in it, which is held back (signed hold)"
        assert (judged.verdict, judged.releasable) == ("hold", False)
    assert [thing.words for thing in on_sale.due] == ["Decide whether it stays on sale"]
    assert [thing.words for thing in unsold.due] == ["Decide whether it stays on hold"]
    assert {batch.code for batch, _ in workflow.due_now(family, day(52))} == {"A", "B", "C"}


def test_a_released_batch_stays_closed_while_its_bars_sell(family: Journal) -> None:
    assert "A" not in [touched.code for touched in family.underway()]
    workflow.enter(family, "A", GOOD_TITRATION, at=day(50), by=BY, now=NOW)
    assert "A" in [touched.code for touched in family.underway()]


def test_pieces_are_weighed_in_with_the_water_that_may_be_left_in_them(family: Journal) -> None:
    embed = workflow.embed_of(family, "A", 100.0, "cream", day(45))
    assert (embed.batch, embed.portion, embed.water_low_fraction) == ("A", "cream", 0.0)
    assert 0.05 < embed.water_high_fraction < 0.1


def test_pieces_of_a_batch_that_is_not_there_are_asked_about(family: Journal) -> None:
    with pytest.raises(workflow.ReadingDoubtful, match="no batch “Z”"):
        workflow.enter(family, "C", replace(RECIPE, embeds=(Embed("Z", 9.0),)), at=POURED, by=BY, now=NOW)


def test_pieces_of_a_held_batch_are_asked_about_before_they_are_poured_in(family: Journal) -> None:
    recipe = replace(RECIPE, embeds=(Embed("B", 9.0),))
    assert workflow.doubts_about_pieces(family, "D", recipe, NOW) == ()
    sign(family, "A", "hold", 50)  # whose pieces are in B
    (doubt,) = workflow.doubts_about_pieces(family, "D", recipe, NOW)
    assert "pieces of batch A in it, which is held back (signed hold)" in doubt.text
    with pytest.raises(workflow.ReadingDoubtful, match="held back"):
        workflow.enter(family, "C", recipe, at=POURED, by=BY, now=NOW)


@pytest.mark.parametrize("why", ["sold", "given"])
def test_bars_that_go_out_of_a_released_batch_that_a_check_holds_are_asked_about(family: Journal, why: WhyOut) -> None:
    out = BarsOut(1, "a friend", why)
    workflow.enter(family, "A", out, at=day(48), by=BY, now=NOW)
    workflow.enter(family, "A", SurfaceNote("orange spots"), at=day(50), by=BY, now=NOW)
    with pytest.raises(workflow.ReadingDoubtful, match=f"not to be {why} then: on hold: because of surface"):
        workflow.enter(family, "A", out, at=day(51), by=BY, now=NOW)
    workflow.enter(family, "A", out, at=day(49), by=BY, now=NOW)
    workflow.enter(family, "A", BarsOut(1, "", "scrapped"), at=day(51), by=BY, now=NOW)


def test_no_label_says_released_while_a_check_holds(family: Journal) -> None:
    def label() -> str:
        return PdfReader(BytesIO(documents.labels(family, "A", NOW, count=1))).pages[0].extract_text()

    assert "released" in label()
    workflow.enter(family, "A", SurfaceNote("orange spots"), at=day(50), by=BY, now=NOW)
    assert "on hold" in label() and "released" not in label()


@pytest.mark.parametrize("code", ["A", "a", " a "])
def test_no_two_batches_have_codes_that_differ_in_case_alone(family: Journal, code: str) -> None:
    with pytest.raises(CodeInUse, match="a batch A already"):
        start(family, code, READY)


# --- on the command line -------------------------------------------------------------------


@pytest.mark.usefixtures("same_database")
def test_signing_selling_and_recalling_on_the_command_line(family: Journal) -> None:
    here = family.location
    out = as_json(
        "batch", "out", "A", 2, "--to", "a friend", "--why", "given", "--at", "2026-11-01T10:00", journal=here
    )
    assert out["entry"]["record"] == {
        **{"bars": 2, "to": "a friend", "why": "given", "note": ""},
        **{"order": "", "contact": None},
    }
    assert "24 bars cut and 8 gone" in run("batch", "out", "A", 40, "--to", "x", journal=here, code=1)
    assert "sold, sample" in run("batch", "out", "A", 1, "--to", "x", "--why", "eaten", journal=here, code=1)
    assert "Released 16 Oct 2026." in run("judge", "A", "--on", "2026-10-20", journal=here)
    assert "add --confirmed" in run("batch", "note", "A", "cut", "--bars", 30, journal=here, code=1)
    assert "30 bars" in run("batch", "note", "A", "cut", "--bars", 30, "--confirmed", journal=here)
    family.add("A", HIGH_TITRATION, at=day(65), by=BY)
    shown = as_json("judge", "A", "--on", "2026-11-10", journal=here)
    assert [one["batch"] for one in shown["recalls"][0]["reach"]] == ["A", "B", "C"]
    assert [gone["to"] for gone in shown["recalls"][0]["reach"][0]["gone"]] == ["the market", "a friend"]
    said = run("judge", "C", "--on", "2026-11-10", journal=here)
    assert "Recall A? After the release of A (24 bars)" in said
    assert "Recall A? C Soap C has 40 g of batch b embedded in it" in said
    assert as_json("batch", "withdraw", "A", "--statement", "lye", journal=here)["record"]["act"] == "withdraw"
    assert as_json("batch", "hold", "C", "--statement", "pieces of A", journal=here)["record"]["rules_version"]
    assert as_json("judge", "C", journal=here)["recalls"] == []
    assert "A" in as_json("batch", "release", "C", "--statement", "x", journal=here, code=1)["error"]["what"]
