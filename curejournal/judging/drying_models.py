"""How soap dries: the family of curves that its weights are read by."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby

import numpy as np

from curejournal.base.messages import msg
from curejournal.judging.curves import Array, CurveModel, decay

ROOM_DAYS = (5.0, 25.0)
"""Times in which a bar may follow its room to another moisture, days: thin and thick, each as likely. Ours, as drying
itself takes from one week to several."""


def newton_loss(days: Array, rates: Array) -> Array:
    """1 - exp(-k t): Lewis 1921 (Newton). One column, (g, n, 1), from rates (g, 1).

    Parameters
    ----------
    days : ndarray of shape (n,)
        Days since the pour.
    rates : ndarray of shape (g, 1)
        k, per day.

    Returns
    -------
    ndarray of shape (g, n, 1)
        Share of the final loss.
    """
    return 1.0 - decay(days, rates[:, 0])[..., None]


def page_loss(days: Array, rates: Array) -> Array:
    """1 - exp(-(k t)^n): Page 1949. One column, (g, n, 1), from rates (g, 2) of k and n.

    Parameters
    ----------
    days : ndarray of shape (n,)
        Days since the pour.
    rates : ndarray of shape (g, 2)
        k, per day, and n.

    Returns
    -------
    ndarray of shape (g, n, 1)
        Share of the final loss.
    """
    return 1.0 - np.exp(-((rates[:, :1] * np.maximum(days, 0.0)) ** rates[:, 1:]))[..., None]


def two_term_loss(days: Array, rates: Array) -> Array:
    """1 - exp(-k0 t) and 1 - exp(-k1 t): the two-term model. Two columns, (g, n, 2), from rates (g, 2).

    Parameters
    ----------
    days : ndarray of shape (n,)
        Days since the pour.
    rates : ndarray of shape (g, 2)
        k0 and k1, per day.

    Returns
    -------
    ndarray of shape (g, n, 2)
        Share of the final loss of each term.
    """
    return 1.0 - np.stack([decay(days, rates[:, 0]), decay(days, rates[:, 1])], axis=-1)


def _from_start(loss: Array) -> Array:
    return np.concatenate([np.ones_like(loss[..., :1]), -loss], axis=-1)


def _changed_loss(days: Array, rates: Array, follows: float) -> Array:
    """Newton drying, then at a day (second rate) a step to another moisture, followed over so many days."""
    after = np.maximum(days[None, :] - rates[:, 1:], 0.0)
    return np.concatenate([_from_start(newton_loss(days, rates)), (1.0 - np.exp(-after / follows))[..., None]], -1)


MODELS: tuple[CurveModel, ...] = (
    # A free start makes Newton's model that of Henderson & Pabis 1961, MR = a exp(-k t).
    CurveModel(
        "Henderson-Pabis",
        msg("drying at a rate that falls with the water left"),
        (0.01,),
        (0.6,),
        lambda days, rates: _from_start(newton_loss(days, rates)),
        (1.02, 0.12),
        (0.05, 0.06),
    ),
    CurveModel(
        "Page",
        msg("fast at first, then slower than that"),
        (0.01, 0.5),
        (0.6, 1.2),
        lambda days, rates: _from_start(page_loss(days, rates)),
        (1.02, 0.12),
        (0.05, 0.06),
    ),
    CurveModel(
        "two-term",
        msg("a fast skin and a slow core"),
        (0.08, 0.01),
        (0.8, 0.08),
        lambda days, rates: _from_start(two_term_loss(days, rates)),
        (1.02, 0.05, 0.07),
        (0.05, 0.04, 0.05),
    ),
)
"""Thin-layer drying models on weight as a part of the first weight, time in days. The priors span losses of 8 to
14% by week six [common practice, no source] and more; rates are ours. A new model is one entry here."""


def room_changed(latest: float, follows: float) -> CurveModel:
    """Drying, and a step to another moisture on some day up to `latest`, followed over so many days.

    Parameters
    ----------
    latest : float
        Last day on which it may have changed, since the pour.
    follows : float
        Days over which the soap follows.

    Returns
    -------
    CurveModel
    """
    return CurveModel(
        msg("room changed, followed in {follows:g} days", follows=follows),
        msg("drying, then another moisture in a damper or drier room"),
        (0.01, 3.0),
        (0.6, latest),
        lambda days, rates: _changed_loss(days, rates, follows),
        (1.02, 0.12, 0.0),
        (0.05, 0.06, 0.02),
    )


SPAN_DAYS, FEWEST_SPANS = 3.0, 3
"""A logged room enters as its mean over such spans, if it was noted in so many of them. Ours: soap follows its room
over days, and hours would only cost time."""
TEN_DEGREES = 1.8
"""By what a bar dries faster for ten degrees more at the same relative humidity: so much more water the air then takes
up. Saturated vapour holds 2.34 kPa at 20 °C and 4.25 at 30 [from memory: any steam table]."""


@dataclass(frozen=True)
class RoomHistory:
    """The room as it was noted: days since the pour and values, in order of time; either may be empty."""

    humidity_pct: Sequence[tuple[float, float]] = field(default=())
    temperature_c: Sequence[tuple[float, float]] = field(default=())

    def model(self, latest: float) -> CurveModel | None:
        """Drying in this room; None if it was noted too seldom up to the day `latest` to tell anything.

        After the last note the room is taken to stay as it was.
        """
        damp, warm = (_spans(noted, latest) for noted in (self.humidity_pct, self.temperature_c))
        if max(len(damp), len(warm)) < FEWEST_SPANS:
            return None
        return CurveModel(
            msg("room as noted"),
            msg("drying in the room as it was noted, its humidity and temperature"),
            (0.01, 0.04),
            (0.6, 0.3),
            lambda days, rates: _logged_loss(_warmed(days, warm), days, rates, damp),
            (1.02, 0.12, 0.10),
            (0.05, 0.06, 0.08),
        )


def _spans(noted: Sequence[tuple[float, float]], latest: float) -> Mapping[float, float]:
    """Mean by the first day of each span."""
    before = sorted(one for one in noted if 0.0 <= one[0] <= latest)
    spans = ((start, [value for _, value in some]) for start, some in groupby(before, lambda one: one[0] // SPAN_DAYS))
    return {start * SPAN_DAYS: sum(values) / len(values) for start, values in spans}


def _warmed(days: Array, warm: Mapping[float, float]) -> Array:
    """Days as they count at the room's mean temperature: more pass in the warmth than in the cold."""
    if len(warm) < FEWEST_SPANS:
        return days
    starts, degrees = np.array(list(warm)), np.array(list(warm.values()))
    speed = TEN_DEGREES ** ((degrees - degrees.mean()) / 10.0)
    edges = np.concatenate([[0.0], starts[1:], [max(float(days.max()), starts[-1]) + SPAN_DAYS]])
    passed = np.concatenate([[0.0], np.cumsum(np.diff(edges) * speed)])
    return np.asarray(np.interp(days, edges, passed))


def _logged_loss(warmed: Array, days: Array, rates: Array, damp: Mapping[float, float]) -> Array:
    """Newton drying, and the moisture that follows the room's humidity (second rate): (g, n, 3).

    The last column is in parts of relative humidity: its amplitude is what a bar takes up from dry air to damp.
    """
    follows = np.zeros((len(rates), len(days)))
    if len(damp) >= FEWEST_SPANS:
        humid = np.array(list(damp.values())) / 100.0
        since = np.maximum(days[:, None] - np.array(list(damp))[1:], 0.0)
        follows = (1.0 - np.exp(-rates[:, 1, None, None] * since)) @ np.diff(humid)
    return np.concatenate([_from_start(newton_loss(warmed, rates)), follows[..., None]], axis=-1)
