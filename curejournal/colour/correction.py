"""From a card in a photo to the true colour of anything else in it, with how well it is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import ConvexHull, QhullError

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.colour import camera
from curejournal.colour.card_layout import CardLayout
from curejournal.colour.difference import ciede2000
from curejournal.colour.metamerism import LEARNED, PROBES, change_for
from curejournal.colour.models import (
    ACROSS_THE_CARD,
    BESIDE_LEARNED,
    IN_EVEN_LIGHT,
    Fit,
    Model,
    Patches,
    by_light,
    fit,
    material_covariance,
    references_covariance,
)
from curejournal.colour.spaces import srgb_from_lab

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

FEWEST_PATCHES = 6
"""Ours: below this leaving patches out says nothing."""
_HULL_MARGIN = 0.03
"""Ours: in encoded units; about the noise of a patch and well below the distance between patches."""
_PICKINESS = 0.1
"""Ours: a model whose leave-one-out error is 10% above the best counts a third (1/e) as much."""
_SUSPECT_RATIO, _SUSPECT_DIFFERENCE, _SUSPECT_SHARE = 5.0, 8.0, 0.25
"""Ours: a patch is suspect beyond 5 standard errors and ΔE00 8 from what the others say; at most a quarter are.
On the real photographs no patch is; of thumbs, stains and glares drawn into them nearly all are."""
_PRIOR_PATCHES = 4.0
"""Ours: how many patches' worth the usual error counts against the photo's own when the two are pooled."""
_TAIL = 1.05
"""Ours: the scale is itself estimated, from some 24 errors with tails a little heavier than normal."""


class TooFewPatches(CureJournalError):
    """Not enough patches of the card are usable to correct the photo's colours."""


