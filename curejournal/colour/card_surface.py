"""What the camera fitted to a card tells of the card's surface: how much light its gloss adds, whether it yellowed.

A card that yellowed looks like one in yellower light, save that a camera balances white for the light, and bends tones
about the grey so balanced: where the card's own white is yellow by both, the card may be.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from curejournal.colour import camera
from curejournal.colour.spaces import lab_from_linear, linear_from_lab

Array = NDArray[np.float64]

_GLOSSY_FROM = 0.003
"""Ours, in linear light: what glossy cards add to all patches, by the fit; 95 in 100 path-traced ones have more."""
_SOAPS_GLOSS = 0.011
"""Ours, the sd of the veil (Y of white 1) that soap's gloss adds where the card has none. Of path-traced soap that
shines beside a matt card, 15 of 103 readings were graded measured and off by more than 4; by it 1 is."""
_BLUE_BY_BALANCE, _BLUE_BY_TONE, _BLUE_USUAL = 0.26, np.array([-2.1, 0.0, 4.2]), 0.019
"""Ours: how much less blue a card reflects than when it was measured, per unit of the logarithm by which its white is
balanced bluer than greener, and per unit by which the channels' tone curves differ. Least squares over 153 path-traced
photos, 30 of them of yellowed cards; judged on others, of other inks, cameras and surfaces."""
_YELLOW_FROM, _YELLOW_DOUBT, _YELLOW_MOST = 0.07, 2.0, 0.4
"""Ours: sound cards have up to 0.08 (95 in 100); beyond 0.07 twice the excess is the doubt. White balance that leaves
lamplight warm looks alike: the 22 photos of real charts have up to 0.19."""
YELLOWED_FROM = 0.12
"""Ours: from here it is said. Of sound path-traced cards 1 in 100 has more, of yellowed ones 6 in 10."""


def veil_of_soap(parameters: Array) -> float:
    """How much light (Y of white 1, an sd) soap's gloss may add beyond the card's, by the fitted camera (COUNT,).

    What a card adds to all its patches the camera's flare has put right for soap as well; a matt card adds nothing.

    Parameters
    ----------
    parameters : ndarray of shape (COUNT,)
        Of the camera model.

    Returns
    -------
    float
        Y of white 1, an sd.
    """
    card = float(parameters[camera.FLARE].mean())
    return _SOAPS_GLOSS * float(np.clip(1.0 - card / _GLOSSY_FROM, 0.0, 1.0))


def blue_lost(parameters: Array) -> float:
    """The share of blue light that the card seems to have lost since it was measured; about 0 for a sound one.

    Parameters
    ----------
    parameters : ndarray of shape (COUNT,)
        Of the camera model.

    Returns
    -------
    float
        Relative, negative where blue seems to be more.
    """
    _, green, blue = parameters[camera.GAIN]
    tone = float(_BLUE_BY_TONE @ parameters[camera.TINT][:3])
    return min(_BLUE_BY_BALANCE * float(blue - green) + tone + _BLUE_USUAL, _YELLOW_MOST)


def doubt_of_blue(lost: float) -> float:
    """By what share of blue light colours may be wrong, an sd, where the card seems to have lost so much.

    Parameters
    ----------
    lost : float
        As `blue_lost` gives it.

    Returns
    -------
    float
        Relative, an sd.
    """
    return _YELLOW_DOUBT * max(0.0, lost - _YELLOW_FROM)


def by_blue(lab: Array) -> Array:
    """Change of Lab (M, 3) for a relative change of blue light.

    Parameters
    ----------
    lab : ndarray of shape (M, 3)
        CIELAB D50/2.

    Returns
    -------
    ndarray of shape (M, 3)
        Lab units for a relative change of 1.
    """
    step, linear = 1e-3, linear_from_lab(lab)
    return np.asarray((lab_from_linear(linear * (1.0, 1.0, 1.0 + step)) - lab) / step)
