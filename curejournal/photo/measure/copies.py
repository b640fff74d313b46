"""Which printed copy of a card lies in a photo, by the id in its slot; and the batch tags that stick on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from curejournal.colour.sample import Reason
from curejournal.photo.card import Card
from curejournal.photo.find.tag import Tag, read_slot
from curejournal.photo.measure.calibration import CardCalibration, calibrate, locate
from curejournal.photo.read.picture_file import Photo


@dataclass(frozen=True)
class CardInPhoto:
    """The card that lies in a photo, what it taught about it, and the batch tags in its slot."""

    card: Card
    calibration: CardCalibration
    tags: tuple[Tag, ...] = ()


def calibrate_copy(
    photo: Photo, card: Card, copies: Mapping[str, Card], corners: Sequence[tuple[float, float]] | None = None
) -> CardInPhoto:
    """Find a card and learn from the colours of the copy that it is, if the id in its slot is an enrolled one's.

    Parameters
    ----------
    copies : mapping of copy id to Card
    corners : sequence of four (x, y), optional
        See `measure`.

    Raises
    ------
    PictureDamaged, CornersInvalid
    """
    placement, picture, scale = locate(photo, card, corners)
    if isinstance(placement, Reason):
        return CardInPhoto(card, calibrate(photo, card, placement, picture, scale))
    slots = {name: placement.outline(slot) for name, slot in (card.slots or {}).items()}
    printed = read_slot(picture, scale, slots["copy_id"]).others if copies and "copy_id" in slots else ()
    card = next((copies[copy_id] for copy_id in printed if copy_id in copies), card)
    tags = read_slot(picture, scale, slots["batch_tag"]).tags if "batch_tag" in slots else ()
    return CardInPhoto(card, calibrate(photo, card, placement, picture, scale), tags)
