"""What a window shows: one portion, layers as bands, or swirls; each with its place, its share and its colour.

1. Straighten and correct the window (`flat`).
2. Find the direction along which colour changes most, and cut the window there into bands by dynamic programming.
3. Where bands do not explain the picture, cluster the colours instead (swirls).
4. Leave out what is unlike its own layer (embeds, crumbs, glints, shadows) and the seams between layers.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.cluster.hierarchy import fcluster, linkage

from curejournal.base.normal import SD_OF_MAD
from curejournal.colour.difference import ciede2000
from curejournal.colour.sample import Lab
from curejournal.photo.placement import Points
from curejournal.photo.window.rectified import PX_PER_MM, Flat

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Mask = NDArray[np.bool_]

# All limits are ours, chosen on drawn windows of one to four portions with mottling, waves, crumbs and embeds.
MOST_LAYERS = 6
# ΔE00 between two layers: below, mottling and uneven light look the same.
LEAST_STEP = 2.5
# A layer narrower, in mm, or a swirl colour of a smaller share is an embed or a seam.
LEAST_BAND_MM = 3.0
LEAST_SHARE = 0.06
# Share of the window that lies where its colour says it should: below, it is no stack of bands.
BANDS_FIT = 0.88
# A pixel further from its own layer's colour than this, in ΔE00, or than 4 robust sd, is something else.
FOREIGN = 5.0
# What neighbouring pixels differ by in a quiet picture, in Lab units added up; the side of the median, some 1.25 mm.
QUIET = 0.6
_MEDIAN_PX = 5
# The rim of the window lies in the shadow of its edge; the seams between layers are neither's colour.
RIM = 0.06
SEAM_MM = 0.75
# A form: what keeps clear of the window's edge but for this share of it is the middle; what holds at least so much of
# the edge is its rim; lines are mostly gone when whatever is narrower than this is taken away, and are long.
MIDDLE_TOUCHES, RIM_HOLDS, MIDDLE_LEAST = 0.06, 0.85, 0.1
VEIN_MM, VEIN_LEFT, VEIN_SLENDER = 5.0, 0.35, 3.0
# A colour that is nowhere clear and no further than this from the line between two others (Lab) is their soft seam.
SEAM_OFF = 4.0
# A film: nearly white, and on the straight way from another layer's colour to that of ash.
FILM_WHITE = np.array([95.0, 0.0, 4.0])
FILM_FROM, FILM_CHROMA, FILM_OFF = 80.0, 16.0, 8.0
# What covers more than half is more likely the soap itself.
FILM_MOST = 0.5
# How far on the way from its layer's colour to that of ash a film may be; and the share that counts as one piece.
FILM_COVERS, ONE_PIECE = (0.2, 1.1), 0.8


Form = Literal["patches", "middle", "rim", "veins"]
"""How a colour lies in a window: clear of its edge, all round the edge, in lines, or otherwise."""


@dataclass(frozen=True)
class Layer:
    """One colour of the window. `lab` is its median as seen, to tell layers apart; `share` of the window's area.

    `film` says that its colour may be that of a white film on another layer; `form` is how it lies in the window.
    Neither decides what it is: `curejournal.workflow.photos.portions` compares it with what the portion is known to be.
    """

    outline: Points
    lab: Lab
    share: float
    film: bool = False
    form: Form = "patches"


@dataclass(frozen=True)
class Layers:
    """The colours of a window: bands in their order from the card's top, or from its left if they stand, or swirls.

    `left_out` is the share of the window that belongs to no layer: embeds, crumbs, glints, seams; `unclear` that of
    colours which are large enough to be a layer, but nowhere clear enough to be measured.
    """

    kind: Literal["one", "bands", "swirls"]
    layers: tuple[Layer, ...]
    left_out: float = 0.0
    unclear: float = 0.0


def split_window(flat: Flat) -> tuple[Layers, Ints]:
    """Sort a straightened window into layers or swirls.

    Parameters
    ----------
    flat : Flat
        The straightened window.

    Returns
    -------
    layers : Layers
    numbers : ndarray of shape (H, W)
        For each pixel its layer; where that can hardly be anything but a white film, the layer under the film.
    """
    lab = _smooth(flat.lab)
    numbers = _bands(lab)
    kind: Literal["one", "bands", "swirls"] = "bands"
    if _misplaced(lab, numbers, _medians(lab, numbers)) > 1 - BANDS_FIT:
        kind, numbers = "swirls", _clusters(lab)
    numbers = _alike_joined(lab, numbers)
    colours = _medians(lab, numbers)
    if len(colours) == 1:
        kind = "one"
    beneath = _beneath(colours) if kind == "swirls" else list(range(len(colours)))
    layers, kept, unclear = [], np.zeros(numbers.shape, bool), 0.0
    for number, colour in enumerate(colours):
        mask = _own_part(lab, numbers == number, colour, seams=len(colours) > 1) & ~flat.burnt
        outline, share = flat.outline(mask), float((numbers == number).mean())
        if not outline:
            unclear += 0.0 if _between(colour, np.delete(colours, number, axis=0)) else share
            continue
        form = _form(numbers == number) if kind == "swirls" else "patches"
        kept |= mask
        median = np.median(lab[mask], axis=0)
        seen = (float(median[0]), float(median[1]), float(median[2]))
        film = beneath[number] != number
        if not film or share > FILM_MOST or form in ("rim", "veins"):
            beneath[number] = number
        layers.append(Layer(outline, seen, share, film, form))
    return Layers(kind, tuple(layers), float(1 - kept.mean()), unclear), np.asarray(beneath, np.intp)[numbers]


def _form(mask: Mask) -> Form:
    """How a colour lies in the window."""
    edge = np.concatenate([mask[0], mask[-1], mask[:, 0], mask[:, -1]])
    closed = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    count, _, stats, _ = cv2.connectedComponentsWithStats(closed)
    largest = float(stats[1:, cv2.CC_STAT_AREA].max()) if count > 1 else 0.0
    if edge.mean() <= MIDDLE_TOUCHES and largest > ONE_PIECE * mask.sum() and mask.mean() >= MIDDLE_LEAST:
        return "middle"
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (round(VEIN_MM * PX_PER_MM) | 1,) * 2)
    pad = disc.shape[0]
    framed = cv2.copyMakeBorder(mask.astype(np.uint8), pad, pad, pad, pad, cv2.BORDER_REPLICATE)
    left = cv2.morphologyEx(framed, cv2.MORPH_OPEN, disc)[pad:-pad, pad:-pad]
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    areas = np.array([max(cv2.contourArea(contour), 1.0) for contour in contours])
    slender = np.array([cv2.arcLength(contour, closed=True) ** 2 for contour in contours]) / (4 * np.pi * areas)
    if left.sum() < VEIN_LEFT * mask.sum() and np.average(slender, weights=areas) > VEIN_SLENDER:
        return "veins"
    others = 1 - closed
    inner, _, apart, _ = cv2.connectedComponentsWithStats(others)
    one = inner > 1 and apart[1:, cv2.CC_STAT_AREA].max() > ONE_PIECE * max(int(others.sum()), 1)
    return "rim" if edge.mean() >= RIM_HOLDS and one and others.mean() >= MIDDLE_LEAST else "patches"


def _between(colour: Floats, others: Floats) -> bool:
    """Whether a colour is a mixture of two others, as their soft seam is."""
    for first, second in combinations(others, 2):
        way = second - first
        share = float(np.clip((colour - first) @ way / (way @ way), 0.0, 1.0))
        if np.linalg.norm(colour - first - share * way) < SEAM_OFF:
            return True
    return False


def _alike_joined(lab: Floats, numbers: Ints) -> Ints:
    """Neighbouring numbers of one colour made one: an embed at the window's end makes no band of its own."""
    while numbers.max() > 0:
        colours = _medians(lab, numbers)
        steps = ciede2000(colours[:-1], colours[1:])
        if steps.min() >= LEAST_STEP:
            break
        numbers = numbers - (numbers > int(steps.argmin()))
    return numbers


