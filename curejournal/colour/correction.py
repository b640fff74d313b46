"""From a card in a photo to the true colour of anything else in it, with how well it is known."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import ConvexHull, QhullError

from curejournal.colour.difference import ciede2000
from curejournal.colour.spaces import lab_from_linear, linear_from_lab, linear_from_srgb, srgb_from_lab
from curejournal.errors import CureJournalError

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

FEWEST_PATCHES = 6
"""Ours: below this no model of the family can be checked by leaving patches out."""
_HULL_MARGIN = 0.03
"""Ours: in encoded units; about the noise of a patch and well below the distance between patches."""


class TooFewPatches(CureJournalError):
    """Not enough patches of the card are usable to correct the photo's colours."""


@dataclass(frozen=True)
class Kernel:
    """How alike the errors of two colours are: a Gaussian process over first-guess Lab colours.

    Standard deviations are in Lab units: `shift` common to all colours, `slope` of a linear
    change across 50 Lab units, `bend` of a quadratic one, `local` of a smooth one with
    correlation `length` (Lab units), `nugget` of each colour by itself (reference, metamerism).
    """

    name: str
    shift: float
    slope: float
    bend: float
    local: float
    length: float
    nugget: float

    def __call__(self, first: Array, second: Array) -> Array:
        """Covariances (M, N) of the errors of first-guess colours (M, 3) and (N, 3), without the nugget."""
        scaled1, scaled2 = (first - [50.0, 0.0, 0.0]) / 50.0, (second - [50.0, 0.0, 0.0]) / 50.0
        dot = scaled1 @ scaled2.T
        distance2 = ((first[:, None, :] - second[None, :, :]) ** 2).sum(axis=-1)
        smooth = self.local**2 * np.exp(-0.5 * distance2 / self.length**2)
        return np.asarray(self.shift**2 + self.slope**2 * dot + self.bend**2 * dot**2 + smooth)


KERNELS = (
    Kernel("affine", 10.0, 10.0, 0.0, 0.0, 40.0, 3.0),
    Kernel("affine and local", 10.0, 10.0, 0.0, 4.0, 40.0, 2.5),
    Kernel("quadratic", 10.0, 10.0, 5.0, 0.0, 40.0, 2.5),
    Kernel("quadratic and local", 10.0, 10.0, 4.0, 3.0, 30.0, 2.0),
)


@dataclass(frozen=True)
class _Fit:
    """One kernel fitted to the patches: what it takes to predict, and its errors with each patch left out."""

    kernel: Kernel
    inverse: Array
    weights: Array
    left_out: Array
    left_out_variance: Array


