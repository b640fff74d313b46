"""Find the card in a photo: which printed copy it is, where it lies, and the batch tags that stick on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from curejournal.colour.sample import Reason
from curejournal.photo.card import Card, Patch, centres_of
from curejournal.photo.find.chart import look_for_chart
from curejournal.photo.find.markers import find_by_markers
from curejournal.photo.find.refusals import MIRRORED, blurred, no_card
from curejournal.photo.find.sharpness import BLUNT, sharpness
from curejournal.photo.find.tag import Tag, Tags, read_slot
from curejournal.photo.placement import Placement, placement_from_corners, placement_from_points
from curejournal.photo.read.picture_file import Photo, Pixels, Reduction

# Ours: enough pixels for a robust colour of a patch, few enough to be fast.
PATCH_PX_WANTED = 14.0
# Ours: a card of a tenth of the picture's width is still some 100 px wide at this size.
SEARCH_SIDE = 1000
_FINER: dict[Reduction, Reduction] = {8: 4, 4: 2, 2: 1, 1: 1}
# Exif orientations (Exif 2.32, 4.6.4) in pairs that are each other's mirror image, left for right.
_MIRROR = {1: 2, 2: 1, 3: 4, 4: 3, 5: 6, 6: 5, 7: 8, 8: 7}


@dataclass(frozen=True, eq=False)
class FoundCard:
    """A card in a photo, or why there is none.

    `card` is the enrolled copy that lies there, if its slot says so. `picture` (H, W, 3) is upright RGB at 1/`scale`
    of full size, as fine as measuring the card needs. `printed` is the copy id read in the slot, if it was looked for.
    Without a `placement` there is a `refusal`.
    """

    card: Card
    placement: Placement | None
    picture: Pixels
    scale: float
    refusal: Reason | None = None
    printed: str = ""

    @cached_property
    def tags(self) -> tuple[Tag, ...]:
        """The batch tags on the card, looked for when they are asked for: a measurement alone has no batch."""
        if self.placement is None:
            return ()
        return _slot(self.picture, self.scale, self.placement, self.card, "batch_tag").tags


def find_card_in(
    photo: Photo,
    card: Card,
    copies: Mapping[str, Card] | None = None,
    corners: Sequence[tuple[float, float]] | None = None,
) -> FoundCard:
    """Find a card in a photo, by its corners, its markers or its pattern.

    Parameters
    ----------
    photo : Photo
    card : Card
    copies : mapping of copy id to Card, optional
        Enrolled copies of the card: the one whose id is in the slot takes its place.
    corners : sequence of four (x, y), optional
        The card's corners in pixels of the upright full-size picture, clockwise from its own top left; otherwise it
        is looked for.

    Returns
    -------
    FoundCard

    Raises
    ------
    PictureDamaged, CornersInvalid
    """
    placement, picture, scale = _locate(photo, card, corners)
    if isinstance(placement, Reason):
        return FoundCard(card, None, picture, scale, _why_not(photo, card, picture, placement))
    asked = bool(copies or card.copy_id)
    printed = _slot(picture, scale, placement, card, "copy_id").others[:1] if asked else ()
    card = next((copies[copy_id] for copy_id in printed if copy_id in copies), card) if copies else card
    return FoundCard(card, placement, picture, scale, None, "".join(printed))


def _locate(
    photo: Photo, card: Card, corners: Sequence[tuple[float, float]] | None
) -> tuple[Placement | Reason, Pixels, Reduction]:
    """Where the card is, or why that cannot be told; the picture as fine as measuring needs; its scale."""
    reduce = _first_reduction(photo)
    picture = photo.picture(reduce)
    if corners is not None:
        found: Placement | Reason = placement_from_corners(card, corners)
    else:
        find = find_by_markers if card.markers else _by_pattern
        found = find(picture, card, reduce)
        while isinstance(found, Reason) and reduce > 1:
            reduce = _FINER[reduce] if card.markers else 1  # the search for a pattern makes its own smaller views
            picture = photo.picture(reduce)
            found = find(picture, card, reduce)
    if isinstance(found, Reason):
        return found, picture, reduce
    # A strip has pixels enough along its longer side: half as many across will do.
    sides = [min(patch.w, patch.h) * (2.0 if _is_strip(patch) else 1.0) for patch in card.patches]
    side = float((found.scales_at(centres_of(card.patches))[:, 1] * sides).min())
    finer = reduce
    while finer > 1 and side / finer < PATCH_PX_WANTED:
        finer = _FINER[finer]
    return found, picture if finer == reduce else photo.picture(finer), finer


def _first_reduction(photo: Photo) -> Reduction:
    steps: tuple[Reduction, ...] = (8, 4, 2)
    return next((step for step in steps if max(photo.width, photo.height) / step >= SEARCH_SIDE), 1)


def _is_strip(patch: Patch) -> bool:
    return max(patch.w, patch.h) >= 4.0 * min(patch.w, patch.h)


def _by_pattern(picture: Pixels, card: Card, scale: float) -> Placement | Reason:
    found = look_for_chart(picture, card)
    if isinstance(found, Reason):
        return found
    pixels = (np.array(found.corners) + 0.5) * scale - 0.5
    placement = placement_from_points(card, np.array(card.corner_points()), pixels)
    return no_card(card) if placement is None else placement


def _why_not(photo: Photo, card: Card, picture: Pixels, reason: Reason) -> Reason:
    """A card that only a mirror shows is said to be mirrored: laid down again, it would be mirrored again."""
    if card.markers and _is_mirrored(photo, card):
        return MIRRORED
    return blurred(card) if sharpness(picture) < BLUNT else reason


def _is_mirrored(photo: Photo, card: Card) -> bool:
    """Whether the card's marks are there the wrong way round; the search for a pattern tells that by itself."""
    step = _first_reduction(photo)
    turned = replace(photo, orientation=_MIRROR[photo.orientation]).picture(step)
    return isinstance(find_by_markers(np.ascontiguousarray(turned), card, step), Placement)


def _slot(picture: Pixels, scale: float, placement: Placement, card: Card, name: str) -> Tags:
    """Read a slot of the card, if it has it."""
    slot = (card.slots or {}).get(name)
    return Tags() if slot is None else read_slot(picture, scale, placement.outline(slot))
