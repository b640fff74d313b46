"""Pixels of a card's patches and of an area of soap: robust colours, noise, clipping."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from curejournal.colour.spaces import lab_from_srgb, linear_from_srgb, srgb_from_linear
from curejournal.photo.card import Patch, Rect
from curejournal.photo.find.placement import Placement, Points
from curejournal.photo.read.picture_file import Pixels
from curejournal.photo.read.profile import Encoding

Floats = NDArray[np.float64]

# Only the middle of a patch is used, so that a quarter patch of misplacement is harmless.
INSET = 0.25
# 8 bits, and JPEG's rounding, end a little before 255.
CLIPPED_FROM = 254
CLIPPED_SHARE = 0.10
# JPEG's 8 x 8 blocks and a phone's denoising tie neighbours together: one block counts as one pixel.
PIXELS_TIED = 64
# The step of 8 bits, as a standard deviation of a median: 1/255 / sqrt(12), and what tone mapping leaves.
NOISE_FLOOR = 0.5 / 255
# Ours, in encoded units; a saturated cyan of a chart lies so far beyond sRGB's red.
BLACK_SD = 0.06
# Ours: the mean of a mottled area, sd 0.02 in encoded units, is then good to 0.02 / sqrt(4000), some 0.0003.
AREA_SAMPLE = 4_000


@dataclass(frozen=True)
class PatchSamples:
    """What a picture shows of a card's patches, in the order asked for.

    `encoded` (N, 3) are medians as encoded sRGB; `noise_sd` (N, 3) their standard deviations;
    `burnt` (N,) at the top of some channel; `seen` (N,) inside the picture;
    `smear` the width of edges as a share of a patch; `smallest_px` the smallest patch's shorter side, full size.
    """

    encoded: Floats
    noise_sd: Floats
    burnt: NDArray[np.bool_]
    seen: NDArray[np.bool_]
    smear: float
    smallest_px: float


def to_srgb(device: Floats, encoding: Encoding | None) -> Floats:
    """Device values in [0, 1] as encoded sRGB."""
    return device if encoding is None else encoding.to_srgb(device)


def pixels_in(picture: Pixels, outline: Points, scale: float, most: int = AREA_SAMPLE) -> tuple[Pixels, Floats, int]:
    """The pixels inside an outline given in full-size pixels, thinned evenly to about `most`.

    Returns
    -------
    values : ndarray of shape (M, 3), uint8
    places : ndarray of shape (M, 2)
        x, y in full-size pixels.
    count : int
        How many pixels of the full-size picture lie inside.
    """
    points = (np.array(outline) + 0.5) / scale - 0.5
    if not np.isfinite(points).all():
        points = np.zeros((1, 2)) - 1.0  # nowhere in the picture
    height, width = picture.shape[:2]
    x0, y0 = np.clip(np.floor(points.min(axis=0)), 0, (width, height)).astype(int)
    x1, y1 = np.clip(np.ceil(points.max(axis=0)) + 1, 0, (width, height)).astype(int)
    if x1 <= x0 or y1 <= y0:
        return np.empty((0, 3), np.uint8), np.empty((0, 2)), 0
    mask = np.zeros((y1 - y0, x1 - x0), np.uint8)
    cv2.fillPoly(mask, [np.round((points - (x0, y0)) * 16).astype(np.int32)], (1,), shift=4)
    rows, columns = np.nonzero(mask)
    count = round(len(rows) * scale**2)
    step = max(1, len(rows) // most)
    rows, columns = rows[::step] + y0, columns[::step] + x0
    places = (np.stack([columns, rows]).T + 0.5) * scale - 0.5
    # Channel after channel in memory, as places are: what follows goes along them, and is several times as fast.
    return np.asfortranarray(picture[rows, columns]), places, count


SHARPNESS_PX = 4096
"""The middle of a picture in which sharpness is measured; ours, as 16 megapixels take 0.2 GB to work on."""


def sharpness(picture: Pixels) -> float:
    """Measure how sharp a picture is in its less sharp direction, so that a hand's motion shows whichever way it went.

    The steepest step from pixel to pixel across rows or columns, each averaged over five pixels along the edge against
    noise, as a share of the picture's range of grey: 0.3 and more is sharp.
    """
    rows, columns = (max(0, (side - SHARPNESS_PX) // 2) for side in picture.shape[:2])
    middle = picture[rows : rows + SHARPNESS_PX, columns : columns + SHARPNESS_PX]
    grey = cv2.cvtColor(middle, cv2.COLOR_RGB2GRAY).astype(np.float32)
    low, high = np.percentile(grey, (1, 99))
    steepest = (
        np.percentile(np.abs(np.diff(cv2.blur(grey, (5, 1)), axis=0)), 99.9),
        np.percentile(np.abs(np.diff(cv2.blur(grey, (1, 5)), axis=1)), 99.9),
    )
    return float(min(steepest) / max(high - low, 1.0))


# Places of a patch in shares of its sides: the middle half, and rays from the middle to a little beyond each edge.
_MIDDLE = np.stack(np.meshgrid(*[np.linspace(INSET, 1 - INSET, 18)] * 2), axis=-1).reshape(-1, 2)
_EVENLY = np.stack(np.meshgrid(*[np.linspace(0, 1, 18)] * 2), axis=-1).reshape(-1, 2)
_RAY = np.linspace(0.5, 1.07, 25)
_ACROSS = np.full_like(_RAY, 0.5)
_RAYS = np.stack(
    [np.stack(pair, -1) for pair in ((_RAY, _ACROSS), (1 - _RAY, _ACROSS), (_ACROSS, _RAY), (_ACROSS, 1 - _RAY))]
)


def sample_patches(
    picture: Pixels, scale: float, placement: Placement, patches: tuple[Patch, ...], encoding: Encoding | None
) -> PatchSamples:
    """The colours of patches in a picture at 1/scale of full size, all at once."""
    corner, size = np.array([(p.x, p.y) for p in patches]), np.array([(p.w, p.h) for p in patches])
    at = _places(placement, corner, size, _MIDDLE, scale)
    pixels, seen = _pixels_at(picture, at)
    values = np.array(pixels.swapaxes(1, 2), np.int16, order="C")  # sorts fast
    twice = _twice_median(values)
    medians, spread = twice / 510.0, 1.4826 * _twice_median(np.abs(2 * values - twice[..., None])) / 1020.0
    sides = np.linalg.norm(at[:, [17, -18]] - at[:, [0, 0]], axis=2) / (1 - 2 * INSET) * scale
    independent = np.maximum(np.prod(sides * (1 - 2 * INSET), axis=1) / PIXELS_TIED, 1.0)
    noise = np.hypot(1.2533 * spread / np.sqrt(independent)[:, None], NOISE_FLOOR)
    # A channel at nothing says only that the colour is beyond: known no better than this.
    noise = np.where((values <= 1).mean(axis=2) > 0.5, BLACK_SD, noise)
    smears = _smears(picture, _places(placement, corner[::2], size[::2], _RAYS, scale))
    return PatchSamples(
        to_srgb(np.where(seen[:, None], medians, np.nan), encoding),
        noise,
        np.asarray((values >= CLIPPED_FROM).any(axis=1).mean(axis=1) > CLIPPED_SHARE, bool),
        seen,
        float(np.median(smears)) if len(smears) else 0.0,
        float(sides.min()),
    )


def _places(placement: Placement, corner: Floats, size: Floats, shares: Floats, scale: float) -> Floats:
    """Places (N, ..., 2) in px of the reduced picture, of shares (..., 2) of the sides of N patches."""
    mm = corner[:, None] + shares.reshape(-1, 2) * size[:, None]
    to_picture = np.array([[1, 0, (1 - scale) / 2], [0, 1, (1 - scale) / 2], [0, 0, scale]]) @ placement.matrix
    return np.asarray(cv2.perspectiveTransform(mm, to_picture), float).reshape(len(corner), *shares.shape)


def _pixels_at(picture: Pixels, at: Floats) -> tuple[Pixels, NDArray[np.bool_]]:
    """The pixels (N, M, 3) nearest to places (N, M, 2), and which of the N lie wholly inside the picture."""
    bounds = np.array([picture.shape[1] - 1, picture.shape[0] - 1])
    seen = np.asarray(((at >= -0.5) & (at <= bounds + 0.5)).all(axis=(1, 2)), bool)
    columns, rows = np.clip(np.round(at), 0, bounds).astype(int).transpose(2, 0, 1)
    return picture[rows, columns], seen


def _twice_median(values: NDArray[np.int16]) -> NDArray[np.int16]:
    """Twice the median of whole numbers along the last axis, whole as well."""
    ordered, count = np.sort(values, axis=-1), values.shape[-1]
    return np.asarray(ordered[..., (count - 1) // 2] + ordered[..., count // 2])


def _smears(picture: Pixels, at: Floats) -> Floats:
    """The widths of edges along rays at (N, 4, 25, 2), as shares of a patch's side, where there is contrast to tell.

    The width is the whole step over its steepest slope: 2.5 standard deviations of a Gaussian blur. It does
    not ask where exactly the edge is, since charts differ in the size of their gaps.
    """
    height, width = picture.shape[:2]
    rays = at.reshape(-1, 25, 2)
    rays = rays[((rays >= 0) & (rays <= (width - 1, height - 1))).all(axis=(1, 2))].astype(np.float32)
    if not len(rays):
        return np.empty(0)
    colours = cv2.remap(picture, rays[..., 0], rays[..., 1], cv2.INTER_LINEAR).astype(float)
    way = colours[:, -1] - colours[:, 0]
    length = np.linalg.norm(way, axis=1)
    told = length > 40
    along = np.einsum("rkc,rc->rk", colours[told], way[told]) / length[told, None]
    steepest = np.abs(along[:, 3:] - along[:, :-3]).max(axis=1) / 3  # over three steps: noise makes no edge
    return np.asarray(length[told] / steepest / 24 * 0.57)


@dataclass(frozen=True)
class AreaSample:
    """The robust colour of an area: `encoded` (3,) sRGB of the mean linear light of what is kept.

    `covariance` (3, 3) of that mean from noise and mottling, `spread` (3,) the
    standard deviation of the kept pixels, both in encoded sRGB; `kept` the share of pixels kept,
    `burnt` the share of clipped ones, `count` the area's pixels in the full-size picture;
    `uneven` how far apart, in Lab of the uncorrected picture, the colours of the area's parts are: nine in ten parts
    lie within it; `fall` how far the light
    falls off across it, as a logarithm, when that of the card's whites is divided out.
    """

    encoded: Floats
    covariance: Floats
    kept: float
    burnt: float
    count: int
    spread: Floats
    uneven: float
    fall: float


def sample_area(
    picture: Pixels,
    scale: float,
    outline: Points,
    encoding: Encoding | None,
    light: Callable[[Floats], Floats] | None = None,
) -> AreaSample | None:
    """The colour of an area without crumbs, glints and shadows.

    Beginning with the half that is most alike in brightness [1]_, pixels more than 3.5 robust standard
    deviations from the median in any channel are left out; the rest is averaged in linear light, since
    that is what an eye at a distance and an instrument's aperture do with a mottled surface.
    `light(places)` gives the relative light (M, 3) at full-size pixels (M, 2), to be divided out. None
    if fewer than 4 pixels are there.

    References
    ----------
    .. [1] The shortest half (Andrews et al., Robust Estimates of Location, 1972): unlike the median, a soft glare over
       two fifths of the area does not draw it.
    """
    values, places, count = pixels_in(picture, outline, scale)
    if len(values) < 4:
        return None
    burnt = (values >= CLIPPED_FROM).any(axis=1)
    linear = linear_from_srgb(to_srgb(values / 255.0, encoding))
    if light is not None:
        linear = linear / light(places)
    encoded = srgb_from_linear(linear)
    keep = _alike(encoded)
    # No more than were looked at, of a large area.
    independent = max(1.0, min(keep.mean() * count / PIXELS_TIED, keep.sum()))
    mottling = np.cov(encoded.T.compress(keep, axis=1))
    return AreaSample(
        srgb_from_linear(linear.T.compress(keep, axis=1).mean(axis=1)),
        mottling / independent + np.eye(3) * NOISE_FLOOR**2,
        float(keep.mean()),
        float(burnt.mean()),
        count,
        np.sqrt(np.diag(mottling)),
        _unevenness(*_without_shadows(encoded, places, keep)),
        _fall_of_light(linear[keep], places[keep]),
    )


def light_on(
    picture: Pixels, scale: float, placement: Placement, rects: Sequence[Rect], encoding: Encoding | None
) -> Floats:
    """The mean linear light (K, 3) of white places on the card by the same rule as areas; nan where burnt out."""
    corner, size = np.array([(r.x, r.y) for r in rects]), np.array([(r.w, r.h) for r in rects])
    values, seen = _pixels_at(picture, _places(placement, corner, size, _EVENLY, scale))
    encoded = to_srgb(values / 255.0, encoding)
    keep = _alike(encoded)[..., None]
    light = (linear_from_srgb(encoded) * keep).sum(axis=1) / keep.sum(axis=1)
    burnt = (values >= CLIPPED_FROM).any(axis=2).mean(axis=1) >= CLIPPED_SHARE
    return np.where((seen & ~burnt)[:, None], light, np.nan)


def _alike(encoded: Floats) -> NDArray[np.bool_]:
    """Which pixels (..., M, 3) are of the colour of most, in each of some places."""
    # Fine enough to choose by, and faster; so are channels one after another.
    values = np.ascontiguousarray(encoded.astype(np.float32).swapaxes(-1, -2))
    keep = _densest_half(values.mean(axis=-2))
    for _ in range(8):
        away = np.abs(values - _median(values, keep))
        # The floor keeps a smooth area from losing pixels to rounding.
        width = np.maximum(1.4826 * _median(away, keep), 0.006)
        kept = np.asarray((away < 3.5 * width).all(axis=-2))
        kept = np.where(kept.sum(axis=-1, keepdims=True) < 4, keep, kept)
        if (kept == keep).all():
            break
        keep = kept
    return keep


def _median(values: NDArray[np.float32], keep: NDArray[np.bool_]) -> NDArray[np.float32]:
    """The medians (..., 3, 1) of those values (..., 3, M) that are kept (..., M)."""
    ordered = np.sort(np.where(keep[..., None, :], values, np.float32(np.inf)), axis=-1)
    count = keep.sum(axis=-1)[..., None, None]
    middle = np.broadcast_to(np.concatenate([(count - 1) // 2, count // 2], axis=-1), (*ordered.shape[:-1], 2))
    return np.asarray(np.take_along_axis(ordered, middle, axis=-1).mean(axis=-1, keepdims=True))


def _fall_of_light(linear: Floats, places: Floats) -> float:
    """How far a smooth surface through the logarithm of light (M, 3) at places (M, 2) falls, from 95 to 5% of them."""
    x, y = (places - places.mean(axis=0)).T / np.maximum(np.ptp(places, axis=0).max(), 1e-9)
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
    logs = np.log(np.maximum(linear[:, 1], 1e-3))
    surface = terms @ np.linalg.lstsq(terms, logs)[0]
    return float(np.ptp(np.quantile(surface, [0.05, 0.95])))


def _without_shadows(encoded: Floats, places: Floats, keep: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Colours and places (M, ...) less those left out as darker: in relief or under an edge, no second colour."""
    brightness = encoded.mean(axis=1)
    use = keep | (brightness > np.median(brightness[keep]))
    return encoded[use], places[use]


