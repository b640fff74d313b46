"""How a camera made a picture's numbers out of true colours, turned round.

A photo's encoded value goes back through a tone curve (one for all channels, with
small differences), loses the flare, is divided by the light of its place on the
card and by the exposure and white balance, and has its channels unmixed. The result is a
colour in *even Lab*: CIELAB D50 with chroma compressed, so that equal
distances look about equally different and the fit cares for what the eye sees.

All parameters are zero for a camera that writes plain sRGB in even light, and
have a prior: what phones and cameras do to pictures is alike enough that 24 patches
need only correct it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from curejournal.colour.spaces import lab_from_linear, linear_from_lab, linear_from_srgb

Array = NDArray[np.float64]

_CHROMA_RATE = 0.015
"""Ours, a third of CIEDE2000's 0.045: compressing as far as that costs accuracy on saturated patches."""
_TOE = 0.03
"""Encoded reach of the floor that a channel meets at the edge of the sRGB gamut (ours)."""

GAIN, TONE, TINT, FLARE, MIX, PLANE, FLOOR = (
    slice(0, 3),
    slice(3, 7),
    slice(7, 13),
    slice(13, 16),
    slice(16, 22),
    slice(22, 24),
    slice(24, 25),
)
"""Where each kind of parameter stands: log gains; tone curve of all channels; of each channel (first and
second order); flare in linear light; how much of each other channel is mixed in; log light along x
and y; the floor's rise."""
COUNT = 25

PRIOR_SD = np.zeros(COUNT)
PRIOR_SD[GAIN] = 0.6
PRIOR_SD[TONE] = (0.3, 0.2, 0.1, 0.05)
PRIOR_SD[TINT] = (0.05, 0.05, 0.05, 0.03, 0.03, 0.03)
PRIOR_SD[FLARE] = 0.01
PRIOR_SD[MIX] = 0.1
PRIOR_SD[PLANE] = 0.05
PRIOR_SD[FLOOR] = 0.05
"""Ours: chosen on half of the test photographs; doubling or halving any of them moves the error by 1 to 3%."""
PRIOR_MEAN = np.zeros(COUNT)
PRIOR_MEAN[TONE] = (0.0, 0.35, 0.1, 0.0)
PRIOR_MEAN[FLOOR] = -0.05
PRIOR_MEAN[MIX] = (-0.06, -0.03, -0.01, -0.06, 0.015, 0.02)
"""Ours: pictures have an S-shaped tone curve over sRGB's, saturated colours are lifted to the gamut's edge, and
red and green are a little too far apart; each the mean over half of the test photographs."""

_CHANNELS = np.arange(3)
_OTHERS = np.array([(1, 2), (0, 2), (0, 1)])


def compress(lab: Array) -> Array:
    """CIELAB to even Lab: chroma C becomes log(1 + r C) / r; shape (..., 3).

    Parameters
    ----------
    lab : array_like of shape (..., 3)
        CIELAB D50/2.

    Returns
    -------
    ndarray of shape (..., 3)
        Compressed Lab.
    """
    chroma = np.maximum(np.hypot(lab[..., 1], lab[..., 2]), 1e-6)
    return _scaled(lab, np.log1p(_CHROMA_RATE * chroma) / (_CHROMA_RATE * chroma))


def expand(even_lab: Array) -> Array:
    """Even Lab to CIELAB, the inverse of `compress`; shape (..., 3).

    Parameters
    ----------
    even_lab : ndarray of shape (..., 3)
        Compressed Lab, see `camera.compress`.

    Returns
    -------
    ndarray of shape (..., 3)
        CIELAB D50/2.
    """
    chroma = np.maximum(np.hypot(even_lab[..., 1], even_lab[..., 2]), 1e-6)
    # Chroma 400 is beyond every real colour; a wild extrapolation must not overflow.
    return _scaled(
        even_lab, np.minimum(np.expm1(np.minimum(_CHROMA_RATE * chroma, 2.0)) / _CHROMA_RATE, 400.0) / chroma
    )


def slopes_of_expand(even_lab: Array) -> Array:
    """Derivatives (N, 3, 3) of CIELAB by even Lab.

    Parameters
    ----------
    even_lab : ndarray of shape (N, 3)
        Compressed Lab.

    Returns
    -------
    ndarray of shape (N, 3, 3)
        Rows are CIELAB coordinates, columns those of compressed Lab.
    """
    step = 1e-4
    after, before = expand(even_lab + step * np.multiply.outer((1.0, -1.0), np.eye(3))[:, :, None])
    return np.asarray(np.moveaxis(after - before, 0, -1) / (2.0 * step))


def _scaled(lab: Array, factor: Array) -> Array:
    return np.concatenate([lab[..., :1], lab[..., 1:] * factor[..., None]], axis=-1)


