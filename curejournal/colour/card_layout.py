"""Where patches lie on a card, in units in which light that changes across it can be fitted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from curejournal.colour import camera

Array = NDArray[np.float64]


@dataclass(frozen=True)
class CardLayout:
    """The card's own coordinates: the middle of its patches and half their greater extent, in mm."""

    centre: Array | None = None
    half: float = 1.0

    @classmethod
    def of(cls, xy_mm: ArrayLike | None) -> CardLayout:
        """The layout of places (N, 2) on a card, in mm; without any, none is known."""
        if xy_mm is None:
            return cls()
        xy = np.asarray(xy_mm, dtype=float)
        low, high = xy.min(axis=0), xy.max(axis=0)
        return cls((low + high) / 2.0, max(float((high - low).max()) / 2.0, 1e-9))

    def places(self, xy_mm: ArrayLike | None, count: int) -> Array:
        """Places (M, 2) in units of the layout; held where a plane of light would be an extrapolation."""
        if self.centre is None or xy_mm is None:
            return np.zeros((count, 2))
        return np.clip((np.asarray(xy_mm, dtype=float).reshape(-1, 2) - self.centre) / self.half, -1.5, 1.5)

    def light_sd(self, xy_mm: ArrayLike | None) -> float:
        """Spread of the logarithm of light where the place is not known although the light is uneven."""
        return 0.0 if self.centre is None or xy_mm is not None else float(camera.PRIOR_SD[camera.PLANE][0])
