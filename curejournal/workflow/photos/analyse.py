"""Bytes of a photo to what it shows by itself: its date, its tags, its card, the layers in its window, their colours.

Nothing of a journal is asked: an analysis depends on the photo, the cards, what was marked by hand and this version
alone. It can be thrown away and made again.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from importlib.metadata import version

from curejournal.base.messages import msg
from curejournal.colour.sample import Grade, Lab, Reason
from curejournal.photo.card import Card, card_text
from curejournal.photo.find.placement import Points
from curejournal.photo.find.tag import Tag, read_tags
from curejournal.photo.measure.copies import calibrate_copy
from curejournal.photo.measure.measurement import Area, Measurement, measure, measure_by, unmeasured
from curejournal.photo.read.picture_file import Taken, read_photo
from curejournal.photo.window.inspection import inspect_window
from curejournal.photo.window.layers import Layers
from curejournal.photo.window.surface import Finding

SOFTWARE = msg("curejournal {version}", version=version("curejournal"))
ANALYSIS_VERSION = 7
"""To be raised when the analysis of the same photo may come out otherwise."""

Box = tuple[float, float, float, float]
Corners = Sequence[tuple[float, float]]
Places = Mapping[str, Box] | Mapping[str, Points]
"""Where each portion is: boxes x0, y0, x1, y1 or outlines, in pixels of the upright full-size picture."""

NO_CARD = Reason("without a card", msg("It was taken without a card."), "", Grade.NOT_USABLE)


@dataclass(frozen=True)
class Cards:
    """The card to look for, if any, and its enrolled copies by the id that is printed in their slot."""

    card: Card | None
    copies: Mapping[str, Card] = field(default_factory=dict)

    @property
    def fingerprint(self) -> str:
        """A hash of all that these cards say."""
        texts = [card_text(card) for card in (self.card, *self.copies.values()) if card]
        return hashlib.sha256("\n".join(texts).encode()).hexdigest()


@dataclass(frozen=True)
class Marks:
    """What the maker marked by hand, in pixels of the upright full-size picture.

    `areas` are outlines by portion; `corners` are the card's, clockwise from its own top left; `window` names the one
    portion that the whole window shows.
    """

    areas: Mapping[str, Points] | None = None
    corners: tuple[tuple[float, float], ...] = ()
    window: str = ""


@dataclass(frozen=True)
class PhotoAnalysis:
    """What a photo shows by itself.

    `suffix` and `taken` are the file's own; the size of the upright picture is the measurement's. `tags` are batch
    tags of any journal; `on_card` says that they stick on the card itself, which no tag in the background does;
    `tag_sides_mm` is how long the longest side of each is in the card's plane, if there is a card.
    `measurement` has an area for each layer, in the order of `layers`, or for each area of `marks`. `cards` is the
    fingerprint of those that were looked for.
    """

    sha256: str
    suffix: str
    taken: Taken | None
    measurement: Measurement
    tags: tuple[Tag, ...] = ()
    on_card: bool = False
    layers: Layers | None = None
    surface: tuple[Finding, ...] = ()
    marks: Marks = Marks()
    tag_sides_mm: tuple[float, ...] = ()
    cards: str = ""


def analyse(data: bytes, cards: Cards, marks: Marks | None = None) -> PhotoAnalysis:
    """Find out what a photo shows.

    Parameters
    ----------
    data : bytes
        The file as it came.
    cards : Cards
    marks : Marks, optional
        Areas drawn by hand are measured in place of the layers that were found.

    Raises
    ------
    NotAPicture, PictureDamaged, PictureTooLarge, CornersInvalid
    """
    marks = marks or Marks()
    photo = read_photo(data)
    sha256 = hashlib.sha256(data).hexdigest()
    if cards.card is None:
        seen, tags = unmeasured(photo, NO_CARD), read_tags(photo).tags
        return PhotoAnalysis(sha256, photo.suffix, photo.taken, seen, tags, marks=marks, cards=cards.fingerprint)
    found = calibrate_copy(photo, cards.card, cards.copies, marks.corners or None)
    layers, surface = inspect_window(photo, found)
    if marks.areas or marks.window or layers is None:
        areas = [Area(name, outline) for name, outline in (marks.areas or {}).items()]
    else:
        areas = [
            Area(msg("layer {the_number}", the_number=number), layer.outline)
            for number, layer in enumerate(layers.layers, 1)
        ]
    measurement = measure_by(photo, found.card, found.calibration, areas)
    tags, placement = found.tags or read_tags(photo).tags, found.calibration.placement
    sides = tuple(placement.longest_side_mm(tag.outline) for tag in tags) if placement else ()
    return PhotoAnalysis(
        sha256,
        photo.suffix,
        photo.taken,
        measurement,
        tags,
        bool(found.tags),
        layers,
        surface,
        marks,
        sides,
        cards.fingerprint,
    )


def measure_photo(data: bytes, card: Card, areas: Places | None = None, corners: Corners | None = None) -> Measurement:
    """Measure a photo without keeping it; without areas the card's window is measured as a whole.

    Raises
    ------
    NotAPicture, PictureDamaged, PictureTooLarge, CornersInvalid
    """
    photo = read_photo(data)
    places = [Area(name, outline_of(place)) for name, place in (areas or {}).items()]
    return measure(photo, card, places, corners)


def swatch(data: bytes, card: Card, areas: Places | None = None) -> tuple[Lab, str]:
    """The colour of a swatch photographed with a card, and where it is from; the photo is not kept.

    Raises
    ------
    NoColourToPick
        Unless exactly one area has a colour, better than indicative.
    NotAPicture, PictureDamaged, PictureTooLarge
    """
    from curejournal.judging.target import NoColourToPick

    measurement = measure_photo(data, card, areas)
    seen = [area for area in measurement.areas if area.sample is not None and area.grade.rank < Grade.INDICATIVE.rank]
    if len(seen) != 1 or seen[0].sample is None:
        why = msg("{seen} areas have a colour", seen=len(seen)) if len(seen) > 1 else measurement.why_no_colour
        raise NoColourToPick(
            msg("No swatch could be measured: {why}", why=why),
            msg("Show one swatch in the card's window, or one area."),
        )
    return seen[0].sample.lab, msg("photographed with card {card}", card=measurement.card)


def outline_of(place: Box | Points) -> Points:
    """A box as its corners, an outline as it is."""
    sides = [side for side in place if not isinstance(side, tuple)]
    return Area.box("", *sides).outline if sides else tuple(at for at in place if isinstance(at, tuple))
