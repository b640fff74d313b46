"""What a portfolio shows of a batch: pictures of soap, its story in a sentence, its ribbons. No card, no lab word.

Web pages (`portfolio.py`), paper (`portfolio_paper.py`) and the square for sharing draw the same values.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

import numpy as np
from PIL import Image

from curejournal.base.messages import join, msg, msg_n, sentence
from curejournal.batch.records import Batch
from curejournal.colour.difference import ciede2000
from curejournal.colour.sample import Lab
from curejournal.documents import formatting
from curejournal.documents.ribbon import Ribbon, main_portion, ribbon_of
from curejournal.documents.soap_pictures import Cut
from curejournal.documents.true_colour import Pixels
from curejournal.judging.colour_series import ColourSeries
from curejournal.judging.colour_states import State
from curejournal.materials.history import Story, stories

Layout = Literal["gallery", "stories", "book"]
LAYOUTS: Mapping[Layout, str] = {
    "gallery": msg("Gallery: one large picture, then every soap side by side"),
    "stories": msg("Stories: each soap with before, after and its ribbon"),
    "book": msg("Picture book: one soap at a time, as large as the page"),
}


@dataclass(frozen=True)
class Design:
    """How a portfolio presents itself: its heading, a sentence under it, and one of `LAYOUTS`."""

    title: str = ""
    about: str = ""
    layout: Layout = "gallery"


DARKENED = 3.0
"""How much darker (L*) a colour at its turn has to be than at its end, to be called darkened. Ours: plainly seen."""


@dataclass(frozen=True)
class Shot:
    """A photo as it may be shown to others: when it was taken, what the maker wrote under it, and how it is drawn.

    `draw` takes the pixels of the longer side at most, and the cut, and gives a JPEG in true colour without any
    metadata and without a card in it. `true` says that its colours are those that were measured.
    """

    at: datetime
    caption: str
    draw: Callable[[int, Cut], bytes]
    true: bool = True

    def pixels(self, longest: int, cut: Cut = "wide") -> Pixels:
        """The same as pixels: sRGB, (H, W, 3), uint8."""
        with Image.open(io.BytesIO(self.draw(longest, cut))) as opened:
            return np.asarray(opened.convert("RGB"), np.uint8)


@dataclass(frozen=True)
class PortfolioBatch:
    """A batch to show: its cover, its pictures without a card, and those that can be laid on each other.

    `aligned` are of one cut, in order of time, each with the colours that were measured in it, by portion.
    """

    batch: Batch
    journeys: Mapping[str, ColourSeries]
    cover: Shot | None
    shots: tuple[Shot, ...]
    aligned: tuple[tuple[Shot, Mapping[str, Lab]], ...] = ()


@dataclass(frozen=True)
class Soap:
    """A batch as others see it: `ribbons` by portion, the one that changed most first; `pair` is before and after."""

    name: str
    lead: str
    sentence: str
    ribbons: tuple[tuple[str, Ribbon], ...]
    cover: Shot | None
    pair: tuple[Shot, Shot] | None
    frames: tuple[Shot, ...]
    shots: tuple[Shot, ...]
    batch: Batch

    def age(self, shot: Shot) -> str:
        """How old the soap was in a picture; when it was taken, if nobody noted the pour."""
        age = age_at(self.batch, shot.at)
        return age if shot.true else msg("{age}, colours as the camera saw them", age=age)

    def alt(self, shot: Shot) -> str:
        """What a picture shows, for who cannot see it."""
        return join(", ", (shot.caption or msg("{name}, the soap", name=self.name), self.age(shot)))


def soap_of(shown: PortfolioBatch) -> Soap:
    """Choose what is told of a batch."""
    followed = _followed(shown)
    main = main_portion(followed)
    told = {story.portion: story for story in stories(shown.batch, followed)}
    names = [main, *(name for name in followed if name != main)] if main else []
    # A portion that is named as the soap itself is needs no name of its own in a sentence.
    alone = len(followed) == 1 or main.casefold() in shown.batch.name.casefold()
    return Soap(
        name=shown.batch.name or shown.batch.code,
        lead=_lead(shown.batch),
        sentence=_sentence(told[main], "" if alone else main) if main else "",
        ribbons=tuple(
            (name, plain_ribbon(followed[name], told[name], "" if alone and name == main else name)) for name in names
        ),
        cover=shown.cover,
        pair=pair_of(shown.aligned, main),
        frames=tuple(shot for shot, _ in shown.aligned),
        shots=shown.shots,
        batch=shown.batch,
    )


def _followed(shown: PortfolioBatch) -> dict[str, ColourSeries]:
    """The portions that have colours, controls aside; a part is told of where its portion has none of its own."""
    controls = {portion.name for portion in shown.batch.portions if portion.control}
    seen = {name: one for name, one in shown.journeys.items() if one.points and name not in controls}
    return {name: one for name, one in seen.items() if shown.batch.parts.get(name) not in seen}


def age_at(batch: Batch, at: datetime) -> str:
    """How old a batch was; the day, if nobody noted its pour."""
    poured = batch.poured_at
    if poured is None or at < poured:
        return formatting.day(at)
    return msg("{age} old", age=span_words((at - poured) / formatting.DAY))


def _lead(batch: Batch) -> str:
    poured, bars = batch.poured_at, batch.bars_cut
    told = [msg("poured {poured}", poured=formatting.day(poured))] if poured else []
    told += [msg_n("{number} bar", "{number} bars", bars)] if bars else []
    return sentence(join(" · ", told)) if told else ""


def plain_ribbon(journey: ColourSeries, story: Story, portion: str) -> Ribbon:
    """A portion's ribbon for those who do not make soap: poured, and how much later it was seen last."""
    last = journey.points[-1].days
    drawn = ribbon_of(journey, story.portion, last)
    end = msg("{days} later", days=span_words(last)) if last >= 1 else msg("the same day")
    words = msg("Its colour from the pour to {days} later.", days=span_words(last))
    said = _sentence(story, portion)
    ticks = ((0.0, msg("poured")), (drawn.ends, end))
    return replace(
        drawn,
        ticks=ticks,
        words=join(" ", (words, said)) if said else words,
        said=msg("Early days are drawn wider."),
    )


