"""Pixels of a picture: device values as sRGB, clipping, noise, and which of some pixels are of one colour."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from curejournal.base.normal import SD_OF_MAD
from curejournal.photo.read.profile import Encoding

Floats = NDArray[np.float64]
Pixels = NDArray[np.uint8]

# 8 bits, and JPEG's rounding, end a little before 255.
CLIPPED_FROM = 254
CLIPPED_SHARE = 0.10
# JPEG's 8 x 8 blocks and a phone's denoising tie neighbours together: one block counts as one pixel.
PIXELS_TIED = 64
# What a channel at nothing says is only that the colour is beyond: known no better than this, in encoded units. Ours: a
# saturated cyan of a chart lies so far beyond the red of sRGB.
BLACK_TO, BLACK_SD = 1, 0.06
# The step of 8 bits, as a standard deviation of a median: 1/255 / sqrt(12), and what tone mapping leaves.
NOISE_FLOOR = 0.5 / 255


def to_srgb(device: Floats, encoding: Encoding | None) -> Floats:
    """Device values in [0, 1] as encoded sRGB.

    Parameters
    ----------
    device : ndarray of shape (..., 3)
        Device values in [0, 1].
    encoding : Encoding or None
        Of the file; None for sRGB.

    Returns
    -------
    ndarray of shape (..., 3)
        Encoded sRGB.
    """
    return device if encoding is None else encoding.to_srgb(device)


def most_alike(encoded: Floats) -> NDArray[np.bool_]:
    """Which pixels (..., M, 3) are of the colour of most, in each of some places.

    Parameters
    ----------
    encoded : ndarray of shape (..., M, 3)
        Encoded sRGB of the pixels of each place.

    Returns
    -------
    ndarray of shape (..., M), bool
    """
    # Fine enough to choose by, and faster; so are channels one after another.
    values = np.ascontiguousarray(encoded.astype(np.float32).swapaxes(-1, -2))
    keep = _densest_half(values.mean(axis=-2))
    for _ in range(8):
        away = np.abs(values - _median(values, keep))
        # The floor keeps a smooth area from losing pixels to rounding.
        width = np.maximum(SD_OF_MAD * _median(away, keep), 0.006)
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


def _densest_half(brightness: NDArray[np.float32]) -> NDArray[np.bool_]:
    """The half of the values (..., M) that lies in the shortest interval."""
    ordered = np.sort(brightness, axis=-1)
    half = ordered.shape[-1] // 2
    lengths = ordered[..., half:] - ordered[..., : ordered.shape[-1] - half]
    first = np.argmin(lengths, axis=-1)[..., None]
    low, high = (np.take_along_axis(ordered, at, axis=-1) for at in (first, first + half))
    return np.asarray((brightness >= low) & (brightness <= high))
