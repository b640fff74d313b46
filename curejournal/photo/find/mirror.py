"""A card that is seen in a mirror, or through a selfie camera."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from curejournal.base.messages import msg
from curejournal.colour.sample import Grade, Reason
from curejournal.photo.card import Card
from curejournal.photo.find.markers import find_by_markers
from curejournal.photo.find.placement import Placement
from curejournal.photo.read.picture_file import Photo, Reduction

MIRRORED = Reason(
    "mirrored",
    msg("The picture is mirrored, as selfie cameras do."),
    msg("Use the main camera, or switch mirroring off."),
    Grade.NOT_USABLE,
)

# Exif orientations (Exif 2.32, 4.6.4) in pairs that are each other's mirror image, left for right.
_MIRROR = {1: 2, 2: 1, 3: 4, 4: 3, 5: 6, 6: 5, 7: 8, 8: 7}


def is_mirrored(photo: Photo, card: Card) -> bool:
    """Whether the card's marks are there the wrong way round; a card found by its pattern is told so by the search."""
    if not card.markers:
        return False
    steps: tuple[Reduction, ...] = (8, 4, 2)
    step: Reduction = next((s for s in steps if max(photo.width, photo.height) / s >= 1000), 1)
    turned = replace(photo, orientation=_MIRROR[photo.orientation]).picture(step)
    return isinstance(find_by_markers(np.ascontiguousarray(turned), card, step), Placement)
