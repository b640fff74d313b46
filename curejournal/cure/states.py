"""The plain words for what a colour is doing, and what each means for a known curve."""

from __future__ import annotations

from enum import StrEnum

import numpy as np

from curejournal.colour.difference import ciede2000
from curejournal.cure.curves import Array


class State(StrEnum):
    """What a portion's colour is doing."""

    TURNING = "turning"
    COMING_BACK = "coming back"
    BACK = "back"
    SETTLED_OFF = "settled off colour"
    BROWNING = "still browning"
    STEADY = "steady"
    TOO_FEW = "too few readings"


REMAINING = 1.0
"""ΔE00 still to come in four weeks, below which a colour counts as at rest: about just noticeable side by side."""

NEARER = 1.5
"""ΔE00 by which a colour has to come nearer in four weeks to be called *coming back*, if it does not get within
tolerance: half a usual tolerance. Less is not worth a wait. Ours."""

AHEAD_DAYS = 28.0


def classify(days: float, lab_at: Array, intended_lab: Array | None, tolerance: float, left: Array) -> Array:
    """Name what known curves are doing at one time.

    Parameters
    ----------
    days : float
        Days since the pour.
    lab_at : ndarray of shape (draws, 3, 3)
        Each curve's Lab at this time, shortly after (`soon`) and in four weeks.
    intended_lab : ndarray of shape (3,) or None
        The colour it should have.
    tolerance : float
        ΔE00.
    left : ndarray of bool of shape (draws,)
        Whether it was outside the tolerance before; without an intended colour,
        whether it is on its way back to where it started.

    Returns
    -------
    ndarray of str of shape (draws,)

    """
    now, shortly, later = lab_at[:, 0], lab_at[:, 1], lab_at[:, 2]
    at_rest = ciede2000(now, later) < REMAINING
    darker = (shortly[:, 0] < now[:, 0]) & (days > 3.0)
    moving_away = np.where(darker, State.BROWNING, State.TURNING)
    if intended_lab is None:
        moving = np.where(left, State.COMING_BACK, moving_away)
        return np.where(at_rest, State.STEADY, moving)
    away = ciede2000(intended_lab, lab_at)
    gain = away[:, 0] - away[:, 2]
    inside = (away[:, 0] <= tolerance) & (away[:, 2] <= tolerance)
    leaving = ~at_rest & (away[:, 1] >= away[:, 0])
    nearing = (away[:, 2] <= tolerance) | (gain >= NEARER) | (~at_rest & (gain < 0))
    home = np.where(left, State.BACK, State.STEADY)
    return np.select([inside, leaving, nearing], [home, moving_away, State.COMING_BACK], State.SETTLED_OFF)


def soon(days: float) -> float:
    """How far ahead the direction of a change is read: hours at first, days later. Ours."""
    return float(np.clip(0.3 * days, 0.2, 10.0))