@dataclass(frozen=True)
class Correction:
    """What one photo does to colours, turned round.

    `leave_one_out` is the ΔE00 of each patch predicted from the others (nan where it was not usable);
    `candidates` are (name, mean, 95th percentile) of that for each model tried, and `model` names
    the ones that count most; `suspects` are patches that disagree with all others (glare, thumb,
    stain) and were left out.
    """

    model: str
    leave_one_out: tuple[float, ...]
    candidates: tuple[tuple[str, float, float], ...]
    suspects: tuple[int, ...]
    _fits: tuple[tuple[float, Fit], ...] = field(repr=False)
    _scale: Array = field(repr=False)
    _layout: CardLayout = field(repr=False)
    _hull: Array | None = field(repr=False)
    _made_of: str = field(default="", repr=False)
    _references: tuple[Array, Array] | None = field(default=None, repr=False)

    def colours(
        self,
        encoded: ArrayLike,
        noise_covariance: ArrayLike | None = None,
        *,
        xy_mm: ArrayLike | None = None,
        material: str = "soap",
    ) -> tuple[Array, Array]:
        """True colours of places in the photo, with the joint covariance of their errors.

        Parameters
        ----------
        encoded : array_like of shape (M, 3)
            Encoded sRGB in [0, 1].
        noise_covariance : array_like of shape (M, 3, 3), optional
            Covariance of each reading itself (pixel noise, uneven light), in encoded units squared.
        xy_mm : array_like of shape (M, 2), optional
            Where they are, in the card's mm, as in `fit_correction`. Without, the light of the
            card's middle is taken and its spread added to the covariance.
        material : str
            Of what they are; `curejournal.colour.metamerism` has those of which something was learned.

        Returns
        -------
        lab : ndarray of shape (M, 3)
            CIELAB D50.
        covariance : ndarray of shape (3 M, 3 M)
            In Lab units squared, ordered L, a, b of the first place, L, a, b of the second, ...

        """
        encoded = np.asarray(encoded, dtype=float).reshape(-1, 3)
        count = len(encoded)
        places = self._layout.places(xy_mm, count)
        step = 1e-3  # in each channel, for what a reading's own noise does
        around = np.concatenate([encoded, *(encoded + step * axis for axis in np.eye(3))])
        answers = np.array([each.predict(around, np.tile(places, (4, 1))) for _, each in self._fits])
        answer, *by_channel = np.tensordot([share for share, _ in self._fits], answers, axes=1).reshape(4, count, 3)
        slopes = (np.stack(by_channel, axis=-1) - answer[..., None]) / step
        covariance = np.zeros((3 * count, 3 * count))
        for (share, each), own in zip(self._fits, answers[:, :count], strict=True):
            apart = (own - answer).ravel()
            light = self._layout.light_sd(xy_mm) * each.model.light * by_light(own).ravel()
            covariance += share * (each.covariance(encoded, places) + np.outer(apart, apart) + np.outer(light, light))
        scale = np.tile(self._scale, count)
        change = self._for(material, encoded, places)
        answer = answer if change is None else answer + change
        if change is not None:
            scale = BESIDE_LEARNED[material] * scale
        covariance = covariance * np.outer(scale, scale)
        covariance += material_covariance(answer, material, change, float(self._scale[1]), made_of=self._made_of)
        if self._references is not None:
            covariance += references_covariance(answer, *self._references)
        if noise_covariance is not None:
            noise = slopes @ np.asarray(noise_covariance, dtype=float) @ slopes.transpose(0, 2, 1)
            for place, block in enumerate(noise):
                covariance[3 * place : 3 * place + 3, 3 * place : 3 * place + 3] += block
        to_lab = camera.slopes_of_expand(answer)
        covariance = np.einsum("mij,mjnk,nlk->minl", to_lab, covariance.reshape(count, 3, count, 3), to_lab).reshape(
            3 * count, 3 * count
        )
        return camera.expand(answer), covariance

    def amounts_along(self, directions: Array, prior_sd: float) -> Array:
        """How far (K,) all patches left their colours along directions (N, 3, K) in even Lab, known to `prior_sd`."""
        used = np.isfinite(self.leave_one_out)
        used[list(self.suspects)] = False
        return np.asarray(sum(share * each.along(directions[used], prior_sd) for share, each in self._fits))

    def inside(self, encoded: ArrayLike) -> Flags:
        """Whether colours (M, 3), encoded, lie within the hull of the card's usable patches; shape (M,)."""
        encoded = np.asarray(encoded, dtype=float).reshape(-1, 3)
        if self._hull is None:
            return np.zeros(len(encoded), dtype=bool)
        return np.asarray((encoded @ self._hull[:, :3].T + self._hull[:, 3] <= _HULL_MARGIN).all(axis=1))

    def picture(self, encoded: ArrayLike) -> NDArray[np.uint8]:
        """The whole picture (H, W, 3), encoded in [0, 1], as in standard light: 8-bit sRGB of the same shape.

        Through a table of 17 x 17 x 17 colours, made finer linearly to 7 bits: for showing, not for measuring.
        """
        nodes, fine = np.linspace(0.0, 1.0, 17), np.linspace(0.0, 1.0, 128)
        grid = np.stack(np.meshgrid(nodes, nodes, nodes, indexing="ij"), axis=-1).reshape(-1, 3)
        nowhere = np.zeros((len(grid), 2))
        even, change = self._predict(grid, nowhere), self._for("soap", grid, nowhere)
        lab = camera.expand(even if change is None else even + change)
        table = (255.0 * np.clip(srgb_from_lab(lab), 0.0, 1.0)).astype(np.float32).reshape(17, 17, 17, 3)
        between = np.maximum(1.0 - 16.0 * np.abs(fine[:, None] - nodes), 0.0).astype(np.float32)
        for axis in range(3):
            table = np.moveaxis(np.tensordot(between, table, axes=(1, axis)), 0, axis)
        step = np.round(127.0 * np.clip(np.asarray(encoded, dtype=np.float32), 0.0, 1.0)).astype(np.intp)
        flat = np.round(table).astype(np.uint8).reshape(-1, 3)
        return np.asarray(flat[(step[..., 0] * 128 + step[..., 1]) * 128 + step[..., 2]])

    def _for(self, material: str, encoded: Array, places: Array) -> Array | None:
        """What this material adds to `_predict` (M, 3), even Lab; None where that was not learned."""
        if (material, self._made_of) not in LEARNED:
            return None
        usual, rest = self.camera_and_rest()
        return change_for(material, self._made_of, usual[camera.MIX], rest, camera.even_lab(usual, encoded, places))

    def camera_and_rest(self) -> tuple[Array, Array]:
        """The camera's parameters (COUNT,), and what it leaves unexplained at `materials.PROBES` (P, 3), even Lab."""
        usual = np.asarray(sum(share * each.parameters for share, each in self._fits))
        return usual, np.asarray(sum(share * each.rest(PROBES) for share, each in self._fits))

    def _predict(self, encoded: Array, places: Array) -> Array:
        return np.asarray(sum(share * each.predict(encoded, places) for share, each in self._fits))


