"""What a soap's colour may do: the family of curves that a journey is read by."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from curejournal.base.messages import msg
from curejournal.judging.curves import Array, CurveModel, decay


def _steady(days: Array, rates: Array) -> Array:
    return np.ones((len(rates), len(days), 1))


def _one(days: Array, rates: Array) -> Array:
    fall = decay(days, rates[:, 0])
    return np.stack([np.ones_like(fall), fall], axis=-1)


def _two(days: Array, rates: Array) -> Array:
    fast, slow = decay(days, rates[:, 0]), decay(days, rates[:, 1])
    return np.stack([np.ones_like(fast), fast, slow], axis=-1)


def _late(days: Array, rates: Array) -> Array:
    after = np.maximum(days[None, :] - rates[:, 1:], 0.0)
    return np.stack([np.ones_like(after), 1.0 - np.exp(-rates[:, :1] * after)], axis=-1)


FAR_SD, NEAR_SD, RETURN_SD, CHANGE_SD = 15.0, 5.0, 1.5, 15.0
"""Priors in Lab units about the target colour: where a journey ends that goes far, that ends beside its aim, and
that comes back; and how large each change may be. Ours: changes of soap span tens of units, a tolerance about two."""


def _model(
    name: str,
    words: str,
    shape: Callable[[Array, Array], Array],
    bounds: tuple[tuple[float, float], ...] = (),
    end_sd: float = FAR_SD,
) -> CurveModel:
    changes = 1 if shape is _late else len(bounds)
    return CurveModel(
        name=name,
        words=words,
        low=tuple(low for low, _ in bounds),
        high=tuple(high for _, high in bounds),
        shape=shape,
        amplitude_mean=(0.0,) * (1 + changes),
        amplitude_sd=(end_sd, *([CHANGE_SD] * changes)),
    )


_RECOVERY, _TURN, _SLOW, _BROWNING = (0.015, 4.0), (1.0, 12.0), (0.02, 0.6), (0.008, 0.07)
_RETURN, _RETURN_SLOW = (0.04, 4.0), (0.04, 0.6)
"""Rates per day. Turns last hours to days, recoveries days to weeks, browning weeks to months [common practice, no
source]. Ours."""

FREE_MODELS: tuple[CurveModel, ...] = (
    _model("steady", msg("no change"), _steady),
    _model("relaxation", msg("one relaxation toward an end colour"), _one, (_RECOVERY,)),
    _model(msg("recovery and browning"), msg("a recovery, then slow browning"), _two, ((0.08, 2.0), _BROWNING)),
    _model(msg("turn and recovery"), msg("a fast turn, then a slow recovery"), _two, (_TURN, _SLOW), NEAR_SD),
)
"""What a colour may do by itself. A new model is one entry here."""

AIMED_MODELS: tuple[CurveModel, ...] = (
    _model(
        msg("relaxation nearby"), msg("one relaxation, ending beside the target colour"), _one, (_RECOVERY,), NEAR_SD
    ),
    _model(msg("steady as intended"), msg("no change from the target colour"), _steady, (), RETURN_SD),
    _model("return", msg("one relaxation to the target colour"), _one, (_RETURN,), RETURN_SD),
    _model(msg("turn and return"), msg("a fast turn, then a return"), _two, (_TURN, _RETURN_SLOW), RETURN_SD),
    _model(msg("late browning"), msg("as intended, then browning"), _late, ((0.012, 0.3), (1.0, 25.0)), RETURN_SD),
)
"""What it may do where there is a target colour: most end near it, and the readings may deny it. *Late browning*
keeps open, for the first weeks, that a colour that looks right turns yet; up to 0.3 a day, as with a bound of 0.1
browning that had come to rest was called *still browning* (first range of the study of foreign worlds)."""
