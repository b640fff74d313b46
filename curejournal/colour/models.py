"""The family of models from which a photo's correction is made, and how one is fitted to the patches.

Each is one Gaussian process for the true colour in even Lab: the camera of
`curejournal.colour.camera` with a prior on its parameters, plus a smooth rest (sensor and
inks that are no standard observer), plus light that wanders across the card, plus
what is peculiar to each colour. All is linear about the best camera, so that
the prediction, its variance and every leave-one-out error are closed forms [1]_.

References
----------
.. [1] Rasmussen & Williams, Gaussian Processes for Machine Learning, 2006, chapters 2.7 and 5.4.2.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dtrtri

from curejournal.base.messages import msg
from curejournal.colour import camera

Array = NDArray[np.float64]

# All of these are ours, in Lab units; chosen as the priors of the camera were.
_SHIFT_SD, _SLOPE_SD, _BEND_SD = 0.5, 1.5, 3.0
"""The smooth rest: the same everywhere, linear and quadratic in colour (at 50 units from mid grey)."""
_LOCAL_SD, _LOCAL_REACH = 3.5, 35.0
_LIGHT_SD, _LIGHT_REACH = 0.06, 1.0
"""Light that wanders: log units, and reach in half card widths."""
_VEIL_SD = 0.004
"""A veil of stray light that wanders likewise, in linear light (white is 1)."""
_PECULIAR_SD, _PECULIAR_GREY, _PECULIAR_CHROMA = 1.6, 0.3, 10.0
"""What is each colour's own (metamerism, reference): sd, the share of its variance at grey, chroma where it is full."""
_PECULIAR_REACH = 6.0
"""Colours nearer than this are most often one material, and share what is peculiar to it."""
_MATERIAL_SD, _MATERIAL_GREY, _MATERIAL_CHROMA = np.array([0.4, 2.0, 1.7]), 0.15, 15.0
_MATERIAL_REACH = 25.0
"""Soap is not made of what patches are made of: sd per coordinate of even Lab at full chroma, which no patch can
tell when all are mixed of the same inks; the share of its variance at grey; chroma where it is nearly full. From the
spectral simulation (published cameras, usual lights)."""
_LEARNED_SD, _LEARNED_GREY, _LEARNED_CHANGE = np.array([0.3, 1.3, 1.3]), 0.7, 0.5
"""The same where soap's colour was put right beside such patches; and the share of what was put right, for whatever,
that is as uncertain again. Inks put right beside paints are as near to the smooth correction as the paints."""
BESIDE_LEARNED = {"soap": 0.75, "printing inks": 0.6}
"""There the smooth correction is nearer than patches left out say, which are each of a colour of its own: by this."""
_USUAL_EXCESS, _EXCESS_POWER, _MOST_STRANGE = 0.40, 2.0, 4.0
"""The usual excess of the patches' a* errors, how soap's error grows with it, and to how much at most. A camera that
misjudges patches misjudges soap in the same way; that shows in a*: gloss and noise raise the other two as well."""
_COOL_SD, _WARM_SD = np.array([0.12, 0.08]), 0.02
"""By how much more green and blue soaps may be redder or greener, per unit of -a and of -b in even Lab, and red ones
per unit of a: pigments of one colour differ in spectrum."""
_UNKNOWN_PATCHES = 1.6
"""By how much larger soap's own error is where nobody says what the patches are made of."""
# These lines were set together on three simulators that share no scenes: spectra through a camera
# (`tests.benchmarks.beside_a_card`; soaps with and without pigments), drawn photos (`window_card`), and path-traced
# ones. Joint intervals then hold 92% (pigments of any colour) to 99% (usual soaps). Published reflectances were not
# fitted; in sight while the last of three tries was chosen, they hold 93 to 95%.
_IN_COMMON = 0.25
"""The share of the variance stated for a patch's true colour that colours alike have in common. Ours: with a card
enrolled from photos beside a chart, intervals hold by it (`tests.benchmarks.window_card --enrolled`); 92% without."""


@dataclass(frozen=True)
class Model:
    """One member of the family: how much the light may wander and how far the camera may be from the usual."""

    name: str
    light: float
    freedom: float


