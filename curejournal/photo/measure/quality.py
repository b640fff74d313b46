"""What can be wrong with a photo: each fault's words, remedy and the best grade it leaves.

A reason is found by a small function on figures; its limits stand here together.
All limits are ours, chosen on rendered scenes with known truth and on the
photographs of charts in the tests; tests/benchmarks shows what they let through.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from curejournal.base.messages import join, msg
from curejournal.colour.difference import ciede2000
from curejournal.colour.sample import Reason
from curejournal.colour.surface_limits import held_to_surfaces
from curejournal.photo.card import Card
from curejournal.photo.find.placement import Placement, Points
from curejournal.photo.find.refusals import doubt, refusal
from curejournal.photo.measure.sampling import AreaSample, PatchSamples

Floats = NDArray[np.float64]

AREA_BURNT_LIMIT = 0.3
# Ours, in Lab: parts of one portion lie within 1.5 in good scenes; a sheen on soap beside a matt card has 8 or more.
UNEVEN_LIMIT = 5.0
# Ours: with fewer pixels of the main colour there are several, where parts differ (Lab); in a relief that is all over
# the face, as of a stamp, its slopes are left out and the parts are alike: some 0.70 are left.
KEPT_LEAST, KEPT_LEAST_ALIKE, PARTS_ALIKE = 0.75, 0.55, 2.5
# Ours, as a logarithm: on path-traced scenes soap under its card has 0.07 (median), 5 in 100 have more than 0.37; 10 to
# 40 mm below it, 0.55, and 5 in 100 less than 0.15.
SHADOW_DOUBTED, SHADOW_REFUSED = 0.25, 0.4
# Ours: the steepest step in shares of the picture's range per pixel (sampling.sharpness). Sharp photos have 0.3; the
# window card is found down to some 0.15; shaken or out of focus so that it is not, drawn photos have 0.12 at most.
BLUNT = 0.125
# Differences in a*, b* between the whites of one card; ours.
TINT_DOUBTED, TINT_REFUSED = 5.0, 10.0


def blurred(card: Card) -> Reason:
    """No card, in a picture without a sharp edge."""
    return refusal(
        "blurred",
        msg("The card “{name}” cannot be read: the photo is blurred, by motion or out of focus.", name=card.name),
        msg("Go closer, hold still, tap on the card to focus, wipe the lens, and take the photo again."),
    )


def about_placement(card: Card, placement: Placement, width: int, height: int) -> list[Reason]:
    """Out of frame, tilted, bent, partly covered."""
    reasons = []
    corners = np.array(placement.corners)
    margin = 0.01 * float(np.linalg.norm(corners[1] - corners[0]))
    if (corners < -margin).any() or (corners > np.array([width, height]) - 1 + margin).any():
        reasons.append(
            refusal(
                "card out of frame",
                msg("Part of the card is outside the picture."),
                msg("Step back until the whole card is in the picture, and take the photo again."),
                placement.corners,
            )
        )
    if card.white_only:  # any part of a sheet may be pointed at: its shape says nothing
        return reasons
    tilt = placement.tilt_degrees(card)
    if tilt > 60:
        reasons.append(
            refusal(
                "too oblique",
                msg("The card is seen at a slant, {tilt:.0f}° off straight above.", tilt=tilt),
                msg("Hold the phone straight above the card."),
                placement.corners,
            )
        )
    elif tilt > 40:
        reasons.append(
            doubt(
                "oblique",
                msg("The card is seen at a slant, {tilt:.0f}° off straight above.", tilt=tilt),
                msg("Hold the phone straighter above the card."),
                placement.corners,
            )
        )
    if placement.bend > 0.02:
        reasons.append(
            refusal(
                "card not flat",
                msg("The card is bent or crumpled."),
                msg("Lay the card flat; mount it on stiff board."),
                placement.corners,
            )
        )
    elif placement.bend > 0.008:
        reasons.append(
            doubt(
                "card bent",
                msg("The card does not lie quite flat."),
                msg("Mount the card on stiff board."),
                placement.corners,
            )
        )
    if 0 < placement.seen < placement.wanted:
        reasons.append(
            Reason(
                "marker hidden",
                msg("{seen} of the card's corner marks cannot be seen.", seen=placement.wanted - placement.seen),
                msg("Keep fingers and soap off the corners; go closer if the card is small in the picture."),
            )
        )
    return reasons


def about_patches(card: Card, placement: Placement, samples: PatchSamples) -> list[Reason]:
    """Burnt out, dark, small, blurred."""
    reasons = []
    white = [i for i, patch in enumerate(card.references) if patch.role == "white"]
    burnt_white = [i for i in white if samples.burnt[i]]
    if white and len(burnt_white) > len(white) / 2:
        reasons.append(
            refusal(
                "burnt out",
                msg("The white of the card is burnt out."),
                msg("Lower the exposure, or move away from the lamp, and take the photo again."),
                *(placement.outline(card.references[i]) for i in burnt_white),
            )
        )
    elif samples.burnt.any():
        names, outlines = _named(card, placement, np.flatnonzero(samples.burnt).tolist())
        text, remedy = msg("Burnt out and left out: {names}.", names=names), msg("Lower the exposure a little.")
        reasons.append(Reason("patches burnt out", text, remedy, outlines=outlines))
    brightest = np.nanmax(samples.encoded.mean(axis=1), initial=0)
    if brightest < 0.12:
        reasons.append(
            refusal("too dark", msg("The photo is far too dark."), msg("Find more light; a window by day is best."))
        )
    elif brightest < 0.3:
        reasons.append(doubt("dark", msg("The photo is dark."), msg("Find more light; a window by day is best.")))
    if samples.smallest_px < 4:
        reasons.append(
            refusal(
                "too small",
                msg("The card is too small in the picture."),
                msg("Go closer: the card should fill a third of the picture."),
                placement.corners,
            )
        )
    elif samples.smallest_px < 8:
        reasons.append(
            doubt(
                "small",
                msg("The card is small in the picture."),
                msg("Go closer: the card should fill a third of the picture."),
                placement.corners,
            )
        )
    if samples.smear > 0.40:
        reasons.append(
            refusal(
                "blurred",
                msg("The photo is blurred."),
                msg("Hold still, tap on the card to focus, wipe the lens."),
                placement.corners,
            )
        )
    elif samples.smear > 0.25:
        reasons.append(
            doubt(
                "soft",
                msg("The photo is a little blurred."),
                msg("Hold still and tap on the card to focus."),
                placement.corners,
            )
        )
    return reasons


def _named(card: Card, placement: Placement, patches: Sequence[int]) -> tuple[str, tuple[Points, ...]]:
    """The names of some patches, at most five, and where they are."""
    named = [card.references[i] for i in patches[:5]]
    return join(", ", (patch.id for patch in named)), tuple(map(placement.outline, named))


def about_suspects(card: Card, placement: Placement, suspects: tuple[int, ...]) -> list[Reason]:
    """Patches that disagree with all others: a glare, a thumb, a stain."""
    if not suspects:
        return []
    names, outlines = _named(card, placement, suspects)
    if len(suspects) > len(card.references) / 4:
        text = msg("Many of the card's patches disagree with the rest: {names}.", names=names)
        return [
            doubt(
                "patches disagree",
                text,
                msg("Take fingers, soap and glare off the card; check that it is the right card."),
                *outlines,
            )
        ]
    return [
        Reason(
            "patches left out",
            msg("Left out, since they disagree with the rest: {names}.", names=names),
            msg("Wipe the card; keep glare and fingers off it."),
            outlines=outlines,
        )
    ]


def white_covered(off: float, outlines: Sequence[Points]) -> Reason:
    """Something of another colour on a few of the whites round the window; `off` is how far, in a* and b*."""
    fault = refusal if off > TINT_REFUSED else doubt
    text = msg("Part of the white round the window is covered or stained: a finger, soap, a shadow of another colour.")
    return fault("white covered", text, msg("Keep fingers off the card, wipe it, and take the photo again."), *outlines)


def about_light(spread: float, tint_spread: float, residual: float, outline: Points) -> list[Reason]:
    """Uneven or mixed light across the card, from its whites.

    `spread` is the ratio of brightness, `tint_spread` the difference in a*, b*, `residual` the relative scatter about a
    smooth surface: at most 0.003 on clean flat cards, 0.01 and more with a thumb, glare, stain or crumple.
    """
    remedy = msg("Use one light only: daylight, or the lamp.")
    if tint_spread > TINT_REFUSED:
        return [refusal("mixed light", msg("Two lights of different colour fall on the card."), remedy, outline)]
    if spread > 2.5:
        text = msg("One side of the card is far brighter than the other.")
        return [refusal("uneven light", text, msg("Turn away from the lamp, or out of the shadow."), outline)]
    reasons = []
    if tint_spread > TINT_DOUBTED:
        reasons.append(doubt("mixed light", msg("Two lights of different colour fall on the card."), remedy, outline))
    elif spread > 1.6:
        text = msg("One side of the card is much brighter than the other.")
        reasons.append(doubt("uneven light", text, msg("Turn away from the lamp, or out of the shadow."), outline))
    if residual > 0.008:
        text = msg(
            "The white round the window is not evenly white: a glare, a finger, a stain, or a card that is not flat."
        )
        fault = refusal if residual > 0.03 else doubt
        reasons.append(
            fault(msg("white disturbed"), text, msg("Clear the card, lay it flat, tilt it out of the glare."), outline)
        )
    return reasons


def about_area(sample: AreaSample | None, outline: Points, width: int, height: int) -> list[Reason]:
    """Outside, tiny, glaring, or of several colours."""
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
    elif sample.burnt > 0.03:
        reasons.append(
            doubt("glare", msg("There is a glare on what was marked."), msg("Tilt it out of the glare."), outline)
        )
    if sample.fall > SHADOW_DOUBTED:
        fault = refusal if sample.fall > SHADOW_REFUSED else doubt
        text = msg("The light falls off across what was marked: it lies deep below the card, or half in a shadow.")
        reasons.append(fault(msg("in shadow"), text, msg("Lay the card on the soap itself, out of shadows."), outline))
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
    """On the card's own patches: a look at the card, but no soap. On plain white soap may well lie."""
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
    if not likely_off < 12:
        text = msg("The colour cannot be told from this photo.")
        reasons.append(refusal("too uncertain", text, msg("Use even daylight and a clean card."), outline))
    elif likely_off > 2.5:
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
