"""One photo's way from bytes to what it shows: its date, its tags, its card, the layers in its window, their colours.

Nothing of a journal is asked: an analysis depends on the photo, the cards, what was marked by hand and this version
alone. It can be thrown away and made again.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field

from curejournal.base.messages import msg
from curejournal.colour.sample import refusal
from curejournal.photo.calibrate.calibration import CardCalibration, calibrate
from curejournal.photo.card import Card, card_text
from curejournal.photo.find.card_in_photo import find_card_in
from curejournal.photo.find.tag import Tag, read_tags
from curejournal.photo.measure.measurement import Area, Measurement, measure_areas, unmeasured
from curejournal.photo.placement import Points
from curejournal.photo.read.picture_file import Photo, Taken, read_photo
from curejournal.photo.window.layers import RIM, Layers, split_window
from curejournal.photo.window.rectified import flatten
from curejournal.photo.window.surface import Finding, inspect_surface

ANALYSIS_VERSION = 7
"""Increment it when the analysis of the same photo may come out differently."""

NO_CARD = refusal("without a card", msg("It was taken without a card."), "")


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
    """Find out what a photo shows: read it, find its card, learn from the card, look through its window, measure.

    Parameters
    ----------
    data : bytes
        The file as it came.
    cards : Cards
    marks : Marks, optional
        Areas drawn by hand are measured in place of the layers that were found.

    Returns
    -------
    PhotoAnalysis

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
    found = find_card_in(photo, cards.card, cards.copies, marks.corners or None)
    tags = found.tags or read_tags(photo).tags
    calibration = calibrate(photo, found)
    layers, surface = _look_through_window(photo, calibration)
    return PhotoAnalysis(
        sha256,
        photo.suffix,
        photo.taken,
        measure_areas(photo, calibration, _areas_to_measure(marks, layers)),
        tags,
        bool(found.tags),
        layers,
        surface,
        marks,
        tuple(found.placement.longest_side_mm(tag.outline) for tag in tags) if found.placement else (),
        cards.fingerprint,
    )


def _look_through_window(photo: Photo, calibration: CardCalibration) -> tuple[Layers | None, tuple[Finding, ...]]:
    """The layers in the window of a card and what their surface looks like; None without a window that can be seen."""
    window = calibration.card.window
    if window is None or calibration.correction is None:
        return None, ()
    flat = flatten(photo, calibration, window.inset(RIM))
    layers, numbers = split_window(flat)
    return layers, inspect_surface(flat, numbers, layers.layers)


def _areas_to_measure(marks: Marks, layers: Layers | None) -> list[Area]:
    """What the maker marked, else each layer; nothing for the window as a whole."""
    if marks.areas or marks.window or layers is None:
        return [Area(name, outline) for name, outline in (marks.areas or {}).items()]
    return [Area(msg("layer {number}", number=number), layer.outline) for number, layer in enumerate(layers.layers, 1)]