IN_EVEN_LIGHT = (
    Model(msg("usual camera"), 0.0, 0.6),
    Model("camera", 0.0, 1.0),
    Model(msg("free camera"), 0.0, 1.5),
)
"""Tried when the places of the patches are not known."""
ACROSS_THE_CARD = (
    Model(msg("even light"), 0.0, 1.0),
    Model(msg("uneven light"), 1.0, 1.0),
    Model(msg("patchy light"), 2.5, 1.0),
)
"""Tried when the places of the patches are known: the light then matters more than how usual the camera is."""


@dataclass(frozen=True)
class Patches:
    """The usable patches.

    `encoded` (N, 3), `places` (N, 2), true `even_lab` (N, 3), and the `covariance` (N, 3, 3) of what
    is known of each by itself (reference, noise).
    """

    encoded: Array
    places: Array
    even_lab: Array
    covariance: Array


@dataclass(frozen=True)
class Fit:
    """A model fitted to patches.

    `left_out` are the errors (N, 3) of each patch predicted from the others (compressed Lab, true minus
    predicted), `left_out_covariance` (N, 3, 3) what the model expects of them.
    """

    model: Model
    parameters: Array
    left_out: Array
    left_out_covariance: Array
    _prior_sd: Array
    _patches: Patches
    _guesses: Array
    _slopes: Array
    _inverse: Array
    _weights: Array

    def predict(self, encoded: Array, places: Array) -> Array:
        """True colours (M, 3) in even Lab."""
        guesses = camera.even_lab(self.parameters, encoded, places)
        weights = self._weights.reshape(-1, 3)
        rest = self.rest(guesses)
        if self.model.light:
            strength = (weights[:, None] @ _wandering(self.model, self._guesses))[:, 0]
            strength = _near(places, self._patches.places) @ strength
            rest = rest + (_wandering(self.model, guesses) @ strength[..., None])[..., 0]
        return np.asarray(guesses + rest)

    def rest(self, even_lab: Array) -> Array:
        """What the camera leaves unexplained at colours (M, 3) of its own, light that wanders left out."""
        return np.asarray(self.model.freedom**2 * _smooth(even_lab, self._guesses) @ self._weights.reshape(-1, 3))

    def along(self, directions: Array, prior_sd: float) -> Array:
        """How far (K,) all patches lie along directions (N, 3, K) in even Lab from where the model has them."""
        flat = directions.reshape(-1, directions.shape[-1])
        precision = flat.T @ self._inverse @ flat + np.eye(flat.shape[1]) / prior_sd**2
        return np.asarray(np.linalg.solve(precision, flat.T @ self._weights))

    def covariance(self, encoded: Array, places: Array) -> Array:
        """Joint covariance (3 M, 3 M) in even Lab of what `predict` says of materials that are no patches."""
        guesses, slopes = camera.jacobian(self.parameters, encoded, places)
        slopes = slopes * self._prior_sd
        among = slopes @ slopes.T + _rest(self.model, guesses, guesses, places, places)
        cross = slopes @ self._slopes.T + _rest(self.model, guesses, self._guesses, places, self._patches.places)
        sd = np.sqrt(_peculiar_variance(guesses))
        alike = np.exp(-0.5 * _distance2(guesses, guesses) / _PECULIAR_REACH**2)
        own = np.kron(alike * np.outer(sd, sd), np.eye(3))
        return np.asarray(among - cross @ self._inverse @ cross.T + own)


