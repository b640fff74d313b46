"""What the lens hands to everything else: a colour, how well it is known, and why."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from curejournal.base.lazy import Module
from curejournal.base.normal import Z95

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
else:  # a record of a colour needs it not
    np = Module("numpy")

Lab = tuple[float, float, float]
"""CIELAB, D50 / 2 degree observer."""

Matrix3 = tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]


class Grade(StrEnum):
    """How far a reading may be trusted, best first."""

    MEASURED = "measured"
    RELATIVE = "relative"
    INDICATIVE = "indicative"
    NOT_USABLE = "not usable"

    @property
    def rank(self) -> int:
        """0 is best."""
        return list(Grade).index(self)


def worst(*grades: Grade) -> Grade:
    """The least trusted of several grades; *measured* if there are none.

    Parameters
    ----------
    *grades : Grade

    Returns
    -------
    Grade
    """
    return max(grades, key=lambda grade: grade.rank, default=Grade.MEASURED)


@dataclass(frozen=True)
class Reason:
    """A doubt about a photo or an area, and what the maker can do about it.

    `code` is stable and meant for scripts; `text` says what is wrong and
    `remedy` how to do better. `limit` is the best grade that remains possible.
    `outlines` are corners in pixels of the upright full-size picture, of each
    place that the fault has.
    """

    code: str
    text: str
    remedy: str = ""
    limit: Grade = Grade.MEASURED
    outlines: tuple[tuple[tuple[float, float], ...], ...] = ()


def refusal(code: str, text: str, remedy: str, *outlines: tuple[tuple[float, float], ...]) -> Reason:
    """Name a fault that leaves no colour.

    Parameters
    ----------
    code : str
        Stable, for scripts.
    text : str
        What is wrong.
    remedy : str
        How to do better.
    *outlines : sequence of (x, y)
        Each place that has the fault, in pixels of the upright full-size picture.

    Returns
    -------
    Reason
        With the limit *not usable*.
    """
    return Reason(code, text, remedy, Grade.NOT_USABLE, outlines)


def doubt(code: str, text: str, remedy: str, *outlines: tuple[tuple[float, float], ...]) -> Reason:
    """Name a fault that leaves an indicative colour.

    Parameters
    ----------
    code : str
        Stable, for scripts.
    text : str
        What is wrong.
    remedy : str
        How to do better.
    *outlines : sequence of (x, y)
        Each place that has the fault, in pixels of the upright full-size picture.

    Returns
    -------
    Reason
        With the limit *indicative*.
    """
    return Reason(code, text, remedy, Grade.INDICATIVE, outlines)


@dataclass(frozen=True)
class ColourSample:
    """The colour of one area with its uncertainty.

    `lab` is CIELAB D50/2; `covariance` is its 3x3 covariance in Lab units
    squared (all errors: correction, extrapolation, noise, uneven light);
    `spread` the standard deviation over the area's pixels per coordinate
    (mottling, not uncertainty); `pixels` how many were used, counted in the
    full-size picture.
    """

    lab: Lab
    covariance: Matrix3
    pixels: int
    grade: Grade
    reasons: tuple[Reason, ...] = ()
    spread: Lab = (0.0, 0.0, 0.0)

    @property
    def sd(self) -> Lab:
        """One standard deviation of L*, a*, b*."""
        l_sd, a_sd, b_sd = np.sqrt(np.diag(self.covariance_array)).tolist()
        return (l_sd, a_sd, b_sd)

    @property
    def covariance_array(self) -> NDArray[np.float64]:
        """The covariance as an array of shape (3, 3)."""
        return np.asarray(self.covariance, dtype=float)

    @property
    def interval95(self) -> tuple[tuple[float, float], ...]:
        """The 95% interval of each coordinate (normal, 1.96 sd)."""
        return tuple((value - Z95 * sd, value + Z95 * sd) for value, sd in zip(self.lab, self.sd, strict=True))


def as_lab(array: NDArray[np.float64]) -> Lab:
    """Three values as a tuple, for keeping in a frozen value.

    Parameters
    ----------
    array : ndarray of shape (3,)

    Returns
    -------
    Lab
    """
    return (float(array[0]), float(array[1]), float(array[2]))


def as_matrix3(array: NDArray[np.float64]) -> Matrix3:
    """A (3, 3) array as nested tuples, for keeping in a frozen value.

    Parameters
    ----------
    array : ndarray of shape (3, 3)

    Returns
    -------
    Matrix3
    """
    rows = [(float(r[0]), float(r[1]), float(r[2])) for r in np.asarray(array, dtype=float)]
    return (rows[0], rows[1], rows[2])
