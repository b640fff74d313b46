"""What lies in a card's window: the layers of soap, and what their surface looks like."""

from __future__ import annotations

from curejournal.photo.measure.copies import CardInPhoto
from curejournal.photo.measure.rectified import flatten
from curejournal.photo.read.picture_file import Photo
from curejournal.photo.window.layers import RIM, Layers, split_window
from curejournal.photo.window.surface import Finding, inspect_surface


def inspect_window(photo: Photo, found: CardInPhoto) -> tuple[Layers | None, tuple[Finding, ...]]:
    """The layers in the window of a card and what their surface looks like; None without a window that can be seen.

    Raises
    ------
    PictureDamaged
    """
    if found.card.window is None or found.calibration.correction is None:
        return None, ()
    flat = flatten(photo, found.card, found.calibration, found.card.window.inset(RIM))
    layers, numbers = split_window(flat)
    return layers, inspect_surface(flat, numbers, layers.layers)
