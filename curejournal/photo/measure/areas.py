"""Pixels of an area of soap: its robust colour, noise, clipping, mottling and how far the light falls off."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from curejournal.colour.spaces import lab_from_srgb, linear_from_srgb, srgb_from_linear
from curejournal.photo.pixels import (
    BLACK_SD,
    BLACK_TO,
    CLIPPED_FROM,
    NOISE_FLOOR,
    PIXELS_TIED,
    Pixels,
    most_alike,
    to_srgb,
)
from curejournal.photo.placement import Points
from curejournal.photo.read.profile import Encoding

Floats = NDArray[np.float64]

# Ours: the mean of a mottled area, sd 0.02 in encoded units, is then good to 0.02 / sqrt(4000), some 0.0003.
AREA_SAMPLE = 4_000
# Ours: where so many pixels of soap have a channel at nothing, its mean says little.
BLACK_SHARE = 0.2


def pixels_in(picture: Pixels, outline: Points, scale: float, most: int = AREA_SAMPLE) -> tuple[Pixels, Floats, int]:
    """The pixels inside an outline given in full-size pixels, thinned evenly to about `most`.

    Parameters
    ----------
    picture : ndarray of shape (H, W, 3), uint8
        RGB, upright.
    outline : sequence of (x, y)
        Corners in pixels of the upright full-size picture.
    scale : float
        Full-size pixels per pixel of `picture`.
    most : int
        About how many to keep.

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
    light_at: Callable[[Floats], Floats | None],
) -> AreaSample | None:
    """The colour of an area without crumbs, glints and shadows.

    Beginning with the half that is most alike in brightness [1]_, pixels more than 3.5 robust standard
    deviations from the median in any channel are left out; the rest is averaged in linear light, since
    that is what an eye at a distance and an instrument's aperture do with a mottled surface.
    `light_at(places)` gives the relative light (M, 3) at full-size pixels (M, 2), to be divided out, or None. None
    if fewer than 4 pixels are there.

    Parameters
    ----------
    picture : ndarray of shape (H, W, 3), uint8
        RGB, upright.
    scale : float
        Full-size pixels per pixel of `picture`.
    outline : sequence of (x, y)
        Corners in pixels of the upright full-size picture.
    encoding : Encoding or None
        Of the file; None for sRGB.
    light_at : callable
        Gives the relative light (M, 3) at full-size pixels (M, 2), or None where nothing told it.

    Returns
    -------
    AreaSample or None
        None if fewer than four pixels are inside the picture.

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
    light = light_at(places)
    if light is not None:
        linear = linear / light
    encoded = srgb_from_linear(linear)
    keep = most_alike(encoded)
    # No more than were looked at, of a large area.
    independent = max(1.0, min(keep.mean() * count / PIXELS_TIED, keep.sum()))
    black = BLACK_SD * ((values <= BLACK_TO).mean(axis=0) > BLACK_SHARE)
    mottling = np.cov(encoded.T.compress(keep, axis=1))
    return AreaSample(
        srgb_from_linear(linear.T.compress(keep, axis=1).mean(axis=1)),
        mottling / independent + np.diag(NOISE_FLOOR**2 + black**2),
        float(keep.mean()),
        float(burnt.mean()),
        count,
        np.sqrt(np.diag(mottling)),
        _unevenness(*_without_shadows(encoded, places, keep)),
        _fall_of_light(linear[keep], places[keep]),
    )


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
