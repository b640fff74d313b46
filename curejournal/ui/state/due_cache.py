"""What every batch under way asks for: the ones touched last at once, all others while the page can be left.

Only what is due is kept of each, so that a journal of any size opens as fast as a small one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import NamedTuple

from curejournal import workflow
from curejournal.base.messages import msg
from curejournal.batch.records import Batch
from curejournal.documents.ribbon import main_portion, strip_html
from curejournal.journal.store import Journal
from curejournal.judging.judgement import Judgement
from curejournal.judging.tasks import Task
from curejournal.judging.traceability import ancestors, descendants, parents
from curejournal.ui.page import Desk
from curejournal.ui.state import background, cache
from curejournal.workflow.photos.showing import Shown, cover, shown_photos
from curejournal.workflow.room import room_state

AT_ONCE = 20
"""Batches that are judged before *today* is shown, half a second of work. Ours."""
NAME = msg("look at all")


@dataclass(frozen=True)
class Glance:
    """A batch under way: what is due in it, the recall questions about it, and if it is held, what has pieces of it.

    `pieces` are the batches that have pieces in it: what is held of them holds it too. `held` says that it is on hold.
    `picture` and `ribbon` (as HTML) are what it is shown by.
    """

    code: str
    name: str
    due: tuple[Task, ...]
    recall: tuple[str, ...]
    reach: tuple[str, ...] = ()
    pieces: tuple[str, ...] = ()
    held: bool = False
    state: str = ""
    picture: Shown | None = None
    ribbon: str = ""


class Looked(NamedTuple):
    """As of what a batch was looked at: its last entry, the hour, rules and room, the last entries of what is in it."""

    last_entry: int
    hour: datetime
    rules: tuple[str, tuple[int, int]]
    pieces: tuple[int, ...]


@dataclass(frozen=True)
class Seen:
    """The batches that were looked at, the one touched last first; and how many wait."""

    glances: tuple[Glance, ...]
    waiting: int

    def due(self) -> list[tuple[Glance, Task]]:
        """What is due, most pressing first: that of batches on hold above all."""
        every = ((one, thing) for one in self.glances for thing in one.due)
        return sorted(every, key=lambda pair: (not pair[0].held, pair[1].when))


def look(desk: Desk) -> Seen:
    """Look at all batches under way, as far as that is quick; the rest is begun as work that goes on by itself."""
    known: dict[str, tuple[Looked, Glance]] = cache.kept(desk, "glances")
    hour, rules = cache.hour(desk), (workflow.rules_state(desk.journal), room_state(desk.journal))
    underway, on_sale = desk.journal.underway(), desk.journal.released_otherwise()
    # Of what is on sale, what other rules let go may ask for a decision.
    last = {touched.code: touched.last_entry for touched in (*underway, *on_sale)}

    def as_of(glance: Glance) -> Looked:
        return Looked(last[glance.code], hour, rules, tuple(last.get(code, 0) for code in glance.pieces))

    waiting: list[str] = []
    glances: dict[str, Glance] = {}
    for code in last:
        seen = known.get(code)
        if seen is None or seen[0] != as_of(seen[1]):
            if len(glances) >= AT_ONCE:
                waiting.append(code)
                continue
            glance = _glance(desk, code)
            seen = known[code] = (as_of(glance), glance)
        glances[code] = seen[1]
    codes = {touched.code for touched in underway}
    for code in known.keys() - last.keys():
        known.pop(code, None)
    # What is on sale with pieces of a held batch in it is no longer under way, but asks for a decision.
    for code in [code for glance in glances.values() for code in glance.reach if code not in codes]:
        glances[code] = _glance(desk, code)
    if waiting:
        place = str(desk.journal.location)
        background.begin(
            place, NAME, msg("Looking at all batches"), partial(_rest, desk.journal, desk.now, known, waiting, as_of)
        )
    return Seen(tuple(glances.values()), len(waiting))


def _glance(desk: Desk, code: str) -> Glance:
    batch = desk.journal.batch(code)
    return _at_a_glance(desk.journal, batch, cache.judged(desk, batch))


def _at_a_glance(journal: Journal, batch: Batch, judgement: Judgement) -> Glance:
    code = batch.code
    ways = descendants(journal.all_batches(), code) if judgement.verdict == "hold" else ()
    pieces = ancestors(journal.all_batches(), code) if parents(batch.recipe) else ()
    reach = tuple(way[-1] for way in ways)
    held = judgement.word == "on hold"
    picture = cover(shown_photos(batch), main_portion(judgement.journeys))
    ribbon = strip_html(judgement.journeys, judgement.on)
    codes = tuple(piece.code for piece in pieces)
    return Glance(
        code, batch.name, judgement.due, judgement.recall, reach, codes, held, judgement.word, picture, ribbon
    )


def _rest(
    journal: Journal,
    now: datetime,
    known: dict[str, tuple[Looked, Glance]],
    waiting: Sequence[str],
    as_of: Callable[[Glance], Looked],
    tell: background.Tell,
) -> None:
    for number, code in enumerate(waiting):
        tell(number / len(waiting), msg("{the_number} of {waiting}", the_number=number, waiting=len(waiting)))
        glance = _at_a_glance(journal, journal.batch(code), workflow.judge_batch(journal, code, now))
        known[code] = (as_of(glance), glance)
