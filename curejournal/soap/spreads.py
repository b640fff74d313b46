"""How much lye each fat, alkali and acid of a recipe stands for, and how sure that is: all as grams of KOH."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from curejournal.base.counting import digits
from curejournal.base.messages import msg
from curejournal.soap.acids import mol_of_lye_per_g
from curejournal.soap.oils import OILS, sv_range
from curejournal.soap.recipe import Alkali, Oil, Recipe

Array = NDArray[np.float64]

# IUPAC abridged standard atomic weights (g/mol): H 1.008, O 15.999, Na 22.990, K 39.098.
NAOH_G_MOL = 22.990 + 15.999 + 1.008
KOH_G_MOL = 39.098 + 15.999 + 1.008
NAOH_PER_KOH = NAOH_G_MOL / KOH_G_MOL

LIQUID_FAT_SV = (190.0, 265.0)
"""mg KOH per g of the fat in a liquid, which the recipe does not name. Ours: wide enough for
coconut (248-265, Codex STAN 210) and for milk fat (about 210-235) [from memory]."""

ANY_FAT_SV = (0.0, 400.0)
"""mg KOH per g of a fat of which nothing is known: from a mineral oil, which takes up none, to beyond tricaprylin, 357
[arithmetic]."""

COVERAGE = 0.95
CELLS = 4096
"""Cells in which the sum of all spreads is drawn up. Ours: quantiles are then within 0.05% of its whole width."""


@dataclass(frozen=True)
class Spread:
    """One independent source of lye, or of what takes it up, as grams of KOH.

    It is `middle_g`, off by the sum of independent uniform errors: of what is known of it, with the half-widths
    `known_g`, and of the scale, with `weighed_g`. `words` say what its widest one comes from; `unknown` names a fat of
    which no value is known.
    """

    middle_g: float
    known_g: tuple[float, ...]
    weighed_g: tuple[float, ...] = ()
    words: str = ""
    unknown: str = ""

    @property
    def halves_g(self) -> tuple[float, ...]:
        """The half-width of each error."""
        return (*self.known_g, *self.weighed_g)

    @property
    def half_g(self) -> float:
        """All of its errors at once."""
        return sum(self.halves_g)


def fat_spreads(recipe: Recipe) -> tuple[Spread, ...]:
    """What each fat takes up; lots of one fat without a certificate share their value.

    Parameters
    ----------
    recipe : Recipe

    Returns
    -------
    tuple of Spread
    """
    found: list[Spread] = []
    published: dict[str, list[Oil]] = defaultdict(list)
    for oil in recipe.oils:
        if oil.certificate_sv is None:
            published[oil.key].append(oil)
        else:
            found.append(_fat(oil.key, [oil.grams], sv_range(oil), recipe.scale_g))
    for key, oils in published.items():
        known = key in OILS
        one = _fat(key, [oil.grams for oil in oils], sv_range(oils[0]) if known else ANY_FAT_SV, recipe.scale_g)
        found.append(one if known else replace(one, words=f"nothing is known of “{key}”", unknown=key))
    for liquid in recipe.liquids:
        if liquid.grams * liquid.fat_fraction > 0:
            fat_g = liquid.grams * liquid.fat_fraction
            found.append(_fat(msg("the fat in {name}", name=liquid.name), [fat_g], LIQUID_FAT_SV, recipe.scale_g))
    return tuple(found)


def _fat(name: str, grams: Sequence[float], sv: tuple[float, float], scale_g: float) -> Spread:
    low, high = sv
    each = sum(grams) / 1000
    words = msg(
        "the saponification value of {name} is known only as {low} to {high}",
        name=name,
        low=digits(low),
        high=digits(high),
    )
    weighed = [half for _ in grams for half in _weighed(scale_g, (low + high) / 2000)]
    return _spread(each * (low + high) / 2, [(each * (high - low) / 2, words)], weighed, scale_g)


def lye_spreads(recipe: Recipe) -> tuple[Spread, ...]:
    """What each alkali brings.

    Parameters
    ----------
    recipe : Recipe

    Returns
    -------
    tuple of Spread
    """
    return tuple(_lye(alkali, recipe.scale_g) for alkali in recipe.alkalis)


def _lye(alkali: Alkali, scale_g: float) -> Spread:
    koh = 1 / NAOH_PER_KOH if alkali.kind == "NaOH" else 1.0
    low, high = alkali.purity_low_pct, alkali.purity_high_pct
    pure = koh * (low + high) / 200
    words = msg("the purity of the {kind} is known only as {low:g} to {high:g}%", kind=alkali.kind, low=low, high=high)
    known = [(koh * alkali.solid_g * (high - low) / 200, words)]
    if alkali.solution_pct is not None:
        strength, half = alkali.solution_pct, alkali.solution_half_width_pct
        words = msg(
            "the strength of the {kind} solution is known only as {strength:g} ± {half:g}%",
            kind=alkali.kind,
            strength=strength,
            half=half,
        )
        known.append((pure * alkali.grams * half / 100, words))
        pure *= strength / 100
    return _spread(pure * alkali.grams, known, list(_weighed(scale_g, pure)), scale_g)


def acid_spreads(recipe: Recipe) -> tuple[Spread, ...]:
    """What each acid takes up.

    Parameters
    ----------
    recipe : Recipe

    Returns
    -------
    tuple of Spread
    """
    found = []
    for acid in recipe.acids:
        per_g = mol_of_lye_per_g(acid) * KOH_G_MOL / 100
        strength, half = acid.strength_pct, acid.strength_half_width_pct
        words = msg(
            "the strength of {key} is known only as {strength:g} ± {half:g}%",
            key=acid.key,
            strength=strength,
            half=half,
        )
        weighed = list(_weighed(recipe.scale_g, per_g * strength))
        known = [(acid.grams * per_g * half, words)]
        found.append(_spread(acid.grams * per_g * strength, known, weighed, recipe.scale_g))
    return tuple(found)


def _weighed(scale_g: float, koh_per_g: float) -> Iterator[float]:
    """Zero and load are each rounded to the scale's step: two uniform errors of half a step."""
    half = abs(koh_per_g) * scale_g / 2
    return iter((half, half) if half > 0 else ())


