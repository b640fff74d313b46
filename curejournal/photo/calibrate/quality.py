"""What can be wrong with a card and with its picture: each fault's words, its remedy and the best grade it leaves.

Of the card itself: values that are not known, paper that glows, inks that faded, another copy. Of its picture: out of
frame, tilted, bent, burnt out, dark, small, blurred, covered, unevenly lit. All limits are ours, chosen on rendered
scenes with known truth and on photographs of charts in the tests; tests/benchmarks shows what they let through.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from curejournal.base.messages import join, msg, msg_n
from curejournal.colour.correction import FEWEST_PATCHES, Correction
from curejournal.colour.sample import Grade, Reason, doubt, refusal
from curejournal.photo.calibrate.samples import TINT_DOUBTED, LightAcross, PatchSamples
from curejournal.photo.card import Card
from curejournal.photo.placement import Placement, Points

# b*; ours. Of drawn photos under lamps by a card whose paper had b* -2 to -3, 3 of 30 were measured and off by over 4.
GLOW_TOLD = 1.0


def _about_values(card: Card) -> list[Reason]:
    """Where the card's colours come from limits what a reading can be."""
    if card.white_only:
        text = msg("Only exposure and white balance come from plain white: the colour is a rough one.")
        return [doubt("white only", text, msg("Use a card with colours."))]
    if len(card.references) < FEWEST_PATCHES:
        text = msg("This card's own colours are not known.")
        remedy = msg("Enrol the card first: photograph it beside a chart with published colours.")
        return [refusal("card unmeasured", text, remedy)]
    if card.kind == "nominal":
        text = msg("This printed card has not been measured: colours are relative to what the printer was asked for.")
        return [Reason("card unmeasured", text, msg("Enrol the card to get measured colours."), Grade.RELATIVE)]
    if card.kind == "relative":
        text = msg("Colours are relative to this card: good for following one batch, not for comparing with others.")
        return [
            Reason("card relative", text, msg("Enrol the card beside a chart with published colours."), Grade.RELATIVE)
        ]
    if card.kind == "unknown":
        return [
            refusal(
                "card unmeasured", msg("Nobody knows where this card's values come from."), msg("Enrol the card first.")
            )
        ]
    return [*about_paper(card), *_about_made_of(card)]


def _about_made_of(card: Card) -> list[Reason]:
    """Of soap beside patches of an unknown kind less is known."""
    if card.made_of:
        return []
    text = msg("The card's file does not say what its patches are made of, so that soap's colours are less sure.")
    return [Reason("made of unknown", text, msg("Add made_of = “printing inks” or “paint” to it."))]


def about_paper(card: Card) -> list[Reason]:
    """A brightener in a printed card's paper: by a lamp it is dark, and no patch can tell.

    Parameters
    ----------
    card : Card

    Returns
    -------
    list of Reason
        One at most.
    """
    if card.glow < GLOW_TOLD:
        return []
    text = msg(
        "The card's paper has an optical brightener: it glows by day alone, and by lamps colours come out too blue."
    )
    return [
        Reason("bright paper", text, msg("Use daylight, or enrol a card printed on paper without it (“OBA-free”)."))
    ]


def _other_copy(card: Card, printed: str) -> Reason:
    """The card in the picture bears another copy's id."""
    return refusal(
        "other copy",
        msg(
            "The card in this photo is copy {printed}, not {copy_id}: its colours are its own.",
            printed=printed[:40],
            copy_id=card.copy_id,
        ),
        msg("Choose the card {printed}, or enrol it.", printed=printed[:40]),
    )


def about_card(card: Card, placement: Placement, printed: str, width: int, height: int) -> list[Reason]:
    """What limits a reading before any colour is looked at: the card's values, how it lies, whose copy it is.

    Parameters
    ----------
    card : Card
    placement : Placement
    printed : str
        The copy id in the card's slot; empty if none was read.
    width, height : int
        Of the upright full-size picture, in px.

    Returns
    -------
    list of Reason
    """
    reasons = [*_about_values(card), *about_placement(card, placement, width, height)]
    if card.copy_id and printed and printed != card.copy_id:
        reasons.append(_other_copy(card, printed))
    return reasons


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