def fit_correction(
    encoded: ArrayLike,
    reference_lab: ArrayLike,
    *,
    noise_sd: ArrayLike | None = None,
    reference_covariance: ArrayLike | None = None,
    usable: ArrayLike | None = None,
    xy_mm: ArrayLike | None = None,
    made_of: str = "",
) -> Correction:
    """Learn from a card's patches what the photo does to colours.

    A family of models (`curejournal.colour.models`) is fitted; each model predicts each patch from the
    others (leave-one-out), and the models are averaged with weights by how well they did.
    Patches that all others contradict are left out and named. How far the patches were off
    sets the size of the covariance.

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
    xy_mm : array_like of shape (N, 2), optional
        Middle of each patch on the card in mm. With it uneven light is found from all patches.
    made_of : str
        Of what the patches are, if `curejournal.colour.metamerism` has what that means for others beside them;
        "unknown" where nobody says.

    Returns
    -------
    Correction

    Raises
    ------
    TooFewPatches
        If fewer than six patches are usable.

    """
    encoded, reference = np.asarray(encoded, dtype=float), np.asarray(reference_lab, dtype=float)
    good = _usable(encoded, reference, usable)
    layout = CardLayout.of(xy_mm)
    places = layout.places(xy_mm, len(encoded))
    family = IN_EVEN_LIGHT if xy_mm is None else ACROSS_THE_CARD

    kept = np.flatnonzero(good)
    start = camera.start(encoded[kept], reference[kept])
    even = camera.compress(reference)
    known = None if reference_covariance is None else _in_even_lab(even, reference_covariance)
    own = _noise_covariance(start, encoded, noise_sd) + (0.0 if known is None else known)
    while True:
        patches = Patches(encoded[kept], places[kept], even[kept], own[kept])
        middle = fit(family[1], patches, start, rounds=3)
        start = middle.parameters
        worst = _suspect(middle, reference[kept], fewest=int(good.sum()) - int(_SUSPECT_SHARE * good.sum()))
        if worst is None:
            break
        kept = np.delete(kept, worst)
    suspects = np.setdiff1d(np.flatnonzero(good), kept)

    # The others begin where the middle one ended, one step from their own best.
    fits = [fit(family[0], patches, start, rounds=1), middle, fit(family[2], patches, start, rounds=1)]
    errors = _differences(np.array([each.left_out for each in fits]), reference[kept])
    means = errors.mean(axis=1)
    shares = np.exp((means.min() - means) / (_PICKINESS * means.min() + 1e-9))
    shares /= shares.sum()
    left_out = np.tensordot(shares, [each.left_out for each in fits], axes=1)
    differences = np.full(len(encoded), np.nan)
    differences[kept] = _differences(left_out, reference[kept])
    weighted, names = tuple(zip(shares.tolist(), fits, strict=True)), [model.name for model in family]
    for index in suspects:
        spot = encoded[[index]], places[[index]]
        predicted = sum((share * each.predict(*spot) for share, each in weighted), np.zeros((1, 3)))
        differences[index] = ciede2000(reference[[index]], camera.expand(predicted))[0]
    return Correction(
        model=_names(family, shares),
        leave_one_out=tuple(differences.tolist()),
        candidates=tuple(zip(names, means.tolist(), np.quantile(errors, 0.95, axis=1).tolist(), strict=True)),
        suspects=tuple(suspects.tolist()),
        _fits=weighted,
        _scale=_scale(left_out, np.tensordot(shares, [each.left_out_covariance for each in fits], axes=1)),
        _layout=layout,
        _hull=_hull(encoded[kept]),
        _made_of=made_of,
        _references=None if known is None else (even[kept], known[kept]),
    )


def _in_even_lab(even: Array, covariance: ArrayLike) -> Array:
    """Covariances (N, 3, 3) of colours in Lab units squared, as those of compressed Lab at `even` (N, 3)."""
    to_even = np.linalg.inv(camera.slopes_of_expand(even))
    return np.asarray(to_even @ np.asarray(covariance, dtype=float) @ to_even.transpose(0, 2, 1))