def _spread(middle: float, known: list[tuple[float, str]], weighed: list[float], scale_g: float) -> Spread:
    candidates = [*known, (sum(weighed), msg("the scale reads in steps of {scale_g:g} g", scale_g=scale_g))]
    words = max(candidates, key=lambda pair: pair[0])[1]
    return Spread(middle, tuple(half for half, _ in known if half > 0), tuple(weighed), words)


def worst_of(
    fats: Sequence[Spread], lyes: Sequence[Spread], acids: Sequence[Spread], *, scale: bool = True
) -> tuple[float, float]:
    """Superfat in % with every spread at its worst at once, that of the scale too unless `scale` is false.

    Parameters
    ----------
    fats : sequence of Spread
    lyes : sequence of Spread
    acids : sequence of Spread
    scale : bool
        Whether the scale's step counts.

    Returns
    -------
    tuple of (float, float)
        Least and most superfat, in %.
    """

    def ends(spreads: Sequence[Spread]) -> tuple[float, float]:
        middle = sum(one.middle_g for one in spreads)
        half = sum(one.half_g if scale else sum(one.known_g) for one in spreads)
        return middle - half, middle + half

    fat, lye, acid = ends(fats), ends(lyes), ends(acids)
    least, most = lye[1] - acid[0], lye[0] - acid[1]
    low = 1 - least / (fat[0] if least > 0 else fat[1]) if fat[0] > 0 or least <= 0 else -math.inf
    high = 1 - most / (fat[1] if most > 0 else max(fat[0], 1e-9))
    return max(100 * low, -LOWEST_PCT), 100 * high


LOWEST_PCT = 10_000.0
"""Superfat is not told below minus this, in %: where a recipe may hold no fat at all it would be without end. Ours."""


def interval_of(
    fats: Sequence[Spread], lyes: Sequence[Spread], acids: Sequence[Spread], nominal: float, worst: tuple[float, float]
) -> tuple[float, tuple[float, float]]:
    """Standard deviation and 95% interval of the superfat, in %, to first order in every spread.

    Parameters
    ----------
    fats : sequence of Spread
    lyes : sequence of Spread
    acids : sequence of Spread
    nominal : float
        Superfat in % at the middle of each spread.
    worst : tuple of (float, float)
        Bounds that the interval never leaves, in %.

    Returns
    -------
    sd : float
        In %.
    interval : tuple of (float, float)
        In %.
    """
    fat = sum(spread.middle_g for spread in fats)
    left = 1 - nominal / 100
    halves = [100 * left * half / fat for spread in fats for half in spread.halves_g]
    halves += [100 * half / fat for spread in (*lyes, *acids) for half in spread.halves_g]
    sd = math.sqrt(sum(half**2 for half in halves) / 3)
    if sd == 0:
        return 0.0, (nominal, nominal)
    reach = _quantile([abs(half) for half in halves])
    return sd, (max(worst[0], nominal - reach), min(worst[1], nominal + reach))


def _upto(x: Array, edges: Array, area: Array) -> Array:
    """The area under a cumulative distribution up to x; beyond the last edge it is 1."""
    beyond = np.maximum(x - edges[-1], 0.0)
    return np.asarray(np.interp(x, edges, area) + beyond, np.float64)


def _quantile(halves: list[float]) -> float:
    """How far the middle 95% of a sum of independent uniform errors reaches from its middle.

    The distribution of the sum is drawn up by convolution; it is even about zero.
    """
    total = sum(halves)
    edges = np.linspace(-total, total, CELLS + 1)
    step = edges[1] - edges[0]
    # The widest alone as a cumulative distribution; each further one averages it over its own width.
    first, *rest = sorted(halves, reverse=True)
    below = np.clip((edges + first) / (2 * first), 0.0, 1.0)
    for half in rest:
        area = np.concatenate([[0.0], np.cumsum((below[1:] + below[:-1]) / 2) * step])

        if half > step / 100:
            below = (_upto(edges + half, edges, area) - _upto(edges - half, edges, area)) / (2 * half)
    return float(np.interp((1 + COVERAGE) / 2, below, edges))