def _beneath(colours: Floats) -> list[int]:
    """For each colour itself, or the one that it may be a white film on."""
    beneath = list(range(len(colours)))
    for k, colour in enumerate(colours):
        if colour[0] < FILM_FROM or np.hypot(colour[1], colour[2]) > FILM_CHROMA:
            continue
        for other in range(len(colours)):
            way = FILM_WHITE - colours[other]
            share = float((colour - colours[other]) @ way / (way @ way))
            if (
                other != k
                and FILM_COVERS[0] < share < FILM_COVERS[1]
                and np.linalg.norm(colour - colours[other] - share * way) < FILM_OFF
            ):
                beneath[k] = other
    return beneath


def _smooth(lab: Floats) -> Floats:
    """Without crumbs and noise: a median over some 1.25 mm, taken again where it still left noise."""
    for _ in range(3):
        parts = [cv2.medianBlur(np.asarray(lab[..., k], np.float32), _MEDIAN_PX) for k in range(3)]
        lab = np.stack(parts, axis=-1).astype(float)
        if np.median(np.abs(np.diff(lab, axis=1)).sum(axis=-1)) < QUIET:
            break
    return lab


def _bands(lab: Floats) -> Ints:
    """Each pixel's band."""
    rows, columns = (np.asarray(index, np.intp) for index in np.indices(lab.shape[:2]))
    flat_lab = lab.reshape(-1, 3)
    best, towards = -1.0, np.pi / 2
    for angle in np.radians(np.arange(0, 180, 5)):
        at = _along(rows, columns, angle)
        means, counts = _binned(flat_lab, at)
        between = float((counts[:, None] * (means - flat_lab.mean(axis=0)) ** 2).sum())
        if between > best:
            best, towards = between, float(angle)
    # Bands count from the top of the card, or from its left where they stand upright.
    if np.degrees(towards) > 135:
        towards -= np.pi
    at = _along(rows, columns, towards)
    profile, counts = _profile(lab, at)
    borders = _cut(profile, counts)
    return np.asarray(np.searchsorted(borders, at, side="right"), np.intp).reshape(lab.shape[:2])


