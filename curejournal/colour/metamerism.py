"""What patches of one material say of another material beside them: a card's inks of soap, a chart's paints of inks.

A camera is not the eye: of two materials that look alike, one may be redder in a photo. So what puts a card right is
not quite what puts soap right. How far they differ shows in what the card needs: the mixing of channels, and the smooth
rest that the camera leaves all over colour. A small network, learned on drawn photos, makes of these the change that
the other material asks for, quartic in colour. It has no constant term: a camera that sees as the eye does needs no
change.

`python -m tests.benchmarks.beside_a_card --learn` writes its numbers: published sensitivities of eleven cameras and
of a stacked sensor (2 parts in 13), each changed at random; published lights and mixtures; inks at random, in layers
and in dots; drawn soaps, plain and with pigments of any colour.
None of the cameras, lights and inks of `tests.benchmarks.window_card`, by which it is judged, is among them, save the
stacked sensor in other copies.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files
from itertools import combinations_with_replacement

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_HUES = np.radians(np.arange(0.0, 360.0, 60.0))
_RING = np.concatenate([np.zeros((1, 2)), 30.0 * np.column_stack([np.cos(_HUES), np.sin(_HUES)])])
PROBES = np.array([(lightness, *ab) for lightness in (35.0, 60.0, 85.0) for ab in _RING])
"""Where the rest is looked at, even Lab: grey and six hues, dark, middling and light."""
_TERMS = np.array(list(combinations_with_replacement(range(4), 4)))
TERMS = len(_TERMS)
"""Of a quartic in colour."""
_FARTHEST = 5.0
"""Ours: what is farther from usual, in sd, counts as this far; nothing like it was learned from."""


@dataclass(frozen=True)
class Network:
    """From what a card needs to what a material beside it needs: straight, and through one hidden layer.

    `ends` (2, 3), even Lab: between these lay all but one in a hundred of each coordinate of the colours learned from;
    `scale` (F,) of what goes in; `straight` (F, K), `inward` (F, H), `offset` (H,), `outward` (H, K).
    """

    ends: Array
    scale: Array
    straight: Array
    inward: Array
    offset: Array
    outward: Array

    def scaled(self, needs: Array) -> Array:
        """Needs (..., F) in parts of the usual."""
        return np.asarray(np.clip(needs / self.scale, -_FARTHEST, _FARTHEST))

    def __call__(self, needs: Array) -> Array:
        """Coefficients (..., K) of needs (..., F)."""
        scaled = self.scaled(needs)
        hidden = np.tanh(scaled @ self.inward + self.offset) - np.tanh(self.offset)
        return np.asarray(scaled @ self.straight + hidden @ self.outward)


def needs_of(mixing: Array, rest: Array) -> Array:
    """What goes into a network, (F,).

    Parameters
    ----------
    mixing : ndarray of shape (6,)
        `camera.MIX` as fitted to the card.
    rest : ndarray of shape (P, 3)
        What the fit leaves of the patches, compressed Lab.

    Returns
    -------
    ndarray of shape (F,)
        With F = 6 + 3 P.
    """
    return np.concatenate([mixing, rest.ravel()])


def terms(even_lab: Array, ends: Array) -> Array:
    """The terms (..., TERMS) of a quartic in colours (..., 3); one beyond the `ends` (2, 3) counts as the nearest.

    Parameters
    ----------
    even_lab : ndarray of shape (..., 3)
        Compressed Lab, see `camera.compress`.
    ends : ndarray of shape (2, 3)
        The least and the greatest of each coordinate that was learned.

    Returns
    -------
    ndarray of shape (..., TERMS)
        Products of powers up to the fourth.
    """
    scaled = (np.clip(even_lab, *ends) - (50.0, 0.0, 0.0)) / (50.0, 40.0, 40.0)
    with_one = np.concatenate([np.ones_like(scaled[..., :1]), scaled], axis=-1)
    return np.asarray(with_one[..., _TERMS].prod(axis=-1))


def change_for(material: str, made_of: str, mixing: Array, rest: Array, even_lab: Array) -> Array:
    """What is to be added to what a card says of a material beside it; even Lab, (M, 3).

    Parameters
    ----------
    material, made_of : str
        Of what the colours are, and of what the card's are: one of `LEARNED`.
    mixing : ndarray of shape (6,)
        `camera.MIX` as fitted to the card.
    rest : ndarray of shape (P, 3)
        What the camera leaves unexplained at `PROBES`, even Lab.
    even_lab : ndarray of shape (M, 3)
        The colours, by the camera alone.

    Returns
    -------
    ndarray of shape (M, 3)
        To be added, compressed Lab.
    """
    network = LEARNED[material, made_of]
    coefficients = network(needs_of(mixing, rest)).reshape(TERMS, 3)
    return np.asarray(terms(even_lab, network.ends) @ coefficients)


def file_of(material: str, made_of: str) -> str:
    """The name of the file, beside this one, that keeps the numbers of a network.

    Parameters
    ----------
    material : str
        Of what the colours are.
    made_of : str
        Of what the card's patches are; both one of `LEARNED`.

    Returns
    -------
    str
    """
    return f"{material}_beside_{made_of}.npz".replace(" ", "_")


def _kept(material: str, made_of: str) -> Network:
    with (files(__package__) / file_of(material, made_of)).open("rb") as file, np.load(file) as numbers:
        return Network(**{name: numbers[name].astype(float) for name in numbers.files})


LEARNED = {pair: _kept(*pair) for pair in (("soap", "printing inks"), ("printing inks", "paint"))}
"""Which material beside a card of which, and what was learned of it: on drawn settings, judged on others."""
