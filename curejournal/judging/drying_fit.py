"""Weighings as parts of the first weight, and the drying curves that they allow."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from curejournal.base.normal import CHI2_1_AT_99, MEDIAN_CHI2_1
from curejournal.batch.records import Entry, Weighing
from curejournal.judging.curves import Array, Curves, Grids
from curejournal.judging.drying_models import MODELS, ROOM_DAYS, RoomHistory, room_changed

ROOM_NOISE = 0.001
"""Part of its weight by which a bar wanders with the room's humidity between weighings. Ours."""
SCALE_STEPS = 0.4
"""Standard deviation of a weighing in steps of the scale: rounding (0.29) and one more unsteady digit. Ours."""
OFFSET_SD = 0.02
"""Spread of bars about their common curve, and of the first weight that each is divided by. Ours."""
ROUGH_FROM = 1.1
"""Scatter over what the scale explains, from which weighings are weighted by how far off they are. Ours."""
FAR_OFF_CHI2 = 10.83
"""99.9% point of chi-squared with one degree of freedom."""
FEWEST_SPARE = 3
"""Weighings beyond those that offsets and a curve's three amplitudes take up, from which scatter can be told. Ours."""
CHANGE_FROM_WEIGHINGS, CHANGE_FROM_DAY = 4, 9.0
"""Weighings, and the day of the last, from which a room that changed can be told from drying. Ours."""


def as_parts(entries: Sequence[Entry[Weighing]]) -> tuple[Array, Array, NDArray[np.int_]]:
    """Weights as parts of their subject's first, with standard deviations and offset groups.

    Parameters
    ----------
    entries : sequence of Entry
        Weighings in order of time.

    Returns
    -------
    parts, sds : ndarray of shape (n,)
        Parts of the first weight.
    groups : ndarray of int of shape (n,)
        Weighings of one group share an offset from the curve.
    """
    parts, sds, groups = [], [], []
    segments: dict[tuple[str, int, float], tuple[int, float]] = {}
    last_part: dict[str, float] = {}
    for entry in entries:
        weighing = entry.record
        key = (weighing.subject, weighing.bars, weighing.tare_g)
        per_bar = weighing.grams / weighing.bars
        if key not in segments:
            # A new segment goes on from where its subject stood.
            segments[key] = (len(segments), per_bar / last_part.get(weighing.subject, 1.0))
        group, unit = segments[key]
        part = per_bar / unit
        last_part[weighing.subject] = part
        parts.append(part)
        step = SCALE_STEPS * weighing.resolution_g / weighing.bars / unit
        sds.append(float(np.hypot(step, ROOM_NOISE * part)))
        groups.append(group)
    return np.array(parts), np.array(sds), np.array(groups)


UNSEEN_DAYS = 4.0
"""A room that changed later than this before the last weighing shows in no weight yet: it would only widen. Ours."""


def fit_curves(
    days: Array, parts: Array, sds: Array, groups: NDArray[np.int_], room: RoomHistory
) -> tuple[Curves, Array, float]:
    """Curves, squared distance of each weighing in standard deviations, and what the noise was multiplied by.

    Parameters
    ----------
    days, parts, sds : ndarray of shape (n,)
        Days since the pour, parts of the first weight and their standard deviations.
    groups : ndarray of int of shape (n,)
        Weighings of one group share an offset.
    room : RoomHistory
        As it was noted.

    Returns
    -------
    curves : Curves
    chi2 : ndarray of shape (n,)
    inflation : float
    """
    latest = float(days[-1])
    changed = (
        [room_changed(latest - UNSEEN_DAYS, follows) for follows in ROOM_DAYS]
        if len(days) >= CHANGE_FROM_WEIGHINGS and latest > CHANGE_FROM_DAY
        else []
    )
    noted = room.model(latest)
    models = [*MODELS, *changed, *([noted] if noted is not None else [])]

    def fit(factor: float, weights: Array) -> tuple[Curves, Array]:
        precision = (weights / (sds * factor) ** 2)[:, None, None]
        curves = Grids(models, days, parts[:, None], precision, groups, OFFSET_SD).zoom().curves()
        fitted = curves.at(days)[..., 0] + curves.extra[..., 0][:, groups]
        return curves, ((parts - fitted.mean(axis=0)) / sds) ** 2

    weights = np.ones(len(days))
    curves, chi2 = fit(1.0, weights)
    spare = len(days) - int(groups.max()) - 3
    inflation = float(np.sqrt(max(1.0, np.median(chi2) / MEDIAN_CHI2_1))) if spare >= FEWEST_SPARE else 1.0
    if spare >= FEWEST_SPARE and (inflation > ROUGH_FROM or chi2.max() > FAR_OFF_CHI2 * inflation**2):
        weights = np.minimum(1.0, CHI2_1_AT_99 * inflation**2 / np.maximum(chi2, 1e-9))
        curves, chi2 = fit(inflation, weights)
    return curves, chi2 / inflation**2, inflation
