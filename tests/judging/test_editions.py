"""A change that alters a verdict increments the edition of the rules."""

from datetime import datetime

import pytest

from curejournal.judging.limits import RULES_EDITION
from tests.judged import FOLDER, as_batch, kept, said

ROWS = kept() if (FOLDER / f"edition-{RULES_EDITION}.json").exists() else []


def test_the_edition_in_force_has_its_judged_batches():
    assert ROWS, f"run python -m tests.judged, and keep the file of edition {RULES_EDITION}"


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["code"])
def test_a_verdict_changes_only_with_the_edition(row):
    told = said(as_batch(row), datetime.fromisoformat(row["on"]))
    assert told == row["said"], "a verdict changed: increment limits.RULES_EDITION, then run python -m tests.judged"


def test_the_kept_batches_differ_enough_to_notice_a_change():
    outcomes = {tuple(row["said"].values()) for row in ROWS}
    assert {row["said"]["verdict"] for row in ROWS} == {"ready", "not yet", "hold"} and len(outcomes) >= 12