@dataclass(frozen=True)
class Correction:
    """What one photo does to colours, turned round.

    `leave_one_out` is the ΔE00 of each patch predicted from the others (nan where it was not usable);
    `candidates` are (name, mean, 95th percentile) of that for each model tried, and `model` names
    what was used; `suspects` are patches that disagree with all others (glare, thumb, stain) and
    were left out.
    """

    model: str
    leave_one_out: tuple[float, ...]
    candidates: tuple[tuple[str, float, float], ...]
    suspects: tuple[int, ...]
    _gains: Array = field(repr=False)
    _guess: Array = field(repr=False)
    _encoded: Array = field(repr=False)
    _fits: tuple[tuple[float, _Fit], ...] = field(repr=False)
    _channel_covariance: Array = field(repr=False)
    _hull: Array | None = field(repr=False)

    def colours(self, encoded: ArrayLike, noise_covariance: ArrayLike | None = None) -> tuple[Array, Array]:
        """True colours of places in the photo, with the joint covariance of their errors.

        Parameters
        ----------
        encoded : array_like of shape (M, 3)
            Encoded sRGB in [0, 1].
        noise_covariance : array_like of shape (M, 3, 3), optional
            Covariance of each reading itself (pixel noise, uneven light), in encoded units squared.

        Returns
        -------
        lab : ndarray of shape (M, 3)
            CIELAB D50.
        covariance : ndarray of shape (3 M, 3 M)
            In Lab units squared, ordered L, a, b of the first place, L, a, b of the second, ...

        """
        encoded = np.asarray(encoded, dtype=float).reshape(-1, 3)
        lab = self._predict(encoded)
        guess = _first_guess(encoded, self._gains)
        shared = np.zeros((len(encoded), len(encoded)))
        for weight, fit in self._fits:
            cross = fit.kernel(guess, self._guess)
            shared += weight * (fit.kernel(guess, guess) - cross @ fit.inverse @ cross.T)
            # Near-equal colours are most often the same material, so they share what is peculiar to it.
            distance2 = ((guess[:, None, :] - guess[None, :, :]) ** 2).sum(axis=-1)
            shared += weight * fit.kernel.nugget**2 * np.exp(-0.5 * distance2 / 10.0**2)
        covariance = np.kron(shared, self._channel_covariance)
        if noise_covariance is not None:
            step = 1e-3
            jacobian = np.stack(
                [(self._predict(encoded + step * axis) - lab) / step for axis in np.eye(3)], axis=-1
            )
            noise = jacobian @ np.asarray(noise_covariance, dtype=float) @ jacobian.transpose(0, 2, 1)
            for place, block in enumerate(noise):
                covariance[3 * place : 3 * place + 3, 3 * place : 3 * place + 3] += block
        return lab, np.asarray(covariance, dtype=float)

    def inside(self, encoded: ArrayLike) -> Flags:
        """Whether colours (M, 3), encoded, lie within the hull of the card's usable patches; shape (M,)."""
        encoded = np.asarray(encoded, dtype=float).reshape(-1, 3)
        if self._hull is None:
            return np.zeros(len(encoded), dtype=bool)
        return np.asarray((encoded @ self._hull[:, :3].T + self._hull[:, 3] <= _HULL_MARGIN).all(axis=1))

    def picture(self, encoded: ArrayLike) -> NDArray[np.uint8]:
        """The whole picture (H, W, 3), encoded in [0, 1], as in standard light: 8-bit sRGB of the same shape.

        Through a table of 17 x 17 x 17 colours with linear interpolation: for showing, not for measuring.
        """
        encoded = np.asarray(encoded, dtype=float)
        nodes = np.linspace(0.0, 1.0, 17)
        grid = np.stack(np.meshgrid(nodes, nodes, nodes, indexing="ij"), axis=-1).reshape(-1, 3)
        table = srgb_from_lab(self._predict(grid)).reshape(17, 17, 17, 3)
        position = np.clip(encoded, 0.0, 1.0) * 16.0
        cell = np.minimum(position.astype(int), 15)
        part = position - cell
        out = np.zeros(encoded.shape)
        for corner in np.ndindex(2, 2, 2):
            share = np.where(corner, part, 1.0 - part).prod(axis=-1)
            index = cell + corner
            out += share[..., None] * table[index[..., 0], index[..., 1], index[..., 2]]
        return np.asarray(np.round(255.0 * np.clip(out, 0.0, 1.0)), dtype=np.uint8)

    def _predict(self, encoded: Array) -> Array:
        guess = _first_guess(encoded, self._gains)
        lab = guess.copy()
        for weight, fit in self._fits:
            lab += weight * (fit.kernel(guess, self._guess) @ fit.weights)
        return lab


def _first_guess(encoded: Array, gains: Array) -> Array:
    return lab_from_linear(linear_from_srgb(encoded) * gains)


def _white_balance(encoded: Array, reference_lab: Array) -> Array:
    """Gain per channel of linear light that brings the patches closest, as a median of ratios (robust)."""
    linear, reference = linear_from_srgb(encoded), linear_from_lab(reference_lab)
    fair = (linear > 0.01) & (reference > 0.01)
    ratio = np.where(fair, reference / np.maximum(linear, 0.01), np.nan)
    lightness_only = np.where(np.isnan(ratio).all(axis=0), 1.0, 0.0)
    return np.asarray(np.nan_to_num(np.nanmedian(ratio, axis=0), nan=1.0) + 0.0 * lightness_only)


