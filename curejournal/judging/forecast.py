"""When a colour is within its tolerance to stay: from its own curves, or from what the same materials did before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from scipy.special import stdtrit

from curejournal.base.messages import msg
from curejournal.colour.difference import Interval
from curejournal.judging.curves import Array

DAY = timedelta(days=1)

HORIZON_DAYS = 120.0
"""How far ahead a return is forecast, days. Ours: beyond it nobody waits."""
SPREAD, SPREAD_WORTH = 0.35, 6.0
"""Spread of one material from batch to batch, standard deviation of the natural logarithm, and how many batches this
guess is worth. Ours: a factor of two either way, until the batches say otherwise."""


@dataclass(frozen=True)
class Forecast:
    """When the portion is within its tolerance to stay.

    `at` is the middle of what the curves say and `interval` its 95%; an end that is None lies beyond the horizon, and
    the other is then that of a one-sided interval. `expected` is false if most curves never come within.
    """

    expected: bool
    at: datetime | None
    interval: tuple[datetime | None, datetime | None]
    chance: float
    words: str


def predict(grid: Array, away: Array, tolerance: float, start: datetime, last: float) -> Forecast:
    """When a portion is within tolerance to stay, from curves drawn in proportion to their evidence.

    Parameters
    ----------
    grid : ndarray of shape (n,)
        Days since `start`, rising, past and future.
    away : ndarray of shape (draws, n)
        ΔE00 of each curve from the target colour.
    tolerance : float
        ΔE00.
    start : datetime
        Time zero.
    last : float
        Day of the last reading.

    Returns
    -------
    Forecast

    """
    outside = away > tolerance
    final = outside.shape[1] - 1 - outside[:, ::-1].argmax(axis=1)
    rows = np.arange(len(away))
    nxt = np.minimum(final + 1, len(grid) - 1)
    step = (away[rows, final] - tolerance) / np.maximum(away[rows, final] - away[rows, nxt], 1e-9)
    day = grid[final] + np.clip(step, 0, 1) * (grid[nxt] - grid[final])
    day = np.where(outside.any(axis=1), np.where(final == len(grid) - 1, np.inf, day), grid[0])
    chance = float(np.isfinite(day).mean())
    middle, early, low, high = np.quantile(day, [0.5, 0.05, 0.025, 0.975], method="inverted_cdf")
    if not np.isfinite(high):
        low = early  # where only one end can be wrong, all of the 5% are before it
    else:
        low, high = _wider(middle, low), _wider(middle, high)

    def moment(value: float) -> datetime | None:
        return start + float(value) * DAY if np.isfinite(value) else None

    interval = (moment(low), moment(high))
    if chance < 0.5:
        words = msg("not expected") if chance < 0.1 else msg("not expected, though possible")
        return Forecast(False, None, interval, chance, words)
    return Forecast(True, moment(middle), interval, chance, msg("since about") if middle <= last else msg("from about"))


WIDER = 2.2
"""By how much an interval with two ends is wider than by the curves, on the logarithm of days since the pour: true
colours do not follow them. Ours, by the study of foreign worlds, where 66% of
such intervals held as the curves have them and 84% at 1.6; no width helps where a colour browns later."""


def _wider(middle: float, end: float) -> float:
    """An end of an interval, moved away from its middle by `WIDER`."""
    return float(max(middle, 0.01) * (max(end, 0.01) / max(middle, 0.01)) ** WIDER) if middle > 0 else end


def forecast_from_history(days_to_return: Sequence[float | None], poured_at: datetime) -> Forecast | None:
    """When a portion may be within tolerance, before its first photo, from earlier batches of the same materials.

    Parameters
    ----------
    days_to_return : sequence of float or None
        Days that each earlier batch took; None where it never came back.
    poured_at : datetime
        Time zero.

    Returns
    -------
    Forecast or None
        None without any history. The interval is that of one more batch; see `one_more`.

    """
    if not days_to_return:
        return None
    returned = np.log([max(day, 0.1) for day in days_to_return if day is not None])
    # Laplace's rule of succession: one batch that came back does not make it certain.
    chance = (len(returned) + 1) / (len(days_to_return) + 2)
    if not len(returned) or chance < 0.5:
        return Forecast(
            False,
            None,
            (None, None),
            chance,
            msg("not expected, by {days_to_return}", days_to_return=_how_many(days_to_return)),
        )
    at, low, high = (poured_at + day * DAY for day in one_more(returned))
    return Forecast(
        True, at, (low, high), chance, msg("from about, by {days_to_return}", days_to_return=_how_many(days_to_return))
    )


def _how_many(batches: Sequence[float | None]) -> str:
    return msg("a single earlier batch") if len(batches) == 1 else msg("earlier batches")


def one_more(logs: Array, own_variance: float = 0.0) -> Interval:
    """Median and 95% interval of one more batch's value, from the logarithms (n,) of those seen.

    Student's t, with a first guess of the spread between batches that counts as `SPREAD_WORTH` batches (Gelman et al.
    2013, Bayesian Data Analysis, 3.3). `own_variance` is that of one value's own error, in logarithms.

    Parameters
    ----------
    logs : ndarray of shape (n,)
        Natural logarithms.
    own_variance : float
        Of one value's own error, in logarithms.

    Returns
    -------
    Interval
        Not in logarithms.
    """
    count = len(logs)
    middle = float(logs.mean())
    freedom = SPREAD_WORTH + count - 1
    variance = (SPREAD_WORTH * SPREAD**2 + float(((logs - middle) ** 2).sum())) / freedom
    reach = float(stdtrit(freedom, 0.975)) * float(np.sqrt(variance * (1 + 1 / count) + own_variance))
    return Interval(*np.exp([middle, middle - reach, middle + reach]).tolist())
