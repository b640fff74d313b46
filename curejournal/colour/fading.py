"""Inks that fade together: a direction in which a printed card's patches may have left their colours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from curejournal.colour import camera
from curejournal.colour.correction import Correction
from curejournal.colour.spaces import lab_from_linear, linear_from_lab

Array = NDArray[np.float64]

_PRIOR_SD = 0.3
"""Ours: of the share of its density that each ink lost."""
_STEP = 0.1
_NOT_FADED = np.array([0.06, 0.08, 0.05])
"""What unfaded cards seem to have lost: some 0.06 on path-traced scenes, whose cards shine, none on drawn ones."""
FADED_FROM = 0.125
"""Ours, the mean over the channels: 3 in 100 path-traced scenes and 1 in 82 drawn photos of sound cards have more; of
97 readings of cards that lost 10 to 50% of their inks, 78 in 100."""
_KEPT_BACK = 0.5
"""Ours: half of what fading would do to a colour is put right, and as much is its doubt: a camera's contrast may look
alike. It brings the median error of the 97 from 3.6 to 2.4."""


@dataclass(frozen=True)
class Fading:
    """How much of their density a card's inks seem to have lost, by channel (3,), seen against its paper (3,)."""

    lost: Array
    paper_lab: Array

    @property
    def found(self) -> bool:
        """Whether it is more than sound cards seem to have lost."""
        return float(self.lost.mean()) > FADED_FROM

    def change(self, lab: ArrayLike) -> Array:
        """What is to be added to colours (M, 3) measured by the faded card, in Lab; its standard deviation is the same.

        Something that looks like a patch has the colour that the patch has faded to.
        """
        lab = np.asarray(lab, dtype=float).reshape(-1, 3)
        lost = np.maximum(self.lost - _NOT_FADED, 0.0)
        faded = _with_density(lab, self.paper_lab, 1.0 - lost) - _with_density(lab, self.paper_lab, np.ones(3))
        return np.asarray(_KEPT_BACK * faded)


def find_fading(correction: Correction, reference_lab: ArrayLike, paper_lab: ArrayLike) -> Fading:
    """Fit a loss of ink density, common to all patches, to what a photo's correction leaves unexplained.

    What light and camera may do as well is allowed for by the correction's own covariance, so that only the rest tells.

    Parameters
    ----------
    correction : Correction
    reference_lab : array_like of shape (N, 3)
        The card's true colours as kept, in the order in which `fit_correction` had them.
    paper_lab : array_like of shape (3,)
        Its plain paper's.

    Returns
    -------
    Fading
        With `found` false where nothing shows.
    """
    reference, paper = np.asarray(reference_lab, dtype=float), np.asarray(paper_lab, dtype=float)
    sound = camera.compress(_with_density(reference, paper, np.ones(3)))
    directions = [
        (camera.compress(_with_density(reference, paper, 1.0 - _STEP * one)) - sound) / _STEP for one in np.eye(3)
    ]
    lost = -correction.amounts_along(np.stack(directions, axis=-1), _PRIOR_SD)
    return Fading(lost, paper)


def _with_density(lab: Array, paper_lab: Array, share: Array) -> Array:
    """Colours (N, 3) with a share (3,) of the density of each channel over the paper's."""
    light, paper = np.maximum(linear_from_lab(lab), 1e-3), linear_from_lab(paper_lab)
    return lab_from_linear(paper * np.minimum(light / paper, 1.0) ** share)