def material_covariance(
    guesses: Array,
    material: str = "soap",
    change: Array | None = None,
    excess: float = _USUAL_EXCESS,
    *,
    made_of: str = "",
) -> Array:
    """Joint covariance (3 M, 3 M) in even Lab of what soaps or inks of these colours (M, 3) owe to not being patches.

    `change` (M, 3) is what was put right for this material, if that was learned beside such patches; `excess` then is
    how far the patches' a* errors exceed their model. `made_of` is "unknown" where nobody says what the patches are.

    Parameters
    ----------
    guesses : ndarray of shape (M, 3)
        Colours as they seem, CIELAB D50/2.
    material : str
        Of what the colours are: "soap" or an ink.
    change : ndarray of shape (M, 3), optional
        What was put right for this material.
    excess : float
        By how much the patches' a* errors exceed their model.
    made_of : str
        Of what the patches are.

    Returns
    -------
    ndarray of shape (3 M, 3 M)
        In compressed Lab units squared.
    """
    if change is not None and material != "soap":
        unsure = _LEARNED_CHANGE * change.ravel()
        return np.outer(unsure, unsure)
    sd, grey = (_MATERIAL_SD, _MATERIAL_GREY) if change is None else (_LEARNED_SD, _LEARNED_GREY)
    share = np.sqrt(_by_chroma(guesses, grey, _MATERIAL_CHROMA))
    alike = np.exp(-0.5 * _distance2(guesses, guesses) / _MATERIAL_REACH**2)
    covariance = np.kron(alike * np.outer(share, share), np.diag(sd**2))
    if change is None and made_of != "unknown":
        return np.asarray(covariance)
    strange = min((excess / _USUAL_EXCESS) ** _EXCESS_POWER, _MOST_STRANGE)
    if change is None:
        return np.asarray(max(strange, _UNKNOWN_PATCHES) ** 2 * covariance)
    unsure = _LEARNED_CHANGE * change.ravel()
    covariance = max(strange, 1.0) ** 2 * covariance + np.outer(unsure, unsure)
    for more in (np.maximum(-guesses[:, 1:], 0.0) @ _COOL_SD, _WARM_SD * np.maximum(guesses[:, 1], 0.0)):
        covariance[1::3, 1::3] += alike * np.outer(more, more)
    return np.asarray(covariance)


def references_covariance(guesses: Array, even_lab: Array, covariance: Array) -> Array:
    """Joint covariance (3 M, 3 M) in even Lab of what colours (M, 3) owe to errors that patches alike have in common.

    `covariance` (N, 3, 3) is of the true colours of the patches at `even_lab` (N, 3). A fit takes such errors for each
    patch's own, and averages them away; those of one enrolment are not.

    Parameters
    ----------
    guesses : ndarray of shape (M, 3)
        Colours as they seem, CIELAB D50/2.
    even_lab : ndarray of shape (N, 3)
        The patches, compressed Lab.
    covariance : ndarray of shape (N, 3, 3)
        Of their true colours.

    Returns
    -------
    ndarray of shape (3 M, 3 M)
        In compressed Lab units squared.
    """
    away = _distance2(guesses, even_lab)
    near = np.exp(-0.5 * (away - away.min(axis=1, keepdims=True)) / _MATERIAL_REACH**2)
    around = np.einsum("mn,nij->mij", near / near.sum(axis=1, keepdims=True), covariance)
    root = np.linalg.cholesky(around + 1e-9 * np.eye(3))
    alike = np.exp(-0.5 * _distance2(guesses, guesses) / _MATERIAL_REACH**2)
    joint = _IN_COMMON * np.einsum("mn,mik,njk->minj", alike, root, root)
    return np.asarray(joint.reshape(3 * len(guesses), 3 * len(guesses)))


def fit(model: Model, patches: Patches, start: Array, rounds: int) -> Fit:
    """Fit a model by Gauss-Newton steps from camera parameters `start` (COUNT,).

    The mean of its gains is the prior's: exposure is known only from the photo itself.

    Parameters
    ----------
    model : Model
    patches : Patches
    start : ndarray of shape (COUNT,)
        Where to begin.
    rounds : int
        Number of Gauss-Newton steps.

    Returns
    -------
    Fit
    """
    prior_sd = camera.PRIOR_SD * model.freedom
    prior_sd[camera.GAIN] = camera.PRIOR_SD[camera.GAIN]
    prior_sd[camera.PLANE] = camera.PRIOR_SD[camera.PLANE] * min(model.light, 1.0)
    prior_mean = camera.PRIOR_MEAN.copy()
    prior_mean[camera.GAIN] = start[camera.GAIN].mean()
    parameters = start
    count = len(patches.encoded)
    for step in range(rounds + 1):
        guesses, slopes = camera.jacobian(parameters, patches.encoded, patches.places)
        scaled = slopes * prior_sd
        own = patches.covariance + _peculiar_variance(guesses)[:, None, None] * np.eye(3)
        total = scaled @ scaled.T + _rest(model, guesses, guesses, patches.places, patches.places)
        blocks = total.reshape(count, 3, count, 3)
        blocks[np.arange(count), :, np.arange(count), :] += own
        unexplained = patches.even_lab - guesses
        target = unexplained.ravel() - slopes @ (prior_mean - parameters)
        if step == rounds:
            break
        moved = prior_mean + prior_sd * (scaled.T @ np.linalg.solve(total, target))
        # Beyond four prior sd the straight line of a Gauss-Newton step is no guide.
        parameters = np.clip(moved, prior_mean - 4.0 * prior_sd, prior_mean + 4.0 * prior_sd)
    half, _ = dtrtri(np.linalg.cholesky(total), lower=True)  # half the time of inv(total)
    inverse = half.T @ half
    weights = inverse @ target
    own_inverse = inverse.reshape(count, 3, count, 3)[np.arange(count), :, np.arange(count), :]
    left_out_covariance = np.asarray(np.linalg.inv(own_inverse), dtype=float)
    left_out = (left_out_covariance @ weights.reshape(count, 3, 1))[..., 0]
    return Fit(model, parameters, left_out, left_out_covariance, prior_sd, patches, guesses, scaled, inverse, weights)


