"""What materials may do, drawn in proportion to how well it explains all portions: the sampler behind `culprits`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtr, ndtri

Array = NDArray[np.float64]

SLAB_SD = 12.0
"""How much a material that does something may do at its usual dose, ΔE00. Ours: turns of tens are the worst seen
[common practice, no source]; half-normal, so small ones are likelier."""
BASE, BASE_SD = 2.0, 3.0
"""What soap does by itself between pour and cure, ΔE00. Ours: it lightens a little."""
NOISE_SDS = np.geomspace(0.25, 10.0, 22)
"""Spread between batches that the materials do not explain, ΔE00; each as likely as the next. Ours."""
SHARE_SD = np.array([0.0, 0.15, 0.3])
"""Spread of one material's effect from batch to batch, as a part of itself; each as likely as the next. Ours."""
TAIL = 6.0
"""Degrees of freedom of the noise: Student's t, which forgives an odd batch. Ours."""
CULPRITS_EXPECTED = 2.0
"""Materials of one journal that do something, before any batch is seen: Beta(2, number of materials). Ours."""
SEASON_SD = 5.0
"""What the time of the year may do, ΔE00, in each of its two waves (once and twice a year). Ours: rooms are warm, or
cold and damp, and turns run with it."""
CHAINS, SWEEPS, WARM_UP, NOISE_EVERY = 48, 360, 60, 3
"""Chains side by side, sweeps kept of each and left out before, and how often the noise is drawn, the slowest part.
Ours: against integration on a grid chances agree within 0.05, means within 0.1 ΔE00 (tests)."""


@dataclass(frozen=True)
class Dose:
    """A material in a portion: % of that portion's batter by mass."""

    material: str
    pct: float
    lot: str = ""


@dataclass(frozen=True)
class Observation:
    """What was seen in one portion of one batch, with its standard deviation, and what was in it.

    `year_part` is when it was poured, as a part of its year from 0 to 1; None leaves the season out of account.
    """

    batch: str
    portion: str
    value: float
    sd: float
    doses: tuple[Dose, ...]
    year_part: float | None = None


@dataclass(frozen=True)
class Column:
    """Materials that were never apart, as one column of the design; `own_pct` are their doses in each portion."""

    materials: tuple[str, ...]
    own_pct: tuple[Array, ...]

    @property
    def usual_pct(self) -> tuple[float, ...]:
        """The median of the doses of each where it was used."""
        return tuple(float(np.median(pct[pct > 0])) for pct in self.own_pct)

    @property
    def relative(self) -> Array:
        """The dose in each portion as a part of the usual one; the mean of these parts for more than one material."""
        parts = [pct / usual for pct, usual in zip(self.own_pct, self.usual_pct, strict=True)]
        return np.asarray(np.mean(parts, axis=0), np.float64)


@dataclass(frozen=True)
class Draws:
    """Draws of the posterior; `at_usual` of shape (draws, columns) are effects at each column's usual dose.

    `season` of shape (draws, waves) are the heights of the waves of the year, `waves` of shape (portions, waves) those
    waves when each portion was poured; without any where the season is left out of account.
    """

    columns: tuple[Column, ...]
    base: Array
    at_usual: Array
    noise_sd: Array
    share_sd: Array
    share: Array
    weights: Array
    seed: int
    season: Array
    waves: Array

    def column_of(self, material: str) -> int:
        """The column that a material is part of."""
        return next(j for j, column in enumerate(self.columns) if material in column.materials)

    def one_more(self, value: Array, unknown: int = 0) -> Array:
        """Values with the noise of one more batch, and what `unknown` new materials may do."""
        rng = np.random.default_rng(self.seed + 1)
        # Nobody knows when it will be poured: at a time of the year like any that was seen.
        value = value + (self.season * self.waves[rng.integers(len(self.waves), size=len(value))]).sum(1)
        for _ in range(unknown):
            does = rng.random(len(value)) < self.share
            value = value + does * np.abs(rng.normal(0.0, SLAB_SD, len(value)))
        spread = np.hypot(self.noise_sd, self.share_sd * np.maximum(value - BASE, 0.0))
        return np.asarray(value + spread * rng.standard_t(TAIL, len(value)))


