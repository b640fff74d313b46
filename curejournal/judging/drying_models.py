"""How soap dries: the family of curves that its weights are read by."""

from __future__ import annotations

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