def start(encoded: Array, reference: Array) -> Array:
    """Parameters (COUNT,) to begin from: the usual camera, with the gains that bring most patches close.

    `encoded` (N, 3) as the photo shows them, `reference` (N, 3) their CIELAB; by medians, so that no bad patch matters.

    Parameters
    ----------
    encoded : ndarray of shape (N, 3)
        Encoded sRGB in [0, 1].
    reference : ndarray of shape (N, 3)
        True colours, CIELAB D50/2, in the same order.

    Returns
    -------
    ndarray of shape (COUNT,)
        Parameters of the camera model.
    """
    parameters = PRIOR_MEAN.copy()
    linear, wanted = linear_from_srgb(encoded), linear_from_lab(reference)
    # Below 1% a ratio is mostly flare and rounding.
    fair = (linear > 0.01) & (wanted > 0.01)
    for channel in range(3):
        use = fair[:, channel]
        if use.any():
            parameters[channel] = np.median(np.log(wanted[use, channel] / linear[use, channel]))
    return parameters


def even_lab(parameters: Array, encoded: Array, places: Array) -> Array:
    """True colours by the camera alone.

    Parameters
    ----------
    parameters : ndarray of shape (COUNT,)
    encoded : ndarray of shape (..., N, 3)
        Encoded sRGB in [0, 1].
    places : ndarray of shape (N, 2)
        Where on the card, in units of half its patches' extent from their middle.

    Returns
    -------
    ndarray of shape (..., N, 3)
        Even Lab.
    """
    bend, log_light = _linear_parts(encoded, places)
    linear = (linear_from_srgb(encoded + bend @ parameters) - parameters[FLARE]) * np.exp(log_light @ parameters)
    return compress(lab_from_linear(linear @ _unmixing(parameters).T))


def jacobian(parameters: Array, encoded: Array, places: Array) -> tuple[Array, Array]:
    """`even_lab` (N, 3) and its derivatives by the parameters (3 N, COUNT).

    Parameters
    ----------
    parameters : ndarray of shape (COUNT,)
        Of the camera model.
    encoded : ndarray of shape (N, 3)
        Encoded sRGB in [0, 1].
    places : ndarray of shape (N, 2)
        Where each lies on the card, relative to its middle; zeros where that is not known.

    Returns
    -------
    even_lab : ndarray of shape (N, 3)
        The colours as the camera model has them, compressed Lab.
    derivatives : ndarray of shape (3 N, COUNT)
        By the parameters, patch after patch.
    """
    step = 1e-6  # for sRGB's curve and for even Lab; all else is in closed form
    bend, log_light = _linear_parts(encoded, places)
    curved, light = encoded + bend @ parameters, np.exp(log_light @ parameters)
    undone, beside = linear_from_srgb(np.stack([curved, curved + step]))
    linear = (undone - parameters[FLARE]) * light
    slopes = ((beside - undone) / step * light)[..., None] * bend + linear[..., None] * log_light
    slopes[:, _CHANNELS, FLARE.start + _CHANNELS] = -light
    unmixing = _unmixing(parameters)
    slopes = unmixing @ slopes
    for channel, others in enumerate(_OTHERS):
        slopes[:, channel, MIX.start + 2 * channel + np.arange(2)] = linear[:, others] - linear[:, [channel]]
    values = compress(lab_from_linear(linear @ unmixing.T + step * np.eye(4, 3, k=-1)[:, None]))
    return values[0], (np.moveaxis((values[1:] - values[0]) / step, 0, -1) @ slopes).reshape(-1, COUNT)


def _linear_parts(encoded: Array, places: Array) -> tuple[Array, Array]:
    """What one unit of each parameter adds to encoded values and to the log of light, each (..., N, 3, COUNT)."""
    # Legendre-like, zero at black and white, which gain and flare move.
    arch, tilt = encoded * (1.0 - encoded), 1.0 - 2.0 * encoded
    waves = np.stack([arch, arch * tilt, arch * (1.0 - 5.0 * arch), arch * tilt * (1.0 - 7.0 * arch)], axis=-1)
    bend, log_light = np.zeros((2, *encoded.shape, COUNT))
    bend[..., TONE] = waves
    for order in range(2):
        bend[..., _CHANNELS, TINT.start + 3 * order + _CHANNELS] = waves[..., order]
    bend[..., FLOOR] = np.exp(-np.maximum(encoded, 0.0) / _TOE)[..., None]
    log_light[..., _CHANNELS, GAIN.start + _CHANNELS] = 1.0
    log_light[..., PLANE] = -places[..., None, :]
    return bend, log_light


def _unmixing(parameters: Array) -> Array:
    """The matrix (3, 3) that takes linear light to its channels unmixed."""
    mix = parameters[MIX].reshape(3, 2)
    unmixing = np.diag(1.0 - mix.sum(axis=1))
    unmixing[_CHANNELS[:, None], _OTHERS] = mix
    return unmixing