def card_faded(card: Card) -> Reason:
    """All inks seem to have lost density together.

    Parameters
    ----------
    card : Card

    Returns
    -------
    Reason
    """
    text = msg(
        "The inks of the card “{name}” look faded: they are all paler than when it was measured.",
        name=card.copy_id or card.name,
    )
    return doubt("card faded", text, msg("Print a new card and enrol it; keep cards in the dark."))


def card_yellowed(card: Card) -> Reason:
    """The card's white is yellow by the camera's own white balance.

    Parameters
    ----------
    card : Card

    Returns
    -------
    Reason
    """
    text = msg(
        "Either the light is very yellow or the card “{name}” has yellowed, and no photo tells quite which: "
        "blue and yellow are less sure.",
        name=card.copy_id or card.name,
    )
    return Reason("card yellowed", text, msg("Use daylight. If it is said there too, print a new card and enrol it."))


def about_placement(card: Card, placement: Placement, width: int, height: int) -> list[Reason]:
    """Out of frame, tilted, bent, partly covered.

    Parameters
    ----------
    card : Card
    placement : Placement
    width, height : int
        Of the upright full-size picture, in px.

    Returns
    -------
    list of Reason
    """
    reasons = []
    corners = np.array(placement.corners)
    margin = FRAME_MARGIN * float(np.linalg.norm(corners[1] - corners[0]))
    if (corners < -margin).any() or (corners > np.array([width, height]) - 1 + margin).any():
        text = msg("Part of the card is outside the picture.")
        remedy = msg("Step back until the whole card is in the picture, and take the photo again.")
        reasons.append(refusal("card out of frame", text, remedy, placement.corners))
    if card.white_only:  # any part of a sheet may be pointed at: its shape says nothing
        return reasons
    reasons += _about_shape(card, placement)
    if 0 < placement.seen < placement.wanted:
        text = msg("{seen} of the card's corner marks cannot be seen.", seen=placement.wanted - placement.seen)
        remedy = msg("Keep fingers and soap off the corners; go closer if the card is small in the picture.")
        reasons.append(Reason("marker hidden", text, remedy))
    return reasons


def _about_shape(card: Card, placement: Placement) -> list[Reason]:
    """Tilted or bent."""
    reasons = []
    tilt = placement.tilt_degrees(card)
    slanted = msg("The card is seen at a slant, {tilt:.0f}° off straight above.", tilt=tilt)
    if tilt > TILT_REFUSED_DEG:
        remedy = msg("Hold the phone straight above the card.")
        reasons.append(refusal("too oblique", slanted, remedy, placement.corners))
    elif tilt > TILT_DOUBTED_DEG:
        remedy = msg("Hold the phone straighter above the card.")
        reasons.append(doubt("oblique", slanted, remedy, placement.corners))
    if placement.bend > BEND_REFUSED:
        remedy = msg("Lay the card flat; mount it on stiff board.")
        reasons.append(refusal("card not flat", msg("The card is bent or crumpled."), remedy, placement.corners))
    elif placement.bend > BEND_DOUBTED:
        remedy = msg("Mount the card on stiff board.")
        reasons.append(doubt("card bent", msg("The card does not lie quite flat."), remedy, placement.corners))
    return reasons


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


# How far a corner may lie outside the picture, as a share of the card's width: markers are found to less.
FRAME_MARGIN = 0.01
# Degrees off straight above: a patch is foreshortened to three quarters, and to a half.
TILT_DOUBTED_DEG, TILT_REFUSED_DEG = 40.0, 60.0
# Root mean square distance of the points of a card from its plane, as a share of its width.
BEND_DOUBTED, BEND_REFUSED = 0.008, 0.02
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