def _along(rows: Ints, columns: Ints, angle: float) -> Ints:
    """Each pixel's place along a direction, in half millimetres from the first."""
    along = (columns * np.cos(angle) + rows * np.sin(angle)) / PX_PER_MM
    return np.asarray(np.floor(2 * (along - along.min())), np.intp).ravel()


def _binned(values: Floats, at: Ints) -> tuple[Floats, Floats]:
    counts = np.bincount(at).astype(float)
    sums = np.stack([np.bincount(at, values[:, k]) for k in range(3)], axis=1)
    return sums / np.maximum(counts, 1)[:, None], counts


def _profile(lab: Floats, at: Ints) -> tuple[Floats, Floats]:
    """The median colour of each step along the bands, so that an embed does not count; and its pixels."""
    order = np.argsort(at, kind="stable")
    counts = np.bincount(at)
    parts = np.split(lab.reshape(-1, 3)[order], np.cumsum(counts)[:-1])
    medians = np.array([np.median(part, axis=0) if len(part) else np.full(3, np.nan) for part in parts])
    good = np.isfinite(medians[:, 0])
    filled = np.stack([np.interp(np.arange(len(counts)), np.flatnonzero(good), medians[good, k]) for k in range(3)], 1)
    return filled, counts.astype(float)


def _cut(profile: Floats, counts: Floats) -> Ints:
    """The steps at which a new band begins: least squares by dynamic programming, then alike neighbours joined."""
    n, least = len(profile), round(2 * LEAST_BAND_MM)
    weight = np.concatenate([[0.0], np.cumsum(counts)])
    first = np.concatenate([np.zeros((1, 3)), np.cumsum(counts[:, None] * profile, axis=0)])
    second = np.concatenate([[0.0], np.cumsum(counts * (profile**2).sum(axis=1))])

    def cost(start: int, end: int) -> float:
        w = max(weight[end] - weight[start], 1e-9)
        total = first[end] - first[start]
        return float(second[end] - second[start] - total @ total / w)

    table = np.array([[cost(i, j) if j - i >= least else np.inf for j in range(n + 1)] for i in range(n)])
    reach = table[0].copy()
    choices: list[Ints] = []
    for _ in range(MOST_LAYERS - 1):
        options = reach[:n, None] + table
        choices.append(np.asarray(options.argmin(axis=0), np.intp))
        longer = options.min(axis=0)
        if not np.isfinite(longer[n]):
            choices.pop()
            break
        reach = longer
    borders, end = [], n
    for choice in reversed(choices):
        end = int(choice[end])
        borders.append(end)
    return _joined(profile, counts, sorted(borders))


