"""What every batch under way asks for: the ones touched last at once, all others while the page can be left.

Only what is due is kept of each, so that a journal of any size opens as fast as a small one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import NamedTuple

from curejournal import workflow
from curejournal.cure.due import DueThing
from curejournal.cure.judgement import Judgement
from curejournal.cure.lineage import descendants
from curejournal.journal.store import Journal
from curejournal.journal.underway import Touched
from curejournal.ui import cache, work
from curejournal.ui.page import Desk

AT_ONCE = 20
"""Batches that are judged before *today* is shown, half a second of work. Ours."""
NAME = "look at all"


@dataclass(frozen=True)
class Glance:
    """A batch under way: what is due in it, the recall questions about it, and if it is held, what has pieces of it."""

    code: str
    name: str
    due: tuple[DueThing, ...]
    recall: tuple[str, ...]
    reach: tuple[str, ...] = ()


class Looked(NamedTuple):
    """As of what a batch was looked at: its last entry, the hour, the rules."""

    last_entry: int
    hour: datetime
    rules: str


@dataclass(frozen=True)
class Seen:
    """The batches that were looked at, the one touched last first; and how many wait."""

    glances: tuple[Glance, ...]
    waiting: int

    def due(self) -> list[tuple[Glance, DueThing]]:
        """What is due, most pressing first."""
        return sorted(((one, thing) for one in self.glances for thing in one.due), key=lambda pair: pair[1].when)


def look(desk: Desk) -> Seen:
    """Look at all batches under way, as far as that is quick; the rest is begun as work that goes on by itself."""
    known: dict[str, tuple[Looked, Glance]] = cache.kept(desk, "glances")
    hour, rules = cache.hour(desk), workflow.house_rules(desk.journal).version
    underway, on_sale = desk.journal.underway(), desk.journal.released_otherwise()
    waiting: list[tuple[Touched, Looked]] = []
    glances: dict[str, Glance] = {}
    # Of what is on sale, what other rules let go may ask for a decision.
    for touched in (*underway, *on_sale):
        as_of = Looked(touched.last_entry, hour, rules)
        seen = known.get(touched.code)
        if seen is None or seen[0] != as_of:
            if len(glances) >= AT_ONCE:
                waiting.append((touched, as_of))
                continue
            seen = known[touched.code] = (as_of, _glance(desk, touched.code))
        glances[touched.code] = seen[1]
    codes = {touched.code for touched in underway}
    for code in known.keys() - codes - {touched.code for touched in on_sale}:
        known.pop(code, None)
    # What is on sale with pieces of a held batch in it is no longer under way, but asks for a decision.
    for code in [code for glance in glances.values() for code in glance.reach if code not in codes]:
        glances[code] = _glance(desk, code)
    if waiting:
        place = str(desk.journal.location)
        work.begin(place, NAME, "Looking at all batches", partial(_rest, desk.journal, desk.now, known, waiting))
    return Seen(tuple(glances.values()), len(waiting))


def _glance(desk: Desk, code: str) -> Glance:
    batch = desk.journal.batch(code)
    return _at_a_glance(desk.journal, batch.code, batch.name, cache.judged(desk, batch))


def _at_a_glance(journal: Journal, code: str, name: str, judgement: Judgement) -> Glance:
    ways = descendants(journal.all_batches(), code) if judgement.verdict == "hold" else ()
    return Glance(code, name, judgement.due, judgement.recall, tuple(way[-1] for way in ways))


def _rest(
    journal: Journal,
    now: datetime,
    known: dict[str, tuple[Looked, Glance]],
    waiting: Sequence[tuple[Touched, Looked]],
    tell: work.Tell,
) -> None:
    names = journal.names()
    for number, (touched, as_of) in enumerate(waiting):
        tell(number / len(waiting), f"{number} of {len(waiting)}")
        judgement = workflow.judge_batch(journal, touched.code, now)
        known[touched.code] = (as_of, _at_a_glance(journal, touched.code, names[touched.code], judgement))