def year_waves(parts: Sequence[float | None]) -> Array:
    """The year's waves at each pour, of shape (pours, 4), centred; of no width unless every pour has its time."""
    if any(part is None for part in parts):
        return np.zeros((len(parts), 0))
    angle = 2 * np.pi * np.array(parts, np.float64)
    waves = np.stack([np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle)], axis=1)
    return np.asarray(waves - waves.mean(0), np.float64)


def sample(observations: Sequence[Observation], columns: tuple[Column, ...], seed: int) -> Draws:
    """Gibbs sampling in `CHAINS` chains side by side."""
    rng = np.random.default_rng(seed)
    values = np.array([seen.value for seen in observations])
    variances = np.array([seen.sd for seen in observations]) ** 2
    design = np.stack([column.relative for column in columns], axis=1)
    count, width = design.shape

    # The share's spread acts on what was seen, so that the noise does not depend on what is estimated.
    grid_noise, grid_share = (part.ravel() for part in np.meshgrid(NOISE_SDS, SHARE_SD))
    grid = variances + grid_noise[:, None] ** 2 + (grid_share[:, None] * np.maximum(values - BASE, 0.0)) ** 2
    effects = np.where(rng.random((CHAINS, width)) < 0.5, np.abs(rng.normal(0, 4, (CHAINS, width))), 0.0)
    base, tails = np.full(CHAINS, BASE), np.ones((CHAINS, count))
    chosen = rng.integers(len(grid), size=CHAINS)
    share = np.full(CHAINS, CULPRITS_EXPECTED / (CULPRITS_EXPECTED + width))
    waves = year_waves([seen.year_part for seen in observations])
    season = np.zeros((CHAINS, waves.shape[1]))
    rest = values - base[:, None] - effects @ design.T
    kept = []
    for sweep in range(WARM_UP + SWEEPS):
        weights = tails / grid[chosen]
        rest += base[:, None]
        precision = weights.sum(1) + BASE_SD**-2
        middle = ((weights * rest).sum(1) + BASE * BASE_SD**-2) / precision
        base = middle + rng.normal(size=CHAINS) / np.sqrt(precision)
        rest -= base[:, None]
        for k, wave in enumerate(waves.T):
            rest += season[:, k, None] * wave
            precision = weights @ wave**2 + SEASON_SD**-2
            season[:, k] = (weights * rest) @ wave / precision + rng.normal(size=CHAINS) / np.sqrt(precision)
            rest -= season[:, k, None] * wave
        for j in rng.permutation(width):
            row = design[:, j]
            rest += effects[:, j, None] * row
            precision = weights @ row**2 + SLAB_SD**-2
            score = (weights * rest) @ row / np.sqrt(precision)  # the middle in standard deviations
            odds = np.log(share / (1 - share)) + np.log(2) + log_ndtr(score) + score**2 / 2
            odds -= np.log(SLAB_SD) + np.log(precision) / 2
            does = np.log(rng.random(CHAINS)) < -np.logaddexp(0.0, -odds)
            drawn = score - ndtri(np.maximum(rng.random(CHAINS) * ndtr(score), 1e-300))
            effects[:, j] = np.where(does, np.maximum(drawn, 0.0) / np.sqrt(precision), 0.0)
            rest -= effects[:, j, None] * row
        included = (effects > 0).sum(1)
        share = rng.beta(CULPRITS_EXPECTED + included, 2 * width - included)
        if sweep % NOISE_EVERY == 0:
            # Scale of the noise with the tails integrated out, then the tails.
            squares = rest[:, None, :] ** 2 / grid
            log_chance = -0.5 * (np.log(grid) + (TAIL + 1) * np.log1p(squares / TAIL)).sum(2)
            chosen = (log_chance + rng.gumbel(size=log_chance.shape)).argmax(1)
            tails = rng.gamma((TAIL + 1) / 2, 1.0, rest.shape) / ((TAIL + rest**2 / grid[chosen]) / 2)
        if sweep >= WARM_UP:
            spreads = grid_noise[chosen], grid_share[chosen]
            kept.append((base, effects.copy(), *spreads, share, (tails / grid[chosen]), season.copy()))
    bases, at_usual, noise, shares_sd, shares, precisions, seasons = map(np.concatenate, zip(*kept, strict=True))
    return Draws(columns, bases, at_usual, noise, shares_sd, shares, np.mean(precisions, axis=0), seed, seasons, waves)