def span_words(days: float) -> str:
    """A span of days as it is said: 12 days, 5 weeks, 4 months."""
    if days < 1:
        return msg_n("{number} hour", "{number} hours", max(round(24 * days), 1))
    if days < 21:
        return msg_n("{number} day", "{number} days", round(days))
    if days < 100:
        return msg_n("{number} week", "{number} weeks", round(days / 7))
    return msg_n("{number} month", "{number} months", round(days / 30.44))


def _sentence(story: Story, portion: str) -> str:
    """What the colour did, as one sentence; empty where too little is known."""
    journey, who = story.journey, portion or msg("it")
    if journey.state is State.TOO_FEW:
        return ""
    return sentence(msg("{who} {did}.", who=who, did=_did(story, journey)))


def _did(story: Story, journey: ColourSeries) -> str:
    if journey.darkens:
        if journey.state is State.RECOVERED:
            return msg("darkened to the colour that it was made for")
        return msg("is darkening to the colour that it was made for")
    turned = msg("darkened") if _darkened(journey) else msg("changed colour")
    back = story.back_days[0] if story.back_days else None
    if journey.state is State.RECOVERED and back is not None:
        return msg("{turned}, and recovered in {days}", turned=turned, days=span_words(back))
    return {
        State.RECOVERED: msg("{turned}, and recovered", turned=turned),
        State.RECOVERING: msg("{turned}, and is on its way back", turned=turned),
        State.DISCOLOURING: msg("is still changing colour"),
        State.BROWNING: msg("grows browner as it cures"),
        State.STABLE: msg("has kept its colour for {days}", days=span_words(journey.points[-1].days)),
    }.get(journey.state, msg("settled in a colour of its own"))


def _darkened(journey: ColourSeries) -> bool:
    return journey.points[-1].lab[0] - min(point.lab[0] for point in journey.points) >= DARKENED


Aligned = tuple[Shot, Mapping[str, Lab]]


def pair_of(aligned: Sequence[Aligned], portion: str) -> tuple[Shot, Shot] | None:
    """Before and after: the last picture, and the one whose colour is farthest from it; None below two."""
    if len(aligned) < 2:
        return None
    after, last = aligned[-1]
    shared = [name for name in last if not portion or name == portion]

    def apart(colours: Mapping[str, Lab]) -> float:
        return max((float(ciede2000(last[name], colours[name])) for name in shared if name in colours), default=0.0)

    return max(aligned[:-1], key=lambda one: apart(one[1]))[0], after
