"""Bytes of a photo to what it shows by itself: its date, its tags, its card, the layers in its window, their colours.

Nothing of a journal is asked: an analysis depends on the photo, the cards, what was marked by hand and this version
alone. It can be thrown away and made again.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from importlib.metadata import version

import numpy as np

from curejournal.colour.sample import Grade, Lab, Reason
from curejournal.judging.target import NoColourToPick
from curejournal.photo.card import Card, card_text
from curejournal.photo.find.mirror import MIRRORED, is_mirrored
from curejournal.photo.find.placement import Placement, Points
from curejournal.photo.find.tag import Tag, Tags, read_slot, read_tags
from curejournal.photo.measure.calibration import CardCalibration, inset, learn
from curejournal.photo.measure.measurement import Area, Measurement, measure
from curejournal.photo.measure.rectified import flatten
from curejournal.photo.read.picture_file import Photo, Taken, read_photo
from curejournal.photo.window.layers import RIM, Layers, split_window
from curejournal.photo.window.surface import Finding, inspect_surface

SOFTWARE = f"curejournal {version('curejournal')}"
ANALYSIS_VERSION = 7
"""To be raised when the analysis of the same photo may come out otherwise."""

Box = tuple[float, float, float, float]
Corners = Sequence[tuple[float, float]]
Places = Mapping[str, Box] | Mapping[str, Points]
"""Where each portion is: boxes x0, y0, x1, y1 or outlines, in pixels of the upright full-size picture."""

NO_CARD = Reason("without a card", "It was taken without a card.", "", Grade.NOT_USABLE)


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
    tags: tuple[Tag, ...]
    on_card: bool
    measurement: Measurement
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
    photo, sha256 = read_photo(data), hashlib.sha256(data).hexdigest()
    if cards.card is None:
        seen = _without_card(photo)
        tags = read_tags(photo).tags
        return PhotoAnalysis(sha256, photo.suffix, photo.taken, tags, False, seen, marks=marks, cards=cards.fingerprint)
    card, lesson = _card_in(photo, cards.card, cards.copies, marks)
    on_card = _in_slot(lesson, card, "batch_tag")
    found = on_card if on_card.tags else read_tags(photo)
    layers: Layers | None = None
    surface: tuple[Finding, ...] = ()
    areas = [Area(name, outline) for name, outline in (marks.areas or {}).items()]
    if card.window is not None and lesson.correction is not None:
        flat = flatten(photo, card, lesson, inset(card.window, RIM))
        layers, numbers = split_window(flat)
        surface = inspect_surface(flat, numbers, layers.layers)
        if not areas and not marks.window:
            areas = [Area(f"layer {number}", layer.outline) for number, layer in enumerate(layers.layers, 1)]
    measurement = _measured(photo, card, lesson, areas)
    return PhotoAnalysis(
        sha256,
        photo.suffix,
        photo.taken,
        found.tags,
        bool(on_card.tags),
        measurement,
        layers,
        surface,
        marks,
        tuple(_longest_side(lesson.placement, tag.outline) for tag in found.tags) if lesson.placement else (),
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
    return _measured(photo, card, learn(photo, card, corners), places)


def swatch(data: bytes, card: Card, areas: Places | None = None) -> tuple[Lab, str]:
    """The colour of a swatch photographed with a card, and where it is from; the photo is not kept.

    Raises
    ------
    NoColourToPick
        Unless exactly one area has a colour, better than indicative.
    NotAPicture, PictureDamaged, PictureTooLarge
    """
    measurement = measure_photo(data, card, areas)
    seen = [area for area in measurement.areas if area.sample is not None and area.grade.rank < Grade.INDICATIVE.rank]
    if len(seen) != 1 or seen[0].sample is None:
        why = f"{len(seen)} areas have a colour" if len(seen) > 1 else why_no_colour(measurement)
        raise NoColourToPick(
            f"No swatch could be measured: {why}", "Show one swatch in the card's window, or one area."
        )
    return seen[0].sample.lab, f"photographed with card {measurement.card}"


def why_no_colour(measurement: Measurement) -> str:
    """Why nothing was measured, and what to do about it."""
    reasons = measurement.reasons + tuple(reason for area in measurement.areas for reason in area.reasons)
    worst = max(reasons, key=lambda reason: reason.limit.rank, default=None)
    return f"{worst.text} {worst.remedy}".strip() if worst else "No area was marked."


def outline_of(place: Box | Points) -> Points:
    """A box as its corners, an outline as it is."""
    sides = [side for side in place if not isinstance(side, tuple)]
    return Area.box("", *sides).outline if sides else tuple(at for at in place if isinstance(at, tuple))


def _card_in(photo: Photo, card: Card, copies: Mapping[str, Card], marks: Marks) -> tuple[Card, CardCalibration]:
    """The card in the photo and what it taught: the copy whose id is printed in its slot, if that one is enrolled."""
    corners = marks.corners or None
    lesson = learn(photo, card, corners)
    named = next((text for text in _in_slot(lesson, card, "copy_id").others if text in copies), None)
    if named is None or copies[named] == card:
        return card, lesson
    return copies[named], learn(photo, copies[named], corners)


def _in_slot(lesson: CardCalibration, card: Card, slot: str) -> Tags:
    if lesson.placement is None or slot not in (card.slots or {}):
        return Tags()
    return read_slot(lesson.picture, lesson.scale, lesson.placement.outline((card.slots or {})[slot]))


def _measured(photo: Photo, card: Card, lesson: CardCalibration, areas: Sequence[Area]) -> Measurement:
    """Measure areas; a card that only a mirror shows is told so, since laying it anew would not help."""
    found = measure(photo, card, areas, lesson=lesson)
    return replace(found, reasons=(MIRRORED,)) if not found.corners and is_mirrored(photo, card) else found


def _longest_side(placement: Placement, outline: Points) -> float:
    corners = placement.to_mm(np.array(outline))
    return float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).max())


def _without_card(photo: Photo) -> Measurement:
    taken = photo.taken.isoformat if photo.taken else None
    return Measurement(photo.width, photo.height, taken, "", "", False, (), Grade.NOT_USABLE, (NO_CARD,))