def _unevenness(encoded: Floats, places: Floats) -> float:
    """The 90th percentile of the distance in Lab between the means of 6 x 6 parts (M, 3) and their middle."""
    low, high = places.min(axis=0), places.max(axis=0)
    column, row = np.minimum((6 * (places - low) / np.maximum(high - low, 1e-9)).astype(int), 5).T
    part = 6 * row + column
    counts = np.bincount(part, minlength=36)
    enough = counts >= 20
    if np.count_nonzero(enough) < 4:
        return 0.0
    sums = np.stack([np.bincount(part, channel, minlength=36) for channel in encoded.T], axis=1)
    lab = lab_from_srgb(np.clip(sums[enough] / counts[enough, None], 0.0, 1.0))
    return float(np.quantile(np.linalg.norm(lab - np.median(lab, axis=0), axis=1), 0.9))


def _densest_half(brightness: NDArray[np.float32]) -> NDArray[np.bool_]:
    """The half of the values (..., M) that lies in the shortest interval."""
    ordered = np.sort(brightness, axis=-1)
    half = ordered.shape[-1] // 2
    lengths = ordered[..., half:] - ordered[..., : ordered.shape[-1] - half]
    first = np.argmin(lengths, axis=-1)[..., None]
    low, high = (np.take_along_axis(ordered, at, axis=-1) for at in (first, first + half))
    return np.asarray((brightness >= low) & (brightness <= high))