def _usable(encoded: Array, reference: Array, usable: ArrayLike | None) -> NDArray[np.bool_]:
    """Which patches (N,) can be used.

    Raises
    ------
    TooFewPatches
    """
    good = np.asarray(np.isfinite(encoded).all(axis=1) & np.isfinite(reference).all(axis=1))
    if usable is not None:
        good &= np.asarray(usable, dtype=bool)
    if good.sum() < FEWEST_PATCHES:
        raise TooFewPatches(
            msg(
                "Only {usable} patches of the card can be used; {needed} are needed.",
                usable=int(good.sum()),
                needed=FEWEST_PATCHES,
            ),
            msg("Photograph again with the whole card in the picture, evenly lit and not burnt out."),
        )
    return good


def fit_white_balance(encoded: ArrayLike, reference_lab: ArrayLike) -> Correction:
    """Exposure and white balance from a sheet of white or grey, or from too few patches for more.

    All else is taken as usual for cameras, and the covariance says how far cameras differ.

    Parameters
    ----------
    encoded : array_like of shape (K, 3)
        One or more places of known colour, encoded sRGB in [0, 1].
    reference_lab : array_like of shape (K, 3)
        Their true colours, CIELAB D50.

    Returns
    -------
    Correction
        With nan for `leave_one_out`: nothing checks it.

    """
    encoded = np.asarray(encoded, dtype=float).reshape(-1, 3)
    reference = np.asarray(reference_lab, dtype=float).reshape(-1, 3)
    model = Model(msg("white balance"), 0.0, 1.0)
    start = camera.start(encoded, reference)
    nothing = np.zeros((len(encoded), 3, 3))
    patches = Patches(encoded, np.zeros((len(encoded), 2)), camera.compress(reference), nothing)
    return Correction(
        model=model.name,
        leave_one_out=(float("nan"),) * len(encoded),
        candidates=(),
        suspects=(),
        _fits=((1.0, fit(model, patches, start, rounds=3)),),
        _scale=np.full(3, _TAIL),
        _layout=CardLayout(),
        _hull=None,
    )


def _noise_covariance(start: Array, encoded: Array, noise_sd: ArrayLike | None) -> Array:
    """What each patch owes to its own noise (N, 3, 3), even Lab."""
    if noise_sd is None:
        return np.zeros((len(encoded), 3, 3))
    step, nowhere = 1e-3, np.zeros((len(encoded), 2))
    middle, *around = camera.even_lab(start, encoded + step * np.eye(4, 3, k=-1)[:, None], nowhere)
    scatter = (np.stack(around, axis=-1) - middle[..., None]) / step * np.asarray(noise_sd, dtype=float)[:, None]
    return np.asarray(scatter @ scatter.transpose(0, 2, 1))


def _differences(left_out: Array, reference: Array) -> Array:
    """ΔE00 (..., N) of errors (..., N, 3) in even Lab."""
    return ciede2000(reference, camera.expand(camera.compress(reference) - left_out))


def _suspect(fitted: Fit, reference: Array, fewest: int) -> int | None:
    """The patch that the others contradict most, if it is beyond chance and there are enough others."""
    if len(reference) <= max(fewest, FEWEST_PATCHES):
        return None
    solved = np.linalg.solve(fitted.left_out_covariance, fitted.left_out[..., None])[..., 0]
    squares = (fitted.left_out * solved).sum(axis=1) / 3.0
    # The median of chi-square with 3 degrees of freedom is 2.366.
    usual = max(float(np.median(squares)) * 3.0 / 2.366, 0.25)
    worst = int(np.argmax(squares))
    difference = _differences(fitted.left_out, reference)[worst]
    return worst if squares[worst] > _SUSPECT_RATIO**2 / 3.0 * usual and difference > _SUSPECT_DIFFERENCE else None


def _scale(left_out: Array, covariance: Array) -> Array:
    """By how much the photo's errors exceed what the models expect, per coordinate, pooled with the usual; (3,)."""
    variances = np.einsum("nii->ni", covariance)
    squares = left_out**2 / variances
    return np.asarray(_TAIL * np.sqrt((squares.sum(axis=0) + _PRIOR_PATCHES) / (len(left_out) + _PRIOR_PATCHES)))


def _names(family: Sequence[Model], shares: Array) -> str:
    named = [(share, model.name) for share, model in zip(shares.tolist(), family, strict=True) if share >= 0.2]
    return " + ".join(name for _, name in sorted(named, reverse=True))


def _hull(points: Array) -> Array | None:
    """Outward normals and offsets (F, 4) of the convex hull; None where the points are flat."""
    try:
        return np.asarray(ConvexHull(points).equations)
    except QhullError:
        return None