def _fit_kernel(kernel: Kernel, guess: Array, residual: Array, extra_variance: Array) -> _Fit:
    covariance = kernel(guess, guess) + np.diag(kernel.nugget**2 + extra_variance)
    inverse = np.asarray(np.linalg.inv(covariance), dtype=float)
    weights = inverse @ residual
    diagonal = np.diag(inverse)
    return _Fit(kernel, inverse, weights, weights / diagonal[:, None], 1.0 / diagonal)


def _hull(points: Array) -> Array | None:
    try:
        return np.asarray(ConvexHull(points).equations)
    except QhullError:
        return None


def fit_correction(
    encoded: ArrayLike,
    reference_lab: ArrayLike,
    *,
    noise_sd: ArrayLike | None = None,
    reference_covariance: ArrayLike | None = None,
    usable: ArrayLike | None = None,
) -> Correction:
    """Learn from a card's patches what the photo does to colours.

    Parameters
    ----------
    encoded : array_like of shape (N, 3)
        The patches as they are in the photo, encoded sRGB in [0, 1].
    reference_lab : array_like of shape (N, 3)
        Their true colours, CIELAB D50, in the same order.
    noise_sd : array_like of shape (N, 3), optional
        Standard deviation of each patch's reading, in encoded units.
    reference_covariance : array_like of shape (N, 3, 3), optional
        How well the true colours are known, in Lab units squared.
    usable : array_like of shape (N,), optional
        False where a patch must not be used (clipped, hidden).

    Returns
    -------
    Correction

    Raises
    ------
    TooFewPatches
        If fewer than six patches are usable.

    """
    encoded, reference = np.asarray(encoded, dtype=float), np.asarray(reference_lab, dtype=float)
    count = len(encoded)
    good = np.isfinite(encoded).all(axis=1) & np.isfinite(reference).all(axis=1)
    if usable is not None:
        good &= np.asarray(usable, dtype=bool)
    if good.sum() < FEWEST_PATCHES:
        raise TooFewPatches(
            f"Only {int(good.sum())} patches of the card can be used; {FEWEST_PATCHES} are needed.",
            "Photograph again with the whole card in the picture, evenly lit and not burnt out.",
        )
    index = np.flatnonzero(good)
    patches, true = encoded[index], reference[index]
    gains = _white_balance(patches, true)
    guess = _first_guess(patches, gains)
    extra = np.zeros(len(index))
    if reference_covariance is not None:
        extra += np.trace(np.asarray(reference_covariance, dtype=float)[index], axis1=1, axis2=2) / 3.0
    if noise_sd is not None:
        # One encoded unit is about 100 Lab units over most of the range.
        extra += (np.asarray(noise_sd, dtype=float)[index] ** 2).mean(axis=1) * 100.0**2
    fits = [_fit_kernel(kernel, guess, true - guess, extra) for kernel in KERNELS]
    errors = [ciede2000(true, true - fit.left_out) for fit in fits]
    means = np.array([error.mean() for error in errors])
    share = np.exp(-(means - means.min()) / (0.1 * means.min() + 1e-9))
    share /= share.sum()
    left_out = sum(weight * fit.left_out for weight, fit in zip(share, fits, strict=True))
    variance = sum(weight * fit.left_out_variance for weight, fit in zip(share, fits, strict=True))
    scaled = np.asarray(left_out) / np.sqrt(np.asarray(variance))[:, None]
    channel = (scaled.T @ scaled + 2.0 * np.eye(3)) / (len(index) + 2.0)
    leave_one_out = np.full(count, np.nan)
    leave_one_out[index] = ciede2000(true, true - np.asarray(left_out))
    return Correction(
        model=" + ".join(f.kernel.name for w, f in zip(share, fits, strict=True) if w > 0.05),
        leave_one_out=tuple(leave_one_out.tolist()),
        candidates=tuple(
            (fit.kernel.name, float(error.mean()), float(np.quantile(error, 0.95)))
            for fit, error in zip(fits, errors, strict=True)
        ),
        suspects=(),
        _gains=gains,
        _guess=guess,
        _encoded=patches,
        _fits=tuple((float(w), f) for w, f in zip(share, fits, strict=True)),
        _channel_covariance=channel,
        _hull=_hull(patches),
    )
