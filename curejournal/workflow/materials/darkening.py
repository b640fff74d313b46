"""The moment a batter darkens: what all earlier batches with these materials say, or which photo to take when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from curejournal.base.messages import join, msg, msg_n
from curejournal.batch.records import Batch, Event
from curejournal.journal.store import Journal
from curejournal.judging.forecast import Forecast, forecast_from_history
from curejournal.materials import history
from curejournal.materials.history import Story
from curejournal.workflow.materials.analysis import EARLIER, Tell, holding, recent, teller

DAY = timedelta(days=1)
PHOTOS = msg(
    "Photograph it with the card now, beside a part without the fragrance if there is one; again after 6 and 24 hours, "
    "after 3 days, then weekly. The first two days tell most."
)
"""When a turn shows: fast at first, then ever more slowly [common practice, no source]; the days are chosen by us."""


@dataclass(frozen=True)
class DarkenedBefore:
    """One portion of an earlier batch that darkened: what became of it, after how many days, and its photos."""

    batch: str
    name: str
    portion: str
    materials: tuple[str, ...]
    recovered: bool
    days: float | None
    photos: tuple[str, ...]


@dataclass(frozen=True)
class Darkening:
    """The answer, at the pour.

    `batches` are the earlier ones that held any of `materials` and were followed; `darkened` those portions that left
    their target colour, or whose change was noted. `back` is when this one may be back, with its interval; None if none
    ever was. `photo` says which photo to take when.
    """

    materials: tuple[str, ...]
    batches: int
    darkened: tuple[DarkenedBefore, ...]
    back: Forecast | None
    photo: str
    words: tuple[str, ...]


def when_it_darkens(
    journal: Journal, code: str, on: datetime, portion: str = "", *, tell: Tell | None = None
) -> Darkening:
    """Answer from all earlier batches with the materials of a batch, or of one portion of it.

    Parameters
    ----------
    journal, code, on
        Which batch, and the time.
    portion : str
        Empty for the whole batch.
    tell : callable, optional
        Gives what portions did; see `analysis.Tell`.

    Returns
    -------
    Darkening

    """
    batch = journal.batch(code)
    wanted = _materials(batch, portion)
    keys = {history.material_key(name) for name in wanted}
    others = [one for one in holding(journal, wanted) if one.code != batch.code] if wanted else []
    earlier = recent(others, EARLIER)
    noted = {one.code for one in earlier if any(event.kind == "colour changed" for _, event in one.records(Event))}
    stories = [
        story
        for story in (tell or teller(journal, on))(earlier)
        if keys & {history.material_key(item.material) for item in story.ingredients}
    ]
    tolerances = {(one.code, part.name): part.tolerance for one in earlier for part in one.portions}
    followed = [story for story in stories if story.turn is not None or story.batch in noted]
    dark = [
        _before(story, keys)
        for story in followed
        if story.batch in noted or (story.turn and story.turn.estimate > tolerances[(story.batch, story.portion)])
    ]
    poured = batch.poured_at or on
    back = forecast_from_history([one.days if one.recovered else None for one in dark], poured)
    count = len({story.batch for story in followed})
    return Darkening(tuple(wanted), count, tuple(dark), back, PHOTOS, _words(wanted, count, dark, back, poured))


def _materials(batch: Batch, portion: str) -> list[str]:
    """The materials that may colour the portion, water left out."""
    if batch.recipe is None:
        return []
    divided = [part.name for part in batch.portions if not part.control]
    held = history.ingredients(batch.recipe, divided)
    return list(dict.fromkeys(item.material for where, item in held if not portion or where in ("", portion)))


def _before(story: Story, keys: set[str]) -> DarkenedBefore:
    held = tuple(item.material for item in story.ingredients if history.material_key(item.material) in keys)
    back = story.back_days[0] if story.back_days else None
    recovered = story.outcome == "came back"
    return DarkenedBefore(story.batch, story.name, story.portion, held, recovered, back, story.photos)


def _words(
    wanted: Sequence[str], count: int, dark: Sequence[DarkenedBefore], back: Forecast | None, poured: datetime
) -> tuple[str, ...]:
    if not wanted:
        return (msg("The recipe names no material that colours: enter what went in."), PHOTOS)
    names = join(", ", wanted)
    if not count:
        return (msg("Nothing is known yet: no earlier batch with {names} was followed.", names=names), PHOTOS)
    batches = len({one.batch for one in dark})
    returned = [one for one in dark if one.recovered]
    told = [
        msg(
            "{batches} of {count} with {names} darkened.",
            batches=batches,
            count=msg_n("{number} earlier batch", "{number} earlier batches", count),
            names=names,
        )
    ]
    if dark:
        told.append(
            msg(
                "{returned} of {dark} that darkened recovered.",
                returned=msg_n("{number} portion", "{number} portions", len(returned)),
                dark=len(dark),
            )
        )
    if back is not None and back.expected and back.at is not None:
        low, high = ((at - poured) / DAY if at else None for at in back.interval)
        ends = (
            msg("{low:.0f} to {high:.0f}", low=low, high=high)
            if low is not None and high is not None
            else msg("an unknown number of")
        )
        told.append(
            msg(
                "One more may be back after about {poured:.0f} days ({ends}).",
                poured=(back.at - poured) / DAY,
                ends=ends,
            )
        )
    elif dark:
        told.append(msg("One more is not expected back, by these batches."))
    return (*told, PHOTOS)
