"""The plain words for what a colour is doing, and what each means for a known curve."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from curejournal.colour.difference import ciede2000
from curejournal.colour.sample import Lab
from curejournal.judging.curves import Array


class State(StrEnum):
    """What a portion's colour is doing."""

    DISCOLOURING = "discolouring"
    RECOVERING = "recovering"
    RECOVERED = "recovered"
    STABLE_OFF = "stable, off target"
    BROWNING = "still browning"
    STABLE = "stable"
    TOO_FEW = "too few readings"


REMAINING = 1.0
"""ΔE00 still to come in four weeks, below which a colour counts as at rest: about just noticeable side by side."""

NEARER = 1.5
"""ΔE00 by which a colour has to come nearer in four weeks to be called *recovering*, if it does not get within
tolerance: half a usual tolerance. Less is not worth a wait. Ours."""

AHEAD_DAYS = 28.0

NAMING_CERTAINTY = 0.5
LEFT_CERTAINTY = 0.9
"""Certainties asked for naming any other state, and for having been out of tolerance. Ours, from the same study."""

LATE_DAYS, LATE_CERTAINTY = 10.0, 0.8
"""Days after which a turn is unlikely, as turns last hours to days [common practice, no source], and the certainty
that is then asked for to say *discolouring*. Ours."""

LONE_DAYS, LONE_OUT, LONE_WEIGHT = 0.5, 1.5, 0.02
"""A single moment more than `LONE_OUT` tolerances off, beside one within tolerance less than `LONE_DAYS` away, is
likelier a bad photo than a colour that came back within hours: it is questioned, and counts for so little. Ours."""

POSSIBLE = 0.05
"""Share of the curves from which another state is said to be possible too. Ours: from 0.15 on, the right one or the
other was said in 85% of a part of the study of foreign worlds, from 0.05 or 0.03 on in 87%."""


def classify(days: float, lab_at: Array, target_lab: Array | None, tolerance: float, left: Array) -> Array:
    """Name what known curves are doing at one time.

    Parameters
    ----------
    days : float
        Days since the pour.
    lab_at : ndarray of shape (draws, 3, 3)
        Each curve's Lab at this time, shortly after (`soon`) and in four weeks.
    target_lab : ndarray of shape (3,) or None
        The colour it should have.
    tolerance : float
        ΔE00.
    left : ndarray of bool of shape (draws,)
        Whether it was outside the tolerance before; without a target colour,
        whether it is on its way back to where it started.

    Returns
    -------
    ndarray of str of shape (draws,)

    """
    now, shortly, later = lab_at[:, 0], lab_at[:, 1], lab_at[:, 2]
    at_rest = ciede2000(now, later) < REMAINING
    darker = (shortly[:, 0] < now[:, 0]) & (days > 3.0)
    moving_away = np.where(darker, State.BROWNING, State.DISCOLOURING)
    if target_lab is None:
        moving = np.where(left, State.RECOVERING, moving_away)
        return np.where(at_rest, State.STABLE, moving)
    away = ciede2000(target_lab, lab_at)
    gain = away[:, 0] - away[:, 2]
    inside = (away[:, 0] <= tolerance) & (away[:, 2] <= tolerance)
    leaving = ~at_rest & (away[:, 1] >= away[:, 0])
    nearing = (away[:, 2] <= tolerance) | (gain >= NEARER) | (~at_rest & (gain < 0))
    home = np.where(left, State.RECOVERED, State.STABLE)
    return np.select([inside, leaving, nearing], [home, moving_away, State.RECOVERING], State.STABLE_OFF)


def soon(days: float) -> float:
    """How far ahead the direction of a change is read: hours at first, days later. Ours.

    Parameters
    ----------
    days : float
        Since the pour.

    Returns
    -------
    float
        In days.
    """
    return float(np.clip(0.3 * days, 0.2, 10.0))


def lone_moment(days: Array, labs: Array, target_lab: Lab | None, tolerance: float) -> NDArray[np.bool_]:
    """Which moment stands alone out of tolerance, hours from one within; never the last.

    Parameters
    ----------
    days : ndarray of shape (n,)
        Days since the pour.
    labs : ndarray of shape (n, 3)
        CIELAB D50/2 of each moment.
    target_lab : Lab or None
        The colour that it should have, CIELAB D50/2.
    tolerance : float
        The ΔE00 from the target that the maker accepts.

    Returns
    -------
    ndarray of shape (n,), bool
    """
    lone = np.zeros(len(days), bool)
    if target_lab is None:
        return lone
    away = ciede2000(np.array(target_lab), labs)
    out = np.flatnonzero(away > LONE_OUT * tolerance)
    if len(out) == 1 and out[0] < len(days) - 1:
        near = np.abs(days - days[out[0]]) <= LONE_DAYS
        lone[out[0]] = bool((away[near] <= tolerance).any())
    return lone


def perhaps(state: State, chances: Mapping[State, float], last: float) -> State | None:
    """The one other state that is possible too, if any is by `POSSIBLE` on the day of the last moment.

    None beside *recovered*, which is a claim that was proven, and beside *too few readings*. *Discolouring* is not held
    possible once turns are over, unless the curves say so as strongly as for naming it.


    Parameters
    ----------
    state : State
        The one that is named.
    chances : mapping of State to float
        From 0 to 1.
    last : float
        Day of the last moment.

    Returns
    -------
    State or None
    """
    if state in (State.RECOVERED, State.TOO_FEW):
        return None
    home = {State.RECOVERED, State.STABLE}
    others = {other: share for other, share in chances.items() if other != state and not {state, other} <= home}
    if last > LATE_DAYS and others.get(State.DISCOLOURING, 0.0) < NAMING_CERTAINTY:
        others.pop(State.DISCOLOURING, None)
    other = max(others, key=others.__getitem__, default=None)
    return other if other is not None and others[other] >= POSSIBLE else None


def name_of(chances: Iterable[tuple[State, float]], moments: int, last: float) -> State:
    """The state that is named: from the shares of the curves, how many moments there are, and the day of the last.

    Parameters
    ----------
    chances : iterable of (State, float)
        From 0 to 1.
    moments : int
        How many there are.
    last : float
        Days since the pour of the last.

    Returns
    -------
    State
    """
    merged = dict(chances)
    total = 1.0
    if last > LATE_DAYS and merged[State.DISCOLOURING] < LATE_CERTAINTY:
        total -= merged[State.DISCOLOURING]
        merged[State.DISCOLOURING] = 0.0
    # Whether it was ever out matters less than that it is in: *back* needs proof of having left.
    home = merged[State.RECOVERED] + merged[State.STABLE]
    left = merged[State.RECOVERED] >= LEFT_CERTAINTY * home
    merged[State.RECOVERED], merged[State.STABLE] = (home, 0.0) if left else (0.0, home)
    state, chance = max(merged.items(), key=lambda pair: pair[1])
    # Two moments can show a change but not what becomes of it: only a near certainty is named.
    # One moment shows no change at all: 2 is a certainty that none reaches.
    needed = {1: 2.0, 2: 0.95}.get(moments, NAMING_CERTAINTY)
    return state if chance >= needed * total else State.TOO_FEW
