"""What can be wrong with the picture of a card: each fault's words, its remedy and the best grade it leaves.

Burnt out, dark, small, blurred, covered, unevenly lit; colours that do not fit together. The card itself and how it
lies are `card_quality`'s. All limits are ours, chosen on rendered scenes with known truth and on photographs of charts
in the tests; tests/benchmarks shows what they let through.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from curejournal.base.messages import join, msg, msg_n
from curejournal.colour.correction import Correction
from curejournal.colour.sample import Reason, doubt, refusal
from curejournal.photo.calibrate.samples import TINT_DOUBTED, LightAcross, PatchSamples
from curejournal.photo.card import Card
from curejournal.photo.placement import Placement, Points


def about_correction(
    card: Card, placement: Placement, correction: Correction, slope: tuple[float, float] | None
) -> list[Reason]:
    """How well the card's own colours fit together.

    Parameters
    ----------
    card : Card
    placement : Placement
    correction : Correction
    slope : tuple of (float, float), optional
        The ratio of brightness and the difference in a*, b* from edge to edge, where the colours had to tell.

    Returns
    -------
    list of Reason
    """
    reasons = [] if slope is None else _about_light(*slope, 0.0, placement.corners)
    if not card.white_only:
        errors = np.array(correction.leave_one_out)
        reasons += _about_fit(card, float(np.nanmean(errors)), int(np.isfinite(errors).sum()))
    return reasons + _about_suspects(card, placement, correction.suspects)


def _about_fit(card: Card, error: float, used: int) -> list[Reason]:
    """How well the card's own colours come out when each is predicted from the others (mean CIEDE2000).

    A card that was measured itself fits within 1 in good photos; a published chart has its ageing besides.
    """
    remedy = msg("Check that this is the right card, evenly lit, without filters or portrait mode.")
    if error > MISFIT_REFUSED:
        text = msg("The card's own colours do not fit together (off by {error:.0f}).", error=error)
        return [refusal("wrong card", text, remedy)]
    own = card.kind in ("measured", "enrolled") and bool(card.markers)
    if own and error > OWN_MISFIT_DOUBTED:
        text = msg(
            "The card does not look as it did when it was measured (off by {error:.1f} on average).", error=error
        )
        remedy = msg("Is this copy {name}? Enrol it again if it faded.", name=card.copy_id or card.name)
        return [doubt("card changed", text, remedy)]
    if error > MISFIT_DOUBTED:
        text = msg("The card's own colours fit poorly (off by {error:.1f} on average).", error=error)
        remedy = msg("Use even daylight, no filters, and a clean card.")
        if card.kind == "published":
            remedy += msg(" A chart that was printed at home is not the published one: enrol it as a card of its own.")
        return [doubt("poor fit", text, remedy)]
    if used < FEW_PATCHES:
        text = msg("Only {used} of the card could be used.", used=msg_n("{number} patch", "{number} patches", used))
        return [doubt("few patches", text, msg("Show all of it, evenly lit."))]
    return []


def about_mode(mode: str) -> list[Reason]:
    """Colours that were made for a press are not those of the camera, with its profile or without.

    Parameters
    ----------
    mode : str
        Of the picture, as Pillow names it: "RGB", "CMYK", …

    Returns
    -------
    list of Reason
    """
    if mode != "CMYK":
        return []
    text = msg("The picture was converted for print (CMYK): vivid colours are lost, and others moved.")
    return [doubt("made for print", text, msg("Take in the photo as the camera wrote it."))]


def about_patches(card: Card, placement: Placement, samples: PatchSamples) -> list[Reason]:
    """Burnt out, dark, small, blurred.

    Parameters
    ----------
    card : Card
    placement : Placement
    samples : PatchSamples
        Of the card's references.

    Returns
    -------
    list of Reason
    """
    reasons = []
    white = [i for i, patch in enumerate(card.references) if patch.role == "white"]
    burnt_white = [i for i in white if samples.burnt[i]]
    if white and len(burnt_white) > len(white) / 2:
        remedy = msg("Lower the exposure, or move away from the lamp, and take the photo again.")
        outlines = [placement.outline(card.references[i]) for i in burnt_white]
        reasons.append(refusal("burnt out", msg("The white of the card is burnt out."), remedy, *outlines))
    elif samples.burnt.any():
        names, places = _named(card, placement, np.flatnonzero(samples.burnt).tolist())
        text, remedy = msg("Burnt out and left out: {names}.", names=names), msg("Lower the exposure a little.")
        reasons.append(Reason("patches burnt out", text, remedy, outlines=places))
    brightest = np.nanmax(samples.encoded.mean(axis=1), initial=0)
    more_light = msg("Find more light; a window by day is best.")
    if brightest < DARK_REFUSED:
        reasons.append(refusal("too dark", msg("The photo is far too dark."), more_light))
    elif brightest < DARK_DOUBTED:
        reasons.append(doubt("dark", msg("The photo is dark."), more_light))
    return reasons + _about_detail(placement, samples)


def _about_detail(placement: Placement, samples: PatchSamples) -> list[Reason]:
    """Small or blurred."""
    reasons, closer = [], msg("Go closer: the card should fill a third of the picture.")
    if samples.smallest_px < SMALL_REFUSED_PX:
        text = msg("The card is too small in the picture.")
        reasons.append(refusal("too small", text, closer, placement.corners))
    elif samples.smallest_px < SMALL_DOUBTED_PX:
        reasons.append(doubt("small", msg("The card is small in the picture."), closer, placement.corners))
    if samples.smear > SMEAR_REFUSED:
        remedy = msg("Hold still, tap on the card to focus, wipe the lens.")
        reasons.append(refusal("blurred", msg("The photo is blurred."), remedy, placement.corners))
    elif samples.smear > SMEAR_DOUBTED:
        remedy = msg("Hold still and tap on the card to focus.")
        reasons.append(doubt("soft", msg("The photo is a little blurred."), remedy, placement.corners))
    return reasons


def _named(card: Card, placement: Placement, patches: Sequence[int]) -> tuple[str, tuple[Points, ...]]:
    """The names of some patches, at most five, and where they are."""
    named = [card.references[i] for i in patches[:5]]
    return join(", ", (patch.id for patch in named)), tuple(map(placement.outline, named))


def _about_suspects(card: Card, placement: Placement, suspects: tuple[int, ...]) -> list[Reason]:
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


# Mean of the brightest patch's channels, encoded: below, the noise of a phone shows in all colours.
DARK_DOUBTED, DARK_REFUSED = 0.3, 0.12
# The shorter side of the smallest patch, in full-size px.
SMALL_DOUBTED_PX, SMALL_REFUSED_PX = 8.0, 4.0
# Width of an edge as a share of a patch's side: beyond a half of it the middle of a patch is mixed with its neighbours.
SMEAR_DOUBTED, SMEAR_REFUSED = 0.25, 0.40
# Ratio of brightness across the card, and relative scatter of its whites about a smooth surface.
SPREAD_DOUBTED, SPREAD_REFUSED = 1.6, 2.5
RESIDUAL_DOUBTED, RESIDUAL_REFUSED = 0.008, 0.03
# Mean ΔE00 of patches predicted from the others: of a card that was measured itself, and of any.
OWN_MISFIT_DOUBTED, MISFIT_DOUBTED, MISFIT_REFUSED = 1.8, 5.0, 9.0
# Fewer patches fit anything: a model has some ten numbers to find.
FEW_PATCHES = 10
# Difference in a*, b* between the whites of one card beyond which there is no colour; ours.
TINT_REFUSED = 10.0


def about_light_across(light: LightAcross | None, outline: Points) -> list[Reason]:
    """Uneven or mixed light, or whites that something lies on.

    Parameters
    ----------
    light : LightAcross or None
        None where no whites told it.
    outline : sequence of (x, y)
        Corners in pixels of the upright full-size picture.

    Returns
    -------
    list of Reason
    """
    if light is None:
        return []
    faults = _about_light(light.shading.spread, light.tint_spread, light.shading.residual, outline)
    if light.covered:
        fault = refusal if light.covered_by > TINT_REFUSED else doubt
        text = msg(
            "Part of the white round the window is covered or stained: a finger, soap, a shadow of another colour."
        )
        remedy = msg("Keep fingers off the card, wipe it, and take the photo again.")
        faults.append(fault("white covered", text, remedy, *light.covered))
    return faults


def _about_light(spread: float, tint_spread: float, residual: float, outline: Points) -> list[Reason]:
    """Uneven or mixed light across the card, from its whites.

    `spread` is the ratio of brightness, `tint_spread` the difference in a*, b*, `residual` the relative scatter about a
    smooth surface: at most 0.003 on clean flat cards, 0.01 and more with a thumb, glare, stain or crumple.
    """
    remedy = msg("Use one light only: daylight, or the lamp.")
    if tint_spread > TINT_REFUSED:
        return [refusal("mixed light", msg("Two lights of different colour fall on the card."), remedy, outline)]
    if spread > SPREAD_REFUSED:
        text = msg("One side of the card is far brighter than the other.")
        return [refusal("uneven light", text, msg("Turn away from the lamp, or out of the shadow."), outline)]
    reasons = []
    if tint_spread > TINT_DOUBTED:
        reasons.append(doubt("mixed light", msg("Two lights of different colour fall on the card."), remedy, outline))
    elif spread > SPREAD_DOUBTED:
        text = msg("One side of the card is much brighter than the other.")
        reasons.append(doubt("uneven light", text, msg("Turn away from the lamp, or out of the shadow."), outline))
    if residual > RESIDUAL_DOUBTED:
        text = msg(
            "The white round the window is not evenly white: a glare, a finger, a stain, or a card that is not flat."
        )
        fault = refusal if residual > RESIDUAL_REFUSED else doubt
        reasons.append(
            fault("white disturbed", text, msg("Clear the card, lay it flat, tilt it out of the glare."), outline)
        )
    return reasons
