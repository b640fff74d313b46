"""Which layer of a window is which portion of the batch: by order and by earlier colours, or a question."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations, permutations
from math import perm

import numpy as np
from numpy.typing import NDArray

from curejournal.base.counting import how_many
from curejournal.colour.difference import ciede2000
from curejournal.colour.sample import Lab
from curejournal.photo.window.layers import Layers

Floats = NDArray[np.float64]

# All ours, chosen on drawn windows; a wrong portion is worse than a question.
SURE = 0.95
# How far all portions of a batch move together (another card, browning), in Lab units, as a standard deviation.
TOGETHER_SD = 8.0
# What a portion of unknown colour counts: as an ordinary misfit of one that is known.
UNKNOWN_MISFIT = 3.0
# A larger share of the window in colours that are nowhere clear hides a portion.
UNCLEAR = 0.08
# Layers that differ by less, ΔE00, may be one portion: mottled, gelled in part, or noise in a dark photo.
ONE_PORTION = 6.0
# Bands seen upside down are as likely as upright ones; a window that shows only some of them is less likely.
SOME_ONLY = np.log(0.1)
# More ways than this for swirls to be portions are not weighed: 12 portions in 6 colours have 665 280, seconds of work.
TOO_MANY = 50_000
# A layer further than this many standard deviations from its portion's known colour is unlike the batch.
UNLIKE_SD = 3.5


@dataclass(frozen=True)
class Expected:
    """A portion as last known: its CIELAB colour, if any, and how far it may have moved since, ΔE00 as an sd."""

    name: str
    lab: Lab | None = None
    sd: float = 8.0


@dataclass(frozen=True)
class Match:
    """`names` of the layers in their order; `confidence` that all are right; a question in words if they must be asked.

    With a question the names are a proposal only, empty where there is none.
    """

    names: tuple[str, ...]
    confidence: float
    question: str = ""


def match(found: Layers, portions: Sequence[Expected]) -> Match:
    """Name the layers of a window.

    Parameters
    ----------
    found : Layers
    portions : sequence of Expected
        The batch's, in their order; a batch without any is one portion named "soap".
    """
    portions = portions or [Expected("soap")]
    seen, known = len(found.layers), len(portions)
    if seen > known:
        extra = [number for number, layer in enumerate(found.layers) if layer.film] or _repeated(found)
        if extra and len(extra) < seen:
            return _without(found, extra, portions)
    if seen == 0:
        return Match((), 0.0, "Nothing but foreign bodies, glints or shadows was seen in the window.")
    if found.unclear > UNCLEAR:
        question = "Part of the window shows colours that are nowhere clear. Which of the others is which?"
        return Match(("",) * seen, 0.0, question)
    if seen > known:
        names = tuple(portions[0].name if known == 1 and layer is _largest(found) else "" for layer in found.layers)
        shown = f"The window shows {seen} colours, but the batch has {how_many(known, 'portion')}."
        return Match(names, 0.0, f"{shown} Which is which?")
    if found.kind == "swirls" and perm(known, seen) > TOO_MANY:
        question = f"{seen} colours in swirls may be the batch's {known} portions in too many ways. Which is which?"
        return Match(("",) * seen, 0.0, question)
    choices = _choices(found, known)
    scores = _scores(found, portions, choices)
    shares = np.exp(scores - scores.max())
    shares /= shares.sum()
    best = int(np.argmax(shares))
    chosen = [portions[k] for k in choices[best]]
    names, confidence = tuple(portion.name for portion in chosen), float(shares[best])
    if confidence < SURE:
        many = "Which portion is this?" if seen == 1 else f"Which of these {seen} is which?"
        return Match(names, confidence, f"The window's colours do not tell the portions apart surely. {many}")
    unlike = [
        portion.name
        for layer, portion in zip(found.layers, chosen, strict=True)
        if portion.lab is not None
        and float(ciede2000(np.array(layer.lab), np.array(portion.lab))) > UNLIKE_SD * portion.sd
    ]
    if unlike:
        return Match(names, confidence, f"The colour is unlike what is known of {', '.join(unlike)}. Is it this batch?")
    return Match(names, confidence)


def _repeated(found: Layers) -> list[int]:
    """Of the two layers most alike the smaller, if they may be one portion in two shades."""
    labs = np.array([layer.lab for layer in found.layers])
    pairs = [(a, b) for a, b in combinations(range(len(labs)), 2) if found.kind == "swirls" or b == a + 1]
    off = [float(ciede2000(labs[a], labs[b])) for a, b in pairs]
    if min(off) >= ONE_PORTION:
        return []
    return [min(pairs[int(np.argmin(off))], key=lambda number: found.layers[number].share)]


def _without(found: Layers, extra: Sequence[int], portions: Sequence[Expected]) -> Match:
    """The match of the other layers; the extra ones get no name, so that nothing is measured there."""
    others = tuple(layer for number, layer in enumerate(found.layers) if number not in extra)
    matched = match(replace(found, kind=found.kind if len(others) > 1 else "one", layers=others), portions)
    names = iter(matched.names)
    return replace(matched, names=tuple("" if n in extra else next(names) for n in range(len(found.layers))))


def _largest(found: Layers) -> object:
    return max(found.layers, key=lambda layer: layer.share)


def _choices(found: Layers, known: int) -> list[tuple[int, ...]]:
    """The portions that the layers may be: bands in the batch's order or upside down, swirls in any."""
    seen = len(found.layers)
    if found.kind == "swirls":
        return list(permutations(range(known), seen))
    upright = list(combinations(range(known), seen))
    turned = [choice[::-1] for choice in upright]
    return upright + (turned if seen > 1 else [])


def _scores(found: Layers, portions: Sequence[Expected], choices: Sequence[tuple[int, ...]]) -> Floats:
    """The logarithm of how likely the layers' colours are for each of the choices, up to a constant."""
    unknown = (np.nan,) * 3
    chosen = np.array(choices)
    layers = np.array([layer.lab for layer in found.layers])
    before = np.array([portion.lab or unknown for portion in portions])[chosen]
    known = ~np.isnan(before[..., 0])
    weight = known / np.array([portion.sd for portion in portions])[chosen] ** 2
    moved = np.where(known[..., None], layers - before, 0.0)
    # What all have in common, as far as it is likely that all moved together.
    common = (weight[..., None] * moved).sum(axis=1) / (weight.sum(axis=1) + 1 / TOGETHER_SD**2)[:, None]
    still = layers - common[:, None]
    off = ciede2000(still, np.where(known[..., None], before, still))
    misfit = UNKNOWN_MISFIT * (~known).sum(axis=1) + (common**2).sum(axis=1) / TOGETHER_SD**2
    misfit = misfit + (weight * off**2).sum(axis=1)
    some_only = SOME_ONLY if len(layers) < len(portions) else 0.0
    return np.asarray(some_only - misfit / 2)
