"""From when a batch is steady, by the curves and for what the room may do."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from curejournal.judging.curves import Array

DAY = timedelta(days=1)


def from_when(
    grid: Array, losses: Array, limit: float, start: datetime
) -> tuple[datetime | None, tuple[datetime | None, datetime | None]]:
    """When the losses (draws, n) on a grid of days (n,) stay within the limit: middle and 95% interval.

    Parameters
    ----------
    grid : ndarray of shape (n,)
        Days since the pour.
    losses : ndarray of shape (draws, n)
        Loss in the 7 days after, % of weight.
    limit : float
        In % a week.
    start : datetime
        Time zero.

    Returns
    -------
    at : datetime or None
        The median.
    interval : tuple of (datetime or None, datetime or None)
        95%; None where it has no end.
    """
    outside = np.abs(losses) >= limit
    count = outside.shape[1]
    final = count - 1 - outside[:, ::-1].argmax(axis=1)
    rows = np.arange(len(losses))
    nxt = np.minimum(final + 1, count - 1)
    here, there = np.abs(losses[rows, final]), np.abs(losses[rows, nxt])
    day = grid[final] + np.clip((here - limit) / np.maximum(here - there, 1e-9), 0, 1) * (grid[nxt] - grid[final])
    day = np.where(outside.any(axis=1), np.where(final == count - 1, np.inf, day), grid[0])
    middle, low, high = (
        start + float(value) * DAY if np.isfinite(value) else None
        for value in np.quantile(day, [0.5, 0.025, 0.975], method="inverted_cdf")
    )
    return middle, (low, high)


ROOM_WIDENS = 1.5
"""How much later than by the curves the date may be, as a room's humidity wanders. Ours, by the study of foreign
worlds, where 34 of 34 dates that failed were too early, 27 of them of bars that took up water again."""


def allowing_for_the_room(
    last: datetime, at: datetime | None, interval: tuple[datetime | None, datetime | None], moved: bool
) -> tuple[datetime | None, tuple[datetime | None, datetime | None]]:
    """The dates by the curves, with a later end for what the room may do; none before a change that was weighed.

    Where the curves say steady already, nothing bounds when a damper room would end that: no end is given.

    Parameters
    ----------
    last : datetime
        Time of the last weighing.
    at : datetime or None
        The median by the curves.
    interval : tuple of (datetime or None, datetime or None)
        95% by the curves.
    moved : bool
        Whether the scale saw a change beyond the limit.

    Returns
    -------
    at : datetime or None
    interval : tuple of (datetime or None, datetime or None)
    """
    low, high = interval
    if moved:
        at, low, high = (None if moment is None else max(moment, last) for moment in (at, low, high))
    if high is not None:
        high = None if high <= last else last + ROOM_WIDENS * (high - last)
    return at, (low, high)
