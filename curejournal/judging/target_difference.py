"""How a colour differs from its target: ΔE00 with an interval, its parts, and a grade as on a grey scale."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypedDict

import numpy as np
from numpy.typing import NDArray

from curejournal.colour.difference import Interval, ciede2000, difference_parts
from curejournal.colour.sample import Lab, as_lab

Array = NDArray[np.float64]


class BesideTarget(TypedDict):
    """The fields of a `ColourSeries` that compare with its target."""

    difference_now: Interval | None
    parts_now: Lab | None
    grey_scale_style_grade: str | None


def beside_target(target_lab: Lab | None, lab_now: Array, errors: Array) -> BesideTarget:
    """How the latest colour differs from the target, if there is one.

    Parameters
    ----------
    target_lab : Lab or None
        CIELAB D50/2.
    lab_now : ndarray of shape (3,)
        CIELAB D50/2.
    errors : ndarray of shape (M, 3)
        That it may have, in Lab units.

    Returns
    -------
    BesideTarget
    """
    if target_lab is None:
        return {"difference_now": None, "parts_now": None, "grey_scale_style_grade": None}
    return {
        "difference_now": differences_from(target_lab, lab_now[None], errors[None])[0],
        "parts_now": as_lab(difference_parts(target_lab, lab_now)),
        "grey_scale_style_grade": grey_scale_grade(target_lab, lab_now),
    }


def grey_scale_grade(reference_lab: Sequence[float] | Array, sample_lab: Sequence[float] | Array) -> str:
    """Grey-scale style grade of a change in colour, "5" (none) to "1", by half-steps.

    Cuts lie midway between the steps of ISO 105-A02 (0, 0.8, 1.7, 2.5, 3.4, 4.8, 6.8, 9.6, 13.6), in ΔE*ab. It is not
    the grade of ISO 105-A05, which has a formula of its own.

    Parameters
    ----------
    reference_lab : array_like of shape (3,)
        CIELAB D50/2.
    sample_lab : array_like of shape (3,)
        CIELAB D50/2.

    Returns
    -------
    str
        Such as "4-5".
    """
    change = float(np.linalg.norm(np.asarray(sample_lab, dtype=float) - np.asarray(reference_lab, dtype=float)))
    cuts = (0.40, 1.25, 2.10, 2.95, 4.10, 5.80, 8.20, 11.60)
    grades = ("5", "4-5", "4", "3-4", "3", "2-3", "2", "1-2", "1")
    return grades[sum(change >= cut for cut in cuts)]


def differences_from(target: Lab, labs: Array, errors: Array) -> list[Interval]:
    """ΔE00 of colours (n, 3) with 95% intervals from the errors (n, m, 3) that each may have.

    A distance cannot be negative: errors alone make equal colours look
    different. So the lower end is 0 unless they would not explain what is seen.

    Parameters
    ----------
    target : Lab
        CIELAB D50/2.
    labs : ndarray of shape (n, 3)
        CIELAB D50/2.
    errors : ndarray of shape (n, m, 3)
        In Lab units.

    Returns
    -------
    list of Interval
        One of each colour.
    """
    seen = ciede2000(target, labs)
    may_seem = ciede2000(target, np.stack([np.add(target, errors), labs[:, None] + errors]))
    by_chance, above = np.quantile(may_seem, 0.975, axis=-1)
    high = np.maximum(above, seen)
    low = np.where(seen > by_chance, np.maximum(2 * seen - high, 0.0), 0.0)
    return [Interval(*row) for row in np.stack([seen, low, high], axis=-1).tolist()]
