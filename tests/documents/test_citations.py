"""No paper bears a drafting note."""

from dataclasses import fields

import pytest

from curejournal.documents.citations import citation, rule_and_source
from curejournal.judging.judgement import judge
from curejournal.judging.limits import Limits
from tests.judging.batches import READY, batch, day


@pytest.mark.parametrize(
    ("source", "said"),
    [
        ("IS 2888:2004, all grades [looked up: transcriptions]", "IS 2888:2004, all grades"),
        ("four to six weeks is the habit [common practice, no source]", ""),
        ("ours: longer than a turn lasts", ""),
        (
            "house rule; most soaps read 9 to 10, Tarun et al. 2014, PMC4171909",
            "most soaps read 9 to 10, Tarun et al. 2014, PMC4171909",
        ),
        ("ISO 22716 themes [from memory]; local codes decide", "local codes decide"),
    ],
)
def test_a_source_is_a_citation_or_nothing(source, said):
    assert citation(source) == said


def test_no_rule_on_paper_has_a_note_in_brackets():
    sources = [str(limit.metadata["source"]) for limit in fields(Limits)]
    told = [rule_and_source(one.rule, one.source) for one in judge(batch(*READY), day(50)).findings]
    assert not any("[" in text for text in (*map(citation, sources), *told))
