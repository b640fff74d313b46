"""A photo as far as it was told: its batch, its date, which colour is which portion, why it has no colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import sqrt

from curejournal.base.messages import msg
from curejournal.batch.readings import Part, Subject
from curejournal.batch.records import Batch, ColourReading
from curejournal.colour.sample import Lab
from curejournal.journal.photos import PhotoFacts
from curejournal.photo.analysis import PhotoAnalysis
from curejournal.workflow.photos.answers import Answers, Question
from curejournal.workflow.photos.context import PhotoContext
from curejournal.workflow.photos.dates import no_original
from curejournal.workflow.photos.portions import Expected, Match, Region, match, offer_parts, regions_left_out

# The smallest tag that is printed here is 14 mm; one that measures less in the card's plane lies far behind it. Ours.
LEAST_TAG_MM = 9.0
# How far a portion's colour may have moved, ΔE00 as an sd: at once, per square root of a day, at most; and from
# the colour it is meant to have in the end. Ours: a browning batch moves by some 10 in its first ten days.
MOVED_SD, MOVED_PER_ROOT_DAY, MOVED_MOST, TARGET_SD = 3.0, 1.2, 9.0, 9.0


@dataclass(frozen=True)
class Case:
    """A photo as far as it was told: where it belongs, when it was taken, which colour is which portion.

    `why` says why it has no colour; empty if it has one. `parts` are what its colours may be if they are parts of one
    portion.
    """

    analysis: PhotoAnalysis
    context: PhotoContext
    answers: Answers
    batch: Batch | None
    batch_asked: Question | None
    at: datetime | None
    match: Match
    portions: tuple[str, ...]
    why: str
    parts: tuple[str, ...] = ()

    @property
    def on_pour_day(self) -> bool:
        """Whether it was taken within a day of the pour, before soda ash can show."""
        return self.batch is not None and self.at is not None and _on_pour_day(self.batch, self.at)


def build_case(analysis: PhotoAnalysis, context: PhotoContext, answers: Answers) -> Case:
    """Tell of a photo what can be told."""
    code, batch_asked = _batch_of(analysis, context, answers)
    batch = context.batches[code] if code else None
    at = answers.at or context.facts.taken_at
    expected = _expected(batch, at or context.now) if batch else []
    wholes = tuple(dict.fromkeys(portion.whole or portion.name for portion in expected))
    portions = tuple(dict.fromkeys((*wholes, *(portion.name for portion in expected))))
    pour_day = batch is not None and at is not None and _on_pour_day(batch, at)
    named = _named(analysis, answers, expected if batch is not None else None, pour_day)
    why = _why_no_colour(analysis, context.facts, answers)
    parts = offer_parts(analysis.layers, wholes or ("soap",))
    return Case(analysis, context, answers, batch, batch_asked, at, named, portions, why, parts)


def _batch_of(analysis: PhotoAnalysis, context: PhotoContext, answers: Answers) -> tuple[str, Question | None]:
    """Which batch a photo is of: as the maker said, or by its tag; and what is asked about that."""
    if answers.batch is not None and answers.after >= context.last_naming:
        return answers.batch, None
    own = [tag.code for tag in analysis.tags if tag.journal == context.tag_id]
    known = tuple(code for code in own if code in context.batches)
    if context.last_naming:
        text = msg("It was placed before and taken back. Which batch is it?")
        return (known[0] if len(known) == 1 else ""), Question("batch", text, known)
    if len(own) > 1:
        return "", Question("batch", msg("It shows the tags of {own} batches. Which one is it?", own=len(own)), known)
    if known and _far_behind(analysis, known[0]):
        return "", Question(
            "batch", msg("The tag of {known} lies far behind the card. Is it that batch?", known=known[0]), known
        )
    if known:
        return known[0], None
    if own:
        return "", Question(
            "batch", msg("Its tag says {own}, and there is no such batch here. Which one is it?", own=own[0])
        )
    if analysis.tags:
        return "", Question("batch", msg("Its tag is of another journal. Is it yours at all, and which batch is it?"))
    return "", Question("batch", msg("It shows no batch tag. Which batch is it?"))


def _far_behind(analysis: PhotoAnalysis, code: str) -> bool:
    """Whether a tag is so small beside the card that it lies in the background."""
    if analysis.on_card or not analysis.tag_sides_mm:
        return False
    return next(
        side < LEAST_TAG_MM for tag, side in zip(analysis.tags, analysis.tag_sides_mm, strict=True) if tag.code == code
    )


def _why_no_colour(analysis: PhotoAnalysis, facts: PhotoFacts, answers: Answers) -> str:
    if answers.colour is False:
        return msg("Kept for the story: the maker wants no colour from it.")
    original = no_original(facts)
    if original:
        return msg(
            "It looks like {original}, whose colours mean nothing. Take in the photo as it was taken.",
            original=original,
        )
    return "" if analysis.measurement.usable else analysis.measurement.why_no_colour


def _on_pour_day(batch: Batch, at: datetime) -> bool:
    """Whether a time is within a day of the pour, before soda ash can show."""
    return batch.poured_at is not None and abs(at - batch.poured_at) < timedelta(days=1)


def _named(analysis: PhotoAnalysis, answers: Answers, expected: Sequence[Expected] | None, pour_day: bool) -> Match:
    """Which portion each area shows: as it was marked, as the maker said, or by order and earlier colours."""
    count = len(analysis.measurement.areas)
    if answers.areas:
        return Match(tuple(answers.areas), 1.0)
    if answers.window:
        return Match((answers.window,) * count, 1.0)
    if answers.portions is not None and len(answers.portions) == count:
        return Match(answers.portions, 1.0, regions=_confirmed(analysis, answers.portions, expected, pour_day))
    if expected is None or analysis.layers is None or len(analysis.layers.layers) != count:
        return Match(("",) * count, 0.0)
    return match(analysis.layers, expected, pour_day=pour_day)


def _confirmed(
    analysis: PhotoAnalysis, said: Sequence[str], expected: Sequence[Expected] | None, pour_day: bool
) -> tuple[Region, ...]:
    """What has no name by the maker's word while another colour has one: a film, if that was asked, or a part."""
    if expected is None or analysis.layers is None or len(analysis.layers.layers) != len(said) or not any(said):
        return ()
    asked = match(analysis.layers, expected, pour_day=pour_day)
    if asked.about != "film":
        return regions_left_out(analysis.layers, said)
    return tuple(region if not name else "" for region, name in zip(asked.regions, said, strict=True))


def _expected(batch: Batch, at: datetime) -> list[Expected]:
    """The portions, and parts followed apart, as last known.

    That is by the reading nearest in time, else by their target colour.
    """
    known: list[Expected] = []
    readings = batch.records(ColourReading)
    names = [portion.name for portion in batch.portions] or list(dict.fromkeys(r.portion for _, r in readings))
    target = {portion.name: portion.target_lab for portion in batch.portions}
    settled = frozenset(part for _, reading in readings for part in reading.left_out)
    seen: dict[tuple[str, Part], list[tuple[float, Lab]]] = {}
    for when, record in readings:
        days_off = abs((when - at).total_seconds()) / 86400
        seen.setdefault((record.portion, record.part), []).append((days_off, record.lab))
    for name in names:
        parts: list[Part] = [part for portion, part in seen if portion == name] or [""]
        for part in parts:
            own = seen.get((name, part), [])
            days, lab = min(own, default=(0.0, target.get(name)))
            sd = min(MOVED_MOST, MOVED_SD + MOVED_PER_ROOT_DAY * sqrt(days)) if own else TARGET_SD
            known.append(Expected(Subject(name, part).name, lab, sd, part, name if part else "", settled))
    return known
