"""What a picture shows of a card: the robust colours of its patches, their noise, and the light across it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from curejournal.base.normal import SD_OF_MAD, SD_OF_MEAN_DEVIATION
from curejournal.colour.illumination import Shading, fit_shading
from curejournal.colour.spaces import lab_from_srgb, linear_from_srgb, srgb_from_linear
from curejournal.photo.card import Card, Patch, Rect, centres_of
from curejournal.photo.pixels import (
    BLACK_SD,
    BLACK_TO,
    CLIPPED_FROM,
    CLIPPED_SHARE,
    NOISE_FLOOR,
    PIXELS_TIED,
    Pixels,
    most_alike,
    to_srgb,
)
from curejournal.photo.placement import Placement, Points
from curejournal.photo.read.profile import Encoding

Floats = NDArray[np.float64]

# Only the middle of a patch is used, so that a quarter patch of misplacement is harmless.
INSET = 0.25
# Ours: a quadratic surface of light has six terms (`colour.illumination`).
FEWEST_WHITES = 6
# Differences in a*, b* between the whites of one card; ours.
TINT_DOUBTED = 5.0


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
    """The colours of patches in a picture at 1/scale of full size, all at once.

    Parameters
    ----------
    picture : ndarray of shape (H, W, 3), uint8
        RGB, upright.
    scale : float
        Full-size pixels per pixel of `picture`.
    placement : Placement
    patches : tuple of Patch
        In the order of the result.
    encoding : Encoding or None
        Of the file; None for sRGB.

    Returns
    -------
    PatchSamples
    """
    corner, size = _corners_and_sizes(patches)
    at = _places(placement, corner, size, _MIDDLE, scale)
    pixels, seen = _pixels_at(picture, at)
    values = np.array(pixels.swapaxes(1, 2), np.int16, order="C")  # sorts fast
    twice = _twice_median(values)
    medians, spread = twice / 510.0, SD_OF_MAD * _twice_median(np.abs(2 * values - twice[..., None])) / 1020.0
    sides = np.linalg.norm(at[:, [17, -18]] - at[:, [0, 0]], axis=2) / (1 - 2 * INSET) * scale
    independent = np.maximum(np.prod(sides * (1 - 2 * INSET), axis=1) / PIXELS_TIED, 1.0)
    noise = np.hypot(SD_OF_MEAN_DEVIATION * spread / np.sqrt(independent)[:, None], NOISE_FLOOR)
    noise = np.where((values <= BLACK_TO).mean(axis=2) > 0.5, BLACK_SD, noise)
    smears = _smears(picture, _places(placement, corner[::2], size[::2], _RAYS, scale))
    return PatchSamples(
        to_srgb(np.where(seen[:, None], medians, np.nan), encoding),
        noise,
        np.asarray((values >= CLIPPED_FROM).any(axis=1).mean(axis=1) > CLIPPED_SHARE, bool),
        seen,
        float(np.median(smears)) if len(smears) else 0.0,
        float(sides.min()),
    )


def _corners_and_sizes(places: Sequence[Patch | Rect]) -> tuple[Floats, Floats]:
    """The top left corners (N, 2) and the sizes (N, 2) of places on the card, in mm."""
    return np.array([(one.x, one.y) for one in places]), np.array([(one.w, one.h) for one in places])


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


def light_on(
    picture: Pixels, scale: float, placement: Placement, rects: Sequence[Rect], encoding: Encoding | None
) -> Floats:
    """The mean linear light (K, 3) of white places on the card by the same rule as areas; nan where burnt out.

    Parameters
    ----------
    picture : ndarray of shape (H, W, 3), uint8
        RGB, upright.
    scale : float
        Full-size pixels per pixel of `picture`.
    placement : Placement
    rects : sequence of Rect
        White places on the card, in mm.
    encoding : Encoding or None
        Of the file; None for sRGB.

    Returns
    -------
    ndarray of shape (K, 3)
        Linear sRGB.
    """
    corner, size = _corners_and_sizes(rects)
    values, seen = _pixels_at(picture, _places(placement, corner, size, _EVENLY, scale))
    encoded = to_srgb(values / 255.0, encoding)
    keep = most_alike(encoded)[..., None]
    light = (linear_from_srgb(encoded) * keep).sum(axis=1) / keep.sum(axis=1)
    burnt = (values >= CLIPPED_FROM).any(axis=2).mean(axis=1) >= CLIPPED_SHARE
    return np.where((seen & ~burnt)[:, None], light, np.nan)


@dataclass(frozen=True)
class LightAcross:
    """The light across a card, from its whites.

    `tint_spread` is the largest difference in a*, b* between whites. `covered` are the outlines of a few that differ
    from all the others, as something lies on them, and `covered_by` is how far the furthest does, in a*, b*.
    """

    shading: Shading
    tint_spread: float
    covered: tuple[Points, ...] = ()
    covered_by: float = 0.0


def light_across(
    picture: Pixels, scale: float, placement: Placement, card: Card, encoding: Encoding | None
) -> LightAcross | None:
    """Fit the light across a card to its whites, each looked at in three places.

    Parameters
    ----------
    picture : ndarray of shape (H, W, 3), uint8
        RGB, upright, at 1/`scale` of full size.
    scale : float
    placement : Placement
    card : Card
    encoding : Encoding or None
        Of the file; None for sRGB.

    Returns
    -------
    LightAcross or None
        None if fewer than six places can be seen.
    """
    rects = [third.inset(0.2) for patch in card.patches if patch.role == "white" for third in _thirds(patch)]
    if not rects:
        return None
    light = light_on(picture, scale, placement, rects, encoding)
    seen = np.isfinite(light).all(axis=1)
    places, colours = centres_of(rects)[seen], light[seen]
    if len(places) < FEWEST_WHITES:
        return None
    off = _tints_off(colours)
    covered = off > TINT_DOUBTED
    # Few whites that differ from all the others are covered; two lights divide them more evenly.
    if not 0 < covered.sum() <= len(places) / 3:
        covered = np.zeros(len(places), dtype=bool)
    shading = fit_shading(places[~covered], colours[~covered], max(card.size_mm) / 2)
    if not covered.any():
        return LightAcross(shading, _tint_spread(colours))
    outlines = tuple(placement.outline(rects[k]) for k in np.flatnonzero(seen)[covered])
    return LightAcross(shading, 0.0, outlines, float(off.max()))


def _thirds(patch: Patch) -> list[Rect]:
    """A patch parted along its longer side."""
    x, y, w, h = patch.x, patch.y, patch.w / 3, patch.h / 3
    if patch.w >= patch.h:
        return [Rect(x + w * third, y, w, patch.h) for third in range(3)]
    return [Rect(x, y + h * third, patch.w, h) for third in range(3)]


def _tints(linear: Floats) -> Floats:
    """The a*, b* (K, 2) of whites relative to their mean, each brought to one lightness."""
    balanced = linear / linear.mean(axis=0)
    balanced /= balanced.mean(axis=1, keepdims=True)
    return lab_from_srgb(srgb_from_linear(0.8 * balanced))[:, 1:]


def _tints_off(linear: Floats) -> Floats:
    """How far each white's a*, b* is from the median white's, (K,)."""
    tints = _tints(linear)
    return np.asarray(np.linalg.norm(tints - np.median(tints, axis=0), axis=1))


def _tint_spread(linear: Floats) -> float:
    """The largest difference in hue and chroma (a*, b*) between the whites."""
    tints = _tints(linear)
    return float(np.linalg.norm(tints[:, None] - tints[None], axis=-1).max())


def evened(encoded: Floats, patches: Sequence[Patch], shading: Shading) -> Floats:
    """The colours of patches (N, 3), encoded sRGB, as they would be in the card's mean light.

    Parameters
    ----------
    encoded : ndarray of shape (N, 3)
        Encoded sRGB in [0, 1].
    patches : sequence of Patch
    shading : Shading
        The light across the card.

    Returns
    -------
    ndarray of shape (N, 3)
        Encoded sRGB.
    """
    return srgb_from_linear(linear_from_srgb(encoded) / shading.gain(centres_of(patches)))
