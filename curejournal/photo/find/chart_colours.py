"""Whether a lattice of fields carries a card's colours, and which way round.

The card's references explain the colours seen if some mixing of the three channels and some slope of light
across the card turn the ones into the others. That is judged without knowing the camera or the light.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from curejournal.photo.card import Card
from curejournal.photo.find.lattice import Floats, Ints, Lattice, Picture
from curejournal.photo.placement import project

# Fewer patches than this do not make a chart: three references and a slope would explain any colours. Ours.
_MIN_PATCHES = 12
# Variance added to each colour direction, as a share of all, before they are put on one footing. Ours.
_DAMPING = 0.02
# A slope of light, in spreads of colour a step, as likely as not. Ours.
_SLOPE_UNIT = 0.18
# Correlation, within a row or column, between its colours and those that the rest predicts: 0.88 and more on 170
# real and drawn charts in all lights, 0.75 under a glare; below 0.55 in 19 of 20 that were covered. Where little
# change is predicted there is nothing to correlate, and a small mean square error will do. Ours.
_MIN_ALIKE, _MAX_OFF = 0.7, 0.1


@dataclass(frozen=True)
class CardLattice:
    """A card as a lattice.

    `cells` (n, 2) are column and row of each patch, from 0; cell (0, 0) is centred at `origin_mm` (2,) and the
    next ones `step_mm` (2,) apart. `encoded` (n, 3) are the references, 0 to 1; `light` (n, 3) and `colour` (n, 3)
    orthonormal bases of what uneven light, and beyond it the card's own colours, can explain in a picture.
    """

    cells: Ints
    origin_mm: Floats
    step_mm: Floats
    encoded: Floats
    light: Floats
    colour: Floats

    @property
    def lines(self) -> list[NDArray[np.bool_]]:
        """The patches (n,) of each row and column that has three or more."""
        lines = [self.cells[:, axis] == place for axis in (0, 1) for place in range(self.cells.max() + 1)]
        return [line for line in lines if line.sum() >= 3]

    def to_cells(self, mm: Floats) -> Floats:
        """Points (..., 2) in mm on the card as columns and rows."""
        return (mm - self.origin_mm) / self.step_mm


@dataclass(frozen=True)
class Laid:
    """A card laid on a lattice.

    `to_picture` is the homography from the card's cells to px, `misfit` that of its colours and `runner_up` that
    of the next best way of laying it; `mirrored` if only a mirror could show it so.
    """

    to_picture: Floats
    misfit: float
    runner_up: float
    mirrored: bool


def as_lattice(card: Card) -> CardLattice | None:
    """The card's patches as cells of a lattice, or None if they are too few or do not lie on one.

    Parameters
    ----------
    card : Card

    Returns
    -------
    CardLattice or None
    """
    if len(card.patches) < _MIN_PATCHES:
        return None
    centres = np.array([(p.x + p.w / 2, p.y + p.h / 2) for p in card.patches])
    sizes = np.array([(p.w, p.h) for p in card.patches])
    steps = np.diff(np.sort(centres, axis=0), axis=0)
    steps = np.where(steps > 0.5 * np.median(sizes, axis=0), steps, np.inf).min(0)
    if not np.isfinite(steps).all():
        return None
    origin = centres.min(0)
    cells = np.rint((centres - origin) / steps).astype(np.int64)
    off = np.abs(origin + cells * steps - centres) / steps
    if off.max() > 0.1 or len(np.unique(cells, axis=0)) < len(cells):
        return None
    encoded = np.array([p.srgb for p in card.patches]) / 255
    light = np.linalg.qr(np.column_stack([np.ones(len(cells)), cells - cells.mean(0)]))[0]
    colour = np.linalg.qr(encoded - light @ (light.T @ encoded))[0]
    return CardLattice(cells, origin, steps, encoded, light, colour)


def misfit(colours: Floats, card: CardLattice) -> Floats:
    """Share of the variance of colours (..., n, 3) that the card leaves unexplained: 1 for colours at random.

    Lightness and both chromatic directions count alike, so that a run of greys alone is not taken for the card;
    a direction with next to no variance (a channel lost in a strong cast) counts for less.

    Parameters
    ----------
    colours : ndarray of shape (..., n, 3)
        Encoded RGB of the cells, in the lattice's order.
    card : CardLattice

    Returns
    -------
    ndarray of shape (...,)
        From 0, all explained, to 1.
    """
    n = len(card.cells)
    level = colours - card.light @ (card.light.T @ colours)
    total = np.swapaxes(level, -1, -2) @ level
    seen = card.colour.T @ level
    explained = np.swapaxes(seen, -1, -2) @ seen
    scale = np.trace(total, axis1=-2, axis2=-1)[..., None, None]
    damped = total + (_DAMPING * scale + 1e-9) * np.eye(3)
    shares = np.trace(np.linalg.solve(damped, np.stack([explained, total])), axis1=-2, axis2=-1)
    per_freedom = (n - 3) / (n - 6)
    return np.asarray((1 - shares[0] / np.maximum(shares[1], 1e-9)) * per_freedom, dtype=float)


def predicted(colours: Floats, card: CardLattice, some: NDArray[np.bool_]) -> bool:
    """Whether the colours (n, 3) of some patches of a line are as the others, and the references, predict.

    A covered row costs a good fit little, but its own colours have nothing to do with what the rest predicts.
    Under a glare they are shifted, and still differ among each other as predicted.

    Parameters
    ----------
    colours : ndarray of shape (n, 3)
        Encoded RGB of the cells.
    card : CardLattice
    some : ndarray of shape (n,), bool
        Those of the line.

    Returns
    -------
    bool
    """
    rest = ~some
    middle = colours[rest].mean(0)
    spread = np.cov((colours[rest] - middle).T, bias=True)
    spread += (_DAMPING * np.trace(spread) + 1e-9) * np.eye(3)
    seen = np.linalg.solve(np.linalg.cholesky(spread), (colours - middle).T).T
    slope = _SLOPE_UNIT * (card.cells - card.cells.mean(0))
    design = np.column_stack([np.ones(len(seen)), card.encoded, slope])
    # Light may slope across a card, but the less steeply the likelier: ridge on the two slopes.
    normal = design[rest].T @ design[rest] + np.diag([0, 0, 0, 0, 1, 1])
    expected = design[some] @ np.linalg.solve(normal, design[rest].T @ seen[rest])
    off = float(((seen[some] - expected) ** 2).mean())
    seen_change, expected_change = seen[some] - seen[some].mean(0), expected - expected.mean(0)
    alike = (seen_change * expected_change).sum() / np.sqrt((seen_change**2).sum() * (expected_change**2).sum() + 1e-9)
    return off <= _MAX_OFF or bool(alike >= _MIN_ALIKE)


# The four turns of a card, then the same mirrored.
_TURNS = [np.linalg.matrix_power(np.array([[0, -1], [1, 0]]), quarters) for quarters in range(4)]
_TURNS += [turn @ np.array([[-1, 0], [0, 1]]) for turn in _TURNS]


def lay(picture: Picture, lattice: Lattice, card: CardLattice, min_fields: int) -> Laid | None:
    """The best of all ways of laying a card on at least `min_fields` of a lattice's fields, or None.

    All four turns, each also mirrored, at every place where the whole card is inside the picture.

    Parameters
    ----------
    picture : ndarray of shape (H, W, 3), uint8
        RGB, upright.
    lattice : Lattice
        As seen in the picture.
    card : CardLattice
    min_fields : int
        Fewest of its fields that the card must lie on.

    Returns
    -------
    Laid or None
    """
    reach = int(card.cells.max()) + 1
    low = lattice.cells.min(0) - reach
    columns, rows = lattice.cells.max(0) + reach + 1 - low
    grid = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), -1)
    colours = cell_samples(picture, lattice.to_picture, grid + low).mean(-2)
    is_field = np.zeros((rows, columns), bool)
    is_field[tuple((lattice.cells - low)[:, ::-1].T)] = True

    best, runner_up, mirrored, onto = np.inf, 1.0, False, np.eye(3)
    for turn in _TURNS:
        cells = card.cells @ turn.T
        first = cells.min(0)
        width, height = np.ptp(cells, axis=0)
        offsets = grid[: rows - height, : columns - width].reshape(-1, 2)
        at = offsets[:, None] + cells - first
        enough = is_field[at[..., 1], at[..., 0]].sum(1) >= min_fields
        misfits = misfit(colours[at[enough, :, 1], at[enough, :, 0]], card)
        for index in np.argsort(misfits)[:2]:
            value = float(misfits[index])
            if value < best:
                best, runner_up, mirrored = value, min(best, 1.0), float(np.linalg.det(turn)) < 0
                onto[:2, :2], onto[:2, 2] = turn, offsets[enough][index] + low - first
            elif value < runner_up:
                runner_up = value
    if not np.isfinite(best):
        return None
    return Laid(lattice.to_picture @ onto, best, runner_up, mirrored)


def cell_samples(picture: Picture, to_picture: Floats, cells: Ints) -> Floats:
    """Colours (..., 25, 3) in the middle of cells (..., 2); not a number where a cell leaves the picture.

    Parameters
    ----------
    picture : ndarray of shape (H, W, 3), uint8
        RGB, upright.
    to_picture : ndarray of shape (3, 3)
        Homography from cells to px.
    cells : ndarray of shape (..., 2), int
        Column and row, from 0.

    Returns
    -------
    ndarray of shape (..., 25, 3)
        Encoded RGB, 0 to 255.
    """
    spots = np.linspace(-0.2, 0.2, 5)
    points = cells[..., None, :] + np.stack(np.meshgrid(spots, spots), -1).reshape(-1, 2)
    ahead = points @ to_picture[2, :2] + to_picture[2, 2] > 0
    at = project(to_picture, points)
    height, width = picture.shape[:2]
    inside = ahead & (at >= 0).all(-1) & (at <= (width - 1, height - 1)).all(-1)
    place = np.where(inside[..., None], at, 0).astype(np.float32).reshape(-1, spots.size**2, 2)
    seen = cv2.remap(picture, place[..., 0], place[..., 1], cv2.INTER_LINEAR).reshape(*points.shape[:-1], 3)
    return np.where(inside.all(-1)[..., None, None], seen, np.nan)