def _joined(profile: Floats, counts: Floats, borders: list[int]) -> Ints:
    """Borders between bands that are large and differ enough: the weakest goes first."""
    while borders:
        ends = [0, *borders, len(profile)]
        bands = list(pairwise(ends))
        middles = np.array([_middle(profile, counts, start, end) for start, end in bands])
        steps = ciede2000(middles[:-1], middles[1:])
        shares = np.array([counts[start:end].sum() for start, end in bands]) / counts.sum()
        # One that is too small is joined first, and to the neighbour that it is more like.
        small = np.minimum(shares[:-1], shares[1:]) < LEAST_SHARE
        weakest = int(np.argmin(np.where(small == small.any(), steps, np.inf)))
        if not small.any() and steps[weakest] >= LEAST_STEP:
            break
        del borders[weakest]
    return np.array(borders, np.intp)


def _middle(profile: Floats, counts: Floats, start: int, end: int) -> Floats:
    """A band's colour: near a border a soft edge or a wave mixes both."""
    trim = (end - start) // 4
    return np.asarray(
        np.average(profile[start + trim : end - trim], axis=0, weights=counts[start + trim : end - trim] + 1e-9)
    )


def _medians(lab: Floats, numbers: Ints) -> Floats:
    return np.array([np.median(lab[numbers == k], axis=0) for k in range(int(numbers.max()) + 1)])


def _nearest(lab: Floats, colours: Floats) -> tuple[Ints, Floats]:
    """The nearest of some colours at each pixel, and how far off it is (ΔE00)."""
    off = np.stack([ciede2000(lab, np.broadcast_to(colour, lab.shape)) for colour in colours], axis=-1)
    return np.asarray(off.argmin(axis=-1), np.intp), np.asarray(off.min(axis=-1))


def _misplaced(lab: Floats, numbers: Ints, colours: Floats) -> float:
    """The share of pixels that another band's colour, or none, explains clearly better than their own band's."""
    off = np.stack([ciede2000(lab, np.broadcast_to(colour, lab.shape)) for colour in colours], axis=-1)
    own = np.take_along_axis(off, numbers[..., None], axis=-1)[..., 0]
    noise = _noise(lab)
    return float(((own > off.min(axis=-1) + max(1.0, noise)) | (own > 2 * FOREIGN + noise)).mean())


def _noise(lab: Floats) -> float:
    """What places a millimetre apart usually differ by, in Lab units: noise, where most are of one colour."""
    side = round(PX_PER_MM)
    return float(np.median(np.linalg.norm(lab[:, side:] - lab[:, :-side], axis=-1)))


def _clusters(lab: Floats) -> Ints:
    """Each pixel's colour among those of a swirl; 0 everywhere if there is only one."""
    side = round(PX_PER_MM)
    cells = cv2.resize(
        lab.astype(np.float32), (lab.shape[1] // side, lab.shape[0] // side), interpolation=cv2.INTER_NEAREST
    )
    points = cells.reshape(-1, 3).astype(float)
    groups = fcluster(linkage(points, "average"), max(2 * LEAST_STEP + 1, 3 * _noise(lab)), "distance")
    sizes = np.bincount(groups)
    large = [k for k in np.argsort(-sizes) if sizes[k] >= LEAST_SHARE * len(points)][:MOST_LAYERS]
    if len(large) < 2:
        return np.zeros(lab.shape[:2], np.intp)
    colours = np.array([np.median(points[groups == k], axis=0) for k in large])
    return _nearest(lab, colours)[0]


def _own_part(lab: Floats, mask: Mask, colour: Floats, *, seams: bool) -> Mask:
    """Of a layer's pixels those of its colour, clear of seams and foreign bodies."""
    off = ciede2000(lab, np.broadcast_to(colour, lab.shape))
    usual = float(np.median(off[mask])) if mask.any() else 0.0
    like = mask & (off < max(FOREIGN, 4 * SD_OF_MAD * usual))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3))
    # A body has some size: single pixels are noise.
    like = mask & (cv2.medianBlur(like.astype(np.uint8), _MEDIAN_PX) > 0)
    cleaned = cv2.morphologyEx(like.astype(np.uint8), cv2.MORPH_OPEN, disc)
    grow = round(SEAM_MM * PX_PER_MM) if seams else 1
    foreign = cv2.dilate(1 - cleaned, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * grow + 1,) * 2))
    return np.asarray(foreign == 0)
