"""One look at a photo, before any batch is asked: its tags, its card, the layers in its window, their colours.

A look depends on the photo, the cards and this version alone; it can be thrown away and taken again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from curejournal.photo.card import Card
from curejournal.photo.find.markers import find_by_markers
from curejournal.photo.find.placement import Placement
from curejournal.photo.find.tag import Tag, Tags, read_slot, read_tags
from curejournal.photo.measure.calibration import CardCalibration, inset, learn
from curejournal.photo.measure.measurement import Area, Measurement, measure
from curejournal.photo.measure.rectified import flatten
from curejournal.photo.read.picture_file import Photo, Reduction
from curejournal.photo.window.layers import RIM, Layers, split_window
from curejournal.photo.window.surface import Finding, inspect_surface

LOOK_VERSION = 6
"""To be raised when a look at the same photo may come out otherwise."""


@dataclass(frozen=True)
class Look:
    """What a photo shows by itself.

    `tags` are batch tags of any journal; `on_card` says that they stick on the card itself, which no
    tag in the background does. `measurement` has an area for each layer, in the order of `layers`.
    `mirrored` says that the card is seen in a mirror or through a selfie camera.
    """

    tags: tuple[Tag, ...]
    on_card: bool
    measurement: Measurement
    layers: Layers | None = None
    surface: tuple[Finding, ...] = ()
    mirrored: bool = False


def look(photo: Photo, card: Card, copies: Mapping[str, Card] | None = None) -> Look:
    """Look at a photo.

    Parameters
    ----------
    photo : Photo
    card : Card
        The card to look for.
    copies : mapping of copy id to Card, optional
        Enrolled copies of it: if the id in the card's slot is one of these, its own colours are used.

    Raises
    ------
    PictureDamaged
    """
    lesson = learn(photo, card)
    copy = _in_slot(lesson, card, "copy_id")
    named = next((text for text in copy.others if text in (copies or {})), None)
    if copies and named is not None and copies[named] != card:
        card = copies[named]
        lesson = learn(photo, card)
    on_card = _in_slot(lesson, card, "batch_tag")
    tags = on_card if on_card.tags else read_tags(photo)
    layers: Layers | None = None
    areas: list[Area] = []
    surface: tuple[Finding, ...] = ()
    if card.window is not None and lesson.correction is not None:
        flat = flatten(photo, card, lesson, inset(card.window, RIM))
        layers, numbers = split_window(flat)
        surface = inspect_surface(flat, numbers, layers.layers)
        areas = [Area(f"layer {number}", layer.outline) for number, layer in enumerate(layers.layers, 1)]
    measurement = measure(photo, card, areas, lesson=lesson)
    mirrored = lesson.placement is None and is_mirrored(photo, card)
    return Look(tags.tags, bool(on_card.tags), measurement, layers, surface, mirrored)


def _in_slot(lesson: CardCalibration, card: Card, slot: str) -> Tags:
    if lesson.placement is None or slot not in (card.slots or {}):
        return Tags()
    return read_slot(lesson.picture, lesson.scale, lesson.placement.outline((card.slots or {})[slot]))


def is_mirrored(photo: Photo, card: Card) -> bool:
    """Whether the card's marks are there the wrong way round; a card found by its pattern is told so by the search."""
    if not card.markers:
        return False
    steps: tuple[Reduction, ...] = (8, 4, 2)
    step: Reduction = next((s for s in steps if max(photo.width, photo.height) / s >= 1000), 1)
    turned = replace(photo, orientation=_MIRROR[photo.orientation]).picture(step)
    return isinstance(find_by_markers(np.ascontiguousarray(turned), card, step), Placement)


# Exif orientations (Exif 2.32, 4.6.4) in pairs that are each other's mirror image, left for right.
_MIRROR = {1: 2, 2: 1, 3: 4, 4: 3, 5: 6, 6: 5, 7: 8, 8: 7}