def _distance2(first: Array, second: Array) -> Array:
    squares = (first**2).sum(axis=1)[:, None] + (second**2).sum(axis=1) - 2.0 * first @ second.T
    return np.asarray(np.maximum(squares, 0.0))


def _peculiar_variance(guesses: Array) -> Array:
    return _PECULIAR_SD**2 * _by_chroma(guesses, _PECULIAR_GREY, _PECULIAR_CHROMA)


def _by_chroma(guesses: Array, grey: float, chroma: float) -> Array:
    """A share that is `grey` at grey and nears 1 beyond `chroma`; shape (N,)."""
    full = 1.0 - np.exp(-0.5 * (guesses[:, 1:] ** 2).sum(axis=1) / chroma**2)
    return np.asarray(grey + (1.0 - grey) * full)


def _rest(model: Model, first: Array, second: Array, places: Array, other_places: Array) -> Array:
    """Covariance (3 M, 3 N) of what the camera leaves unexplained, without what is peculiar to each colour."""
    shape = (len(first), 3, len(second), 3)
    covariance = np.zeros(shape)
    covariance[:, range(3), :, range(3)] = model.freedom**2 * _smooth(first, second)
    if model.light:
        one, other = (_wandering(model, guesses).reshape(-1, 2) for guesses in (first, second))
        covariance += (one @ other.T).reshape(shape) * _near(places, other_places)[:, None, :, None]
    return covariance.reshape(3 * len(first), 3 * len(second))


def _smooth(first: Array, second: Array) -> Array:
    """Covariance (M, N) of the smooth rest, the same for each coordinate."""
    dot = ((first - (50.0, 0.0, 0.0)) / 50.0) @ ((second - (50.0, 0.0, 0.0)) / 50.0).T
    local = np.exp(-0.5 * _distance2(first, second) / _LOCAL_REACH**2)
    return np.asarray(_SHIFT_SD**2 + _SLOPE_SD**2 * dot + _BEND_SD**2 * dot**2 + _LOCAL_SD**2 * local)


def _wandering(model: Model, guesses: Array) -> Array:
    """What one sd of light and of veil that wander does to Lab; shape (N, 3, 2)."""
    both = np.stack([_LIGHT_SD * by_light(guesses), _VEIL_SD * by_veil(guesses)], axis=-1)
    return np.asarray(model.light * both)


def _near(places: Array, other_places: Array) -> Array:
    """How alike the light of two places is, (M, N)."""
    return np.asarray(np.exp(-0.5 * _distance2(places, other_places) / _LIGHT_REACH**2))


def by_light(guesses: Array) -> Array:
    """Change of Lab for a relative change of light (derivative of the cube root); shape (N, 3).

    Parameters
    ----------
    guesses : ndarray of shape (N, 3)
        CIELAB D50/2.

    Returns
    -------
    ndarray of shape (N, 3)
        Lab units for a relative change of 1.
    """
    return np.asarray((guesses + np.array([16.0, 0.0, 0.0])) / 3.0)


def by_veil(guesses: Array) -> Array:
    """Change of Lab for white light added to it, per unit of Y; shape (N, 3). Below L* 8 the cube root ends.

    Parameters
    ----------
    guesses : ndarray of shape (N, 3)
        CIELAB D50/2.

    Returns
    -------
    ndarray of shape (N, 3)
        Lab units for a change of Y by 1.
    """
    luminance = ((np.maximum(guesses[:, :1], 8.0) + 16.0) / 116.0) ** 3
    lighter = 116.0 / 3.0 * luminance ** (-2.0 / 3.0)
    return np.concatenate([lighter, -guesses[:, 1:] / (3.0 * luminance)], axis=1)
