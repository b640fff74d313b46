"""The demo runs the real pipeline on rendered pictures, and comes to what is true in them."""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from curejournal import workflow
from curejournal.batch.records import ColourReading, Decision, PhotoNote
from curejournal.journal.store import Journal
from curejournal.workflow import documents
from curejournal.workflow.demo import build_demo, pictures_folder
from curejournal.workflow.photos import adding
from tests.rolls import analysed_once

FOLDER = pictures_folder()
TRUTH = tomllib.loads((FOLDER / "truth.toml").read_text("utf-8"))


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Journal]:
    journal = Journal.open(tmp_path_factory.mktemp("demo"))
    # Only what the demo may see: the pictures and the scenario, none of the truth.
    visible = tmp_path_factory.mktemp("visible")
    for file in [*FOLDER.glob("*.jpg"), FOLDER / "journal.toml"]:
        shutil.copy(file, visible / file.name)
    with pytest.MonkeyPatch.context() as patch:
        # Built a second time, it need not analyse the same pictures again.
        patch.setattr(adding, "analyse", analysed_once)
        build_demo(journal, visible)
        yield journal


@pytest.mark.parametrize("code", TRUTH["verdicts"])
def test_the_verdict_is_what_is_true(demo: Journal, code: str) -> None:
    now = workflow.calendar(demo, None)
    judgement = workflow.judge_batch(demo, code, now)
    assert judgement.verdict in TRUTH["verdicts"][code], judgement.findings
    for portion, states in TRUTH["states"][code].items():
        assert judgement.journeys[portion].state in states, portion


def test_the_measured_colours_are_near_the_truth(demo: Journal, record_property: Callable[[str, object], None]) -> None:
    errors, inside = [], []
    for head in demo.batches():
        batch = demo.batch(head.code)
        for entry in batch.of(ColourReading):
            name = demo.photo(entry.photo).facts.original_name
            areas = tomllib.loads((FOLDER / Path(name).with_suffix(".toml")).read_text("utf-8"))["lab"]
            truth, reading = np.array(areas[entry.record.portion]), entry.record
            errors.append(float(deltaE_ciede2000(reading.lab, truth)))
            away = np.array(reading.lab) - truth
            inside.append(away @ np.linalg.solve(np.array(reading.covariance), away) < 7.815)  # chi-square, 3 df, 95%
    median, p95 = np.percentile(errors, (50, 95))
    words = f"demo: {len(errors)} readings, ΔE00 median {median:.2f}, 95th percentile {p95:.2f}"
    record_property("figures", f"{words}; {np.mean(inside):.0%} within their 95% region")
    assert median < 1.1
    assert p95 < 2.5
    assert np.mean(inside) > 0.8


def test_one_batch_is_released_by_the_rules_and_some_of_it_sold(demo: Journal) -> None:
    (code,) = documents.offered(demo)
    batch = demo.batch(code)
    ((at, release),) = batch.records(Decision)
    assert release.act == "release"
    assert workflow.judge_batch(demo, code, at).releasable
    assert 0 < batch.bars_here < batch.bars_cut
    assert all("invented" in contact.name for contact in demo.contacts())


@pytest.mark.parametrize("file", TRUTH["refused"])
def test_what_cannot_be_measured_is_kept_for_the_story_without_a_colour(demo: Journal, file: str) -> None:
    for head in demo.batches():
        for entry in demo.batch(head.code).of(PhotoNote):
            if demo.photo(entry.photo).facts.original_name == file:
                assert entry.record.why_no_colour
                return
    pytest.fail(f"{file} is in no batch")


def test_building_it_again_changes_nothing(demo: Journal) -> None:
    before = {head.code: demo.history(head.code) for head in demo.batches()}
    build_demo(demo, FOLDER)
    assert {head.code: demo.history(head.code) for head in demo.batches()} == before


def test_the_journal_it_leaves_verifies(demo: Journal) -> None:
    assert demo.check() == ()
