"""The colour that a portion is to have, from any of its sources, through a journal and on the command line."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from curejournal import workflow
from curejournal.base.errors import CureJournalError
from curejournal.batch.records import ColourReading, Event, Portion
from curejournal.journal.store import Journal, NewEntry
from curejournal.soap.recipe import Additive
from curejournal.workflow import materials
from tests.cli.test_commands import as_json, run
from tests.judging.batches import INTENDED, READY, RECIPE, day, reading, seen
from tests.scenes import draw_card
from tests.workflow.test_release import BY, start


@pytest.fixture
def pictured(journal: Journal) -> Journal:
    """A batch in the making, with a control and a reading of its batter, and a cured one of the same materials."""
    scented = replace(RECIPE, additives=(Additive("clove", "fragrance", 30.0, lot="K-1"),))
    start(journal, "old", READY, scented)
    records = [
        (50, Portion("cream", tolerance=2.5)),
        (50, Portion("plain", 1, control=True)),
        (50, Event("poured")),
        (50, reading((85.0, 2.0, 14.0))),
        (50.3, reading((87.0, 1.5, 13.0), portion="plain")),
    ]
    start(journal, "new", records, scented)
    return journal


SOURCES = {
    "cured earlier batch": ({"from_batch": "old", "from_portion": "cream"}, INTENDED, "old cream, read 13 Oct 2026"),
    "control portion": ({"from_portion": "plain"}, (87.0, 1.5, 13.0), "control plain"),
    "batter before fragrance": ({"reading": True}, (85.0, 2.0, 14.0), "batter before fragrance"),
    "swatch": ({"lab": (80.0, 3.0, 20.0)}, (80.0, 3.0, 20.0), "swatch as typed"),
}


@pytest.mark.parametrize("source", SOURCES)
def test_the_target_colour_comes_from_any_of_four_sources(pictured: Journal, source: str) -> None:
    how, lab, words = SOURCES[source]
    if "reading" in how:
        how = {"reading": pictured.batch("new").of(ColourReading)[0].id}
    before = workflow.judge_batch(pictured, "new", day(50.5))
    entry, _ = workflow.set_target(pictured, "new", "cream", source, by=BY, now=day(51), **how)
    portion = pictured.batch("new").portions[0]
    assert portion == entry.record
    assert (portion.target_source, portion.tolerance) == (source, 2.5)
    assert portion.target_lab == pytest.approx(lab, abs=2.5)
    assert portion.target_from.startswith(words)
    # It follows the old entry: what was judged before stays as it was.
    assert len(pictured.batch("new").of(Portion)) == 3
    assert workflow.judge_batch(pictured, "new", day(50.5)) == before
    assert workflow.judge_batch(pictured, "new", day(51)).journeys["cream"].target_lab == portion.target_lab


@pytest.mark.parametrize(
    ("portion", "source", "how"),
    [
        ("crema", "swatch", {"lab": INTENDED}),
        ("cream", "swatch", {}),
        ("cream", "swatch", {"lab": (140.0, 0.0, 0.0)}),
        ("cream", "cured earlier batch", {"from_batch": "nowhere"}),
        ("cream", "cured earlier batch", {"from_batch": "old", "from_portion": "topper"}),
        ("cream", "control portion", {"from_portion": "cream"}),
        ("cream", "batter before fragrance", {"reading": 1}),
        ("cream", "batter before fragrance", {}),
    ],
)
def test_a_colour_that_cannot_be_picked_is_refused_and_changes_nothing(
    pictured: Journal, portion: str, source: str, how: dict
) -> None:
    before = pictured.history("new")
    with pytest.raises(CureJournalError) as refused:
        workflow.set_target(pictured, "new", portion, source, by=BY, now=day(51), **how)
    assert refused.value.do
    assert pictured.history("new") == before


def test_before_its_first_photos_a_batch_is_told_what_its_materials_did(pictured: Journal) -> None:
    assert {plan.portion for plan in materials.expected(pictured, "new", day(50.5))} == {"cream"}
    (plan,) = materials.expected(pictured, "new", day(50.5))
    ((name, expected),) = plan.materials
    assert (name, expected.batches) == ("clove", 1)
    assert expected.back.interval[0] < expected.back.at < expected.back.interval[1]
    assert expected.back.at > day(50)
    pictured.add_many("new", [NewEntry(item[1], day(50 + item[0])) for item in seen("stays", (1, 4, 9, 15))], by=BY)
    assert materials.expected(pictured, "new", day(66)) == ()


@pytest.mark.usefixtures("same_database")
def test_a_target_colour_is_set_on_the_command_line(pictured: Journal, tmp_path: Path) -> None:
    here = pictured.location
    number = pictured.batch("new").of(ColourReading)[0].id
    photo = tmp_path / "swatch.jpg"
    photo.write_bytes(draw_card(workflow.find_card("window"), lab_in_window=(84.0, 2.0, 16.0), exposure_ev=-0.3).jpeg)
    for source, arguments in {
        "cured earlier batch": ("--like", "old"),
        "control portion": ("--control", "plain"),
        "batter before fragrance": ("--reading", number),
        "swatch": ("--lab", "81,2,15", "--tolerance", "2"),
    }.items():
        record = as_json("batch", "target", "new", "cream", *arguments, journal=here)["entry"]["record"]
        assert record["target_source"] == source
    record = as_json("batch", "target", "new", "cream", "--photo", photo, journal=here)["entry"]["record"]
    assert record["target_lab"] == pytest.approx([84.0, 2.0, 16.0], abs=1.0)
    assert (record["target_from"], record["tolerance"]) == ("swatch photographed with card window", 2.0)
    assert as_json("batch", "target", "new", "cream", journal=here, code=1)["error"]["do"]
    assert as_json("batch", "target", "new", "cream", "--lab", "8,2,1", "--like", "old", journal=here, code=1)["error"][
        "do"
    ]
    assert "Expected: cream: clove" in run("judge", "new", "--on", "2026-10-21T20:00", journal=here)
    assert as_json("judge", "new", "--on", "2026-10-21T20:00", journal=here)["expected"][0]["portion"] == "cream"
