"""Find a chart without markers in a photo: its lattice of patches, confirmed by its colours.

Rows and columns of flat fields are common (tiles, keys, windows, other charts). So wherever some are seen, every
way of laying the card on them is compared with the picture. It is the card only if its reference colours explain
the colours seen, up to the camera and the light, far better one way round than any other, if its patches are
even inside, and if their rims lie where the card's lattice has them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from curejournal.base.messages import msg
from curejournal.colour.sample import Grade, Reason
from curejournal.photo.card import Card
from curejournal.photo.find.chart_colours import CardLattice, as_lattice, cell_samples, lay, misfit, predicted
from curejournal.photo.find.lattice import (
    Floats,
    Lattice,
    Picture,
    contrast_map,
    flat_fields,
    lattices,
)
from curejournal.photo.find.patch_edges import FLAT_STEP_PX, refit
from curejournal.photo.placement import project

# Long sides in px at which to look, coarse first: large charts are found sooner there, and with less noise.
_LONG_SIDES = (800, 1600, 3200)
# Sides of a median filter in px, for noise, and the contrast in 8-bit steps that it leaves inside patches: the few
# of 36 pairs that between them found the most of 92 real and drawn charts in all lights, the most fruitful first.
_LOOKS = ((3, 8), (3, 24), (5, 8), (3, 4), (5, 4))
# Larger fields, in px, were seen in the coarser view before.
_MAX_FINE_AREA = 100 * 100
# Fields that begin a lattice: with fewer, chance lattices are too many. Ours.
_MIN_FIELDS = 7
# Fields of a lattice over patches of the card, beyond which it goes on too far to be a card with what is by it.
_MAX_FIELDS = 4
# Smaller steps leave a patch fewer than some 5 x 5 px of its own colour after blur.
_MIN_STEP_PX = 10.0
# Unexplained share of the colour differences: 0.01 to 0.07 on real charts, 0.25 under a strong glare, up to 0.4
# with a thumb on three patches; 0.6 and more for the same charts turned, mirrored or shuffled.
_MAX_MISFIT, _DOUBTFUL_MISFIT = 0.40, 0.15
# The next best way of laying the card must fit this much worse.
_MIN_LEAD = 1.6
# Patches with all rims in place, as a share of all and of each row and column: those as dark as their ground show
# none.
_MIN_ON_RIMS, _MIN_ON_RIMS_PER_LINE = 0.6, 0.5
# Spread inside the median patch of a row or column over the spread between patches: up to 0.1 in real photos.
_MAX_UNEVEN = 0.25


@dataclass(frozen=True)
class ChartFound:
    """Where a chart is.

    `corners` are (x, y) in px of the given picture, pixel centres at whole numbers: those of the card's own
    rectangle from (0, 0) to `size_mm`, clockwise from the card's own top left. `score` is the share, 0 to 1, of
    the colour differences in the picture that the card's references explain. `reason` says what is doubtful.
    """

    corners: tuple[tuple[float, float], ...]
    score: float
    reason: str = ""


_NOT_FOUND = Reason(
    "no card",
    msg("No chart was found in this photo."),
    msg("Have the whole chart in the picture, larger and in even light, or give its four corners."),
    Grade.NOT_USABLE,
)
_MIRRORED = Reason(
    "card mirrored",
    msg("The chart in this photo is mirrored, as a front camera may show it."),
    msg("Use the back camera, or switch mirroring off."),
    Grade.NOT_USABLE,
)
_NO_LATTICE = Reason(
    "card without pattern",
    msg("This card's patches do not lie in even rows and columns, so it cannot be found by them."),
    msg("Give the card's four corners, or a card with markers."),
    Grade.NOT_USABLE,
)
_PARTLY = Reason(
    "card partly seen",
    msg("Only a part of the chart can be seen in this photo."),
    msg("Have the whole chart in the picture, with nothing lying on it."),
    Grade.NOT_USABLE,
)
_TOO_SMALL = Reason(
    "too small",
    msg("The chart is too small in this photo to read its colours."),
    msg("Move closer, so that the chart is at least a tenth as wide as the picture."),
    Grade.NOT_USABLE,
)
_DOUBT = msg("The chart's colours fit only roughly: look for glare, shadow or something lying on it.")


def look_for_chart(picture: Picture, card: Card) -> ChartFound | Reason:
    """Find a chart by its lattice and colours, turned, tilted or small, in any light.

    Parameters
    ----------
    picture : ndarray, shape (H, W, 3), uint8
        Encoded RGB, upright.
    card : Card
        Twelve patches or more on a rectangular lattice; cells of it may be empty.

    Returns
    -------
    ChartFound or Reason
        Why there is no usable chart, if none is surely there.
    """
    cells = as_lattice(card)
    if cells is None:
        return _NO_LATTICE
    refused = _NOT_FOUND
    for view, lattice in _candidates(picture, _MAX_FIELDS * len(card.patches)):
        laid = lay(view, lattice, cells, _MIN_FIELDS)
        if laid is None or laid.misfit > _MAX_MISFIT or laid.runner_up < _MIN_LEAD * laid.misfit:
            continue
        if laid.mirrored:
            return _MIRRORED
        confirmed = _confirmed(picture, _to_larger(view, picture) @ laid.to_picture, cells)
        if isinstance(confirmed, Reason):
            refused = confirmed
            continue
        to_picture, unexplained = confirmed
        width, height = card.size_mm
        corners = cells.to_cells(np.array([(0, 0), (width, 0), (width, height), (0, height)]))
        return ChartFound(
            tuple((float(x), float(y)) for x, y in project(to_picture, corners)),
            1 - unexplained,
            _DOUBT if unexplained > _DOUBTFUL_MISFIT else "",
        )
    return refused


def _candidates(picture: Picture, max_fields: int) -> Iterator[tuple[Picture, Lattice]]:
    """Lattices of flat fields in ever larger views of the picture, each with its view."""
    longest = max(picture.shape[:2])
    sides = [side for side in _LONG_SIDES if side < 0.8 * longest] + [min(longest, _LONG_SIDES[-1])]
    for side in sides:
        view = _reduced(picture, side / longest)
        contrasts: dict[int, Picture] = {}
        max_area = view.shape[0] * view.shape[1] // 20 if side == sides[0] else _MAX_FINE_AREA
        for median_px, limit in _LOOKS:
            if median_px not in contrasts:
                contrasts[median_px] = contrast_map(view, median_px)
            for lattice in lattices(flat_fields(contrasts[median_px], limit, max_area), _MIN_FIELDS, max_fields):
                yield view, lattice


def _confirmed(picture: Picture, to_picture: Floats, card: CardLattice) -> tuple[Floats, float] | Reason:
    """A chart looked at closely: the homography fitted to its patches and its misfit, or why it is none."""
    last = card.cells.max(0)
    corners = np.array([(0, 0), (1, 0), (1, 1), (0, 1)])
    middles = project(to_picture, corners * last)
    step_px = float((np.linalg.norm(np.roll(middles, -1, axis=0) - middles, axis=1) / np.tile(last, 2)).min())
    if step_px < _MIN_STEP_PX:
        return _TOO_SMALL
    # The middles too: beyond a steep perspective's horizon the outline turns inside out.
    outline = np.vstack([middles, project(to_picture, corners * (last + 2) - 1)])
    low = np.maximum(np.floor(outline.min(0)).astype(int), 0)
    high = np.minimum(np.ceil(outline.max(0)).astype(int) + 1, picture.shape[1::-1])
    part = picture[low[1] : high[1], low[0] : high[0]]
    view = _reduced(part, FLAT_STEP_PX / step_px)
    from_view = np.array([[1, 0, low[0]], [0, 1, low[1]], [0, 0, 1]]) @ _to_larger(view, part)
    fitted = refit(view, np.linalg.inv(from_view) @ to_picture, card.cells)
    if fitted is None:
        return _NOT_FOUND
    samples = cell_samples(view, fitted.to_view, card.cells)
    if not np.isfinite(samples).all():
        return _PARTLY
    colours = samples.mean(1)
    unexplained = float(misfit(colours, card))
    if unexplained > _MAX_MISFIT:
        return _NOT_FOUND
    uneven = samples.std(1).max(1) / np.linalg.norm(colours.std(0))
    if not _whole(fitted.on_rims, uneven, colours, card):
        return _PARTLY
    return from_view @ fitted.to_view, unexplained


def _whole(on_rims: NDArray[np.bool_], uneven: Floats, colours: Floats, card: CardLattice) -> bool:
    """Whether every row and column of the card is there, and not covered or cut."""
    return bool(on_rims.mean() >= _MIN_ON_RIMS) and all(
        on_rims[line].mean() >= _MIN_ON_RIMS_PER_LINE
        and np.median(uneven[line]) <= _MAX_UNEVEN
        and predicted(colours, card, line & on_rims)
        for line in card.lines
    )


def _reduced(picture: Picture, scale: float) -> Picture:
    if scale >= 1:
        return picture
    small = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    return np.asarray(small, dtype=np.uint8)


def _to_larger(view: Picture, picture: Picture) -> Floats:
    """The map from a reduced picture to the picture; pixel centres are at whole numbers in both."""
    fx, fy = picture.shape[1] / view.shape[1], picture.shape[0] / view.shape[0]
    return np.array([[fx, 0, (fx - 1) / 2], [0, fy, (fy - 1) / 2], [0, 0, 1]])
