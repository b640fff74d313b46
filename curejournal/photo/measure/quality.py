"""What can be wrong with an area of a photo: each fault's words, its remedy and the best grade it leaves.

All limits are ours, chosen on rendered scenes with known truth and on photographs of charts in the tests;
tests/benchmarks shows what they let through.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from curejournal.base.messages import msg
from curejournal.colour.difference import ciede2000
from curejournal.colour.sample import Reason, doubt, refusal
from curejournal.colour.surface_limits import held_to_surfaces
from curejournal.photo.card import Card
from curejournal.photo.measure.areas import AreaSample
from curejournal.photo.placement import Placement, Points

Floats = NDArray[np.float64]

# Share of an area that is burnt out, beyond which its colour is doubted, and refused.
GLARE_DOUBTED, AREA_BURNT_LIMIT = 0.03, 0.3
# Root mean square ΔE00 that a colour may be off by: 2.5 is within 4 in 95 of 100; 12 tells no more than a name.
OFF_DOUBTED, OFF_REFUSED = 2.5, 12.0
# Ours, in Lab: parts of one portion lie within 1.5 in good scenes; a sheen on soap beside a matt card has 8 or more.
UNEVEN_LIMIT = 5.0
# Ours: with fewer pixels of the main colour there are several, where parts differ (Lab); in a relief that is all over
# the face, as of a stamp, its slopes are left out and the parts are alike: some 0.70 are left.
KEPT_LEAST, KEPT_LEAST_ALIKE, PARTS_ALIKE = 0.75, 0.55, 2.5
# Ours, as a logarithm: on path-traced scenes soap under its card has 0.07 (median), 5 in 100 have more than 0.37; 10 to
# 40 mm below it, 0.55, and 5 in 100 less than 0.15.
SHADOW_DOUBTED, SHADOW_REFUSED = 0.25, 0.4


def about_area(sample: AreaSample | None, outline: Points, width: int, height: int) -> list[Reason]:
    """Outside, tiny, glaring, or of several colours.

    Parameters
    ----------
    sample : AreaSample or None
        None where there was nothing to sample.
    outline : sequence of (x, y)
        Corners in pixels of the upright full-size picture.
    width : int
        Of the upright full-size picture, in px.
    height : int
        Of the upright full-size picture, in px.

    Returns
    -------
    list of Reason
    """
    if sample is None:
        return [
            refusal(
                "area missing",
                msg("The area lies outside the picture or is too small."),
                msg("Mark it again."),
                outline,
            )
        ]
    reasons = []
    x, y = np.array(outline).T
    if x.min() < -1 or y.min() < -1 or x.max() > width or y.max() > height:
        reasons.append(
            doubt(
                "area out of frame",
                msg("Part of the area is outside the picture."),
                msg("Mark it again inside the picture."),
                outline,
            )
        )
    if sample.burnt > AREA_BURNT_LIMIT:
        reasons.append(
            refusal(
                "glare",
                msg("What was marked is burnt out or under a glare."),
                msg("Lower the exposure, or tilt it out of the glare."),
                outline,
            )
        )
    elif sample.burnt > GLARE_DOUBTED:
        reasons.append(
            doubt("glare", msg("There is a glare on what was marked."), msg("Tilt it out of the glare."), outline)
        )
    if sample.fall > SHADOW_DOUBTED:
        fault = refusal if sample.fall > SHADOW_REFUSED else doubt
        text = msg("The light falls off across what was marked: it lies deep below the card, or half in a shadow.")
        reasons.append(fault("in shadow", text, msg("Lay the card on the soap itself, out of shadows."), outline))
    if sample.count < 100:
        reasons.append(
            doubt(
                "area small",
                msg("The area has only {count} pixels.", count=sample.count),
                msg("Go closer, or mark a larger area."),
                outline,
            )
        )
    least = KEPT_LEAST if sample.uneven > PARTS_ALIKE else KEPT_LEAST_ALIKE
    if sample.kept < least or sample.uneven > UNEVEN_LIMIT:
        reasons.append(
            doubt(
                "several colours",
                msg("The area holds more than one colour, or a sheen over part of it."),
                msg("Mark each portion by itself; tilt the soap out of the glare."),
                outline,
            )
        )
    return reasons


def about_place(card: Card, placement: Placement, outline: Points) -> list[Reason]:
    """On the card's own patches: a look at the card, but no soap. On plain white soap may well lie.

    Parameters
    ----------
    card : Card
    placement : Placement
    outline : sequence of (x, y)
        Corners in pixels of the upright full-size picture.

    Returns
    -------
    list of Reason
        One at most.
    """
    x, y = placement.to_mm(np.array(outline)).mean(axis=0)
    on = [p.id for p in card.patches if p.x <= x <= p.x + p.w and p.y <= y <= p.y + p.h]
    if not on or card.white_only:
        return []
    return [
        Reason(
            "on the card",
            msg("What was marked is the card itself, “{on}”.", on=on[0]),
            msg("Mark the soap."),
            outlines=(outline,),
        )
    ]


def about_colour(lab: Floats, covariance: Floats, inside: bool, outline: Points) -> list[Reason]:
    """Beyond the card's colours, or too uncertain to be called measured: that is 95% sure to be within 4 ΔE00.

    For an error of root mean square r spread over three coordinates, 4 is the 95th percentile at r = 2.5 (chi-square).

    Parameters
    ----------
    lab : ndarray of shape (3,)
        CIELAB D50/2.
    covariance : ndarray of shape (3, 3)
        In Lab units squared.
    inside : bool
        Whether it lies within the colours of the card.
    outline : sequence of (x, y)
        Corners in pixels of the upright full-size picture.

    Returns
    -------
    list of Reason
    """
    reasons = []
    beyond = lab - held_to_surfaces(lab)
    if np.any(np.abs(beyond) > 2.0 * np.sqrt(np.diag(covariance))):
        text = msg(
            "No surface has the colour that this photo gives (L* {lightness:.0f}, a* {a:.0f}, b* {b:.0f}).",
            lightness=lab[0],
            a=lab[1],
            b=lab[2],
        )
        reasons.append(
            refusal("impossible colour", text, msg("Use even daylight, no filters, and a clean card."), outline)
        )
    elif np.abs(beyond).max() > 0.5:
        text = msg("The photo gives a colour just beyond what any surface has: the nearest possible one is taken.")
        reasons.append(doubt("at the limit", text, msg("Use even daylight and a clean card."), outline))
    if not inside:
        text = msg("The colour lies beyond the colours of the card.")
        reasons.append(Reason("beyond the card", text, msg("Take the interval seriously."), outlines=(outline,)))
    likely_off = _rms_difference(lab, covariance)
    if not likely_off < OFF_REFUSED:
        text = msg("The colour cannot be told from this photo.")
        reasons.append(refusal("too uncertain", text, msg("Use even daylight and a clean card."), outline))
    elif likely_off > OFF_DOUBTED:
        lightness, chroma = (_rms_difference(lab, covariance * mask) for mask in _PARTS)
        text = msg(
            "The colour is only roughly known: likely off by {likely_off:.0f} (ΔE00), "
            "in lightness by {lightness:.1f}, in hue and chroma by {chroma:.1f}.",
            likely_off=likely_off,
            lightness=lightness,
            chroma=chroma,
        )
        reasons.append(doubt("uncertain", text, msg("Use even daylight and a clean card."), outline))
    return reasons


_PARTS = (np.diag([1.0, 0.0, 0.0]), np.array([[0.0, 0.0, 0.0], [0.0, 1.0, 1.0], [0.0, 1.0, 1.0]]))
"""What of a covariance is of lightness, and what of hue and chroma."""


def _rms_difference(lab: Floats, covariance: Floats) -> float:
    """The root mean square ΔE00 between a colour and where it may lie, along the covariance's own axes."""
    values, vectors = np.linalg.eigh(covariance)
    around = lab + np.sqrt(np.maximum(values, 0.0))[:, None] * vectors.T
    return float(np.sqrt(np.square(ciede2000(lab, around)).sum()))
