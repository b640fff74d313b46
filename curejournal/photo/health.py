"""Does a card still look as it did? Its patches' misfits now against those of its own first photos, patch by patch."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from curejournal.base.normal import SD_OF_MAD

# All ours. Four photos make a median that one bad photo does not move; good photos of one card scatter by a few
# tenths of ΔE00 per patch, and a patch off by 1.5 more than it was would shift colours near it by about half of that.
FEWEST_PHOTOS = 4
DRIFT = 1.5
SCATTERS = 3.0


@dataclass(frozen=True)
class PatchDrift:
    """A patch that fits worse than it used to: median misfits (ΔE00, predicted from the other patches) then and now."""

    patch: str
    at_first: float
    now: float


def drifting(history: Sequence[Mapping[str, float]]) -> tuple[PatchDrift, ...] | None:
    """Patches of one printed card that faded or were stained.

    Parameters
    ----------
    history : sequence of mapping from patch id to misfit
        One for each good photo of that copy, oldest first: the CIEDE2000 of the patch when predicted from the others.

    Returns
    -------
    tuple of PatchDrift, worst first; or None if there are too few photos to say.
    """
    if len(history) < 2 * FEWEST_PHOTOS:
        return None
    first, latest = history[:FEWEST_PHOTOS], history[-FEWEST_PHOTOS:]
    found = []
    for patch in sorted(set().union(*history)):
        then = np.array([photo[patch] for photo in first if patch in photo])
        now = np.array([photo[patch] for photo in latest if patch in photo])
        if min(len(then), len(now)) < FEWEST_PHOTOS - 1:
            continue
        rise = float(np.median(now) - np.median(then))
        scatter = SD_OF_MAD * float(np.median(np.abs(np.concatenate([then - np.median(then), now - np.median(now)]))))
        if rise > max(DRIFT, SCATTERS * scatter):
            found.append(PatchDrift(patch, float(np.median(then)), float(np.median(now))))
    return tuple(sorted(found, key=lambda drift: drift.at_first - drift.now))


def typical_misfits(history: Sequence[Mapping[str, float]]) -> dict[str, float]:
    """How far each patch is off at present, ΔE00: the median over the latest photos in which it was seen.

    Parameters
    ----------
    history : sequence of mapping of patch id to float
        ΔE00 of each patch in each photo, oldest first.

    Returns
    -------
    dict of str to float
        By patch id.
    """
    seen: dict[str, list[float]] = {}
    for photo in history:
        for patch, misfit in photo.items():
            seen.setdefault(patch, []).append(misfit)
    return {patch: float(np.median(misfits[-FEWEST_PHOTOS:])) for patch, misfits in seen.items()}
