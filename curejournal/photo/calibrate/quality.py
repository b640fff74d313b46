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


def about_values(card: Card) -> list[Reason]:
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
    """A brightener in a printed card's paper: by a lamp it is dark, and no patch can tell."""
    if card.glow < GLOW_TOLD:
        return []
    text = msg(
        "The card's paper has an optical brightener: it glows by day alone, and by lamps colours come out too blue."
    )
    return [
        Reason("bright paper", text, msg("Use daylight, or enrol a card printed on paper without it (“OBA-free”)."))
    ]


def other_copy(card: Card, printed: str) -> Reason:
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
    reasons = [*about_values(card), *about_placement(card, placement, width, height)]
    if card.copy_id and printed and printed != card.copy_id:
        reasons.append(other_copy(card, printed))
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
    reasons = [] if slope is None else about_light(*slope, 0.0, placement.corners)
    if not card.white_only:
        errors = np.array(correction.leave_one_out)
        reasons += _about_fit(card, float(np.nanmean(errors)), int(np.isfinite(errors).sum()))
    return reasons + about_suspects(card, placement, correction.suspects)


def _about_fit(card: Card, error: float, used: int) -> list[Reason]:
    """How well the card's own colours come out when each is predicted from the others (mean CIEDE2000).

    A card that was measured itself fits within 1 in good photos; a published chart has its ageing besides.
    """
    remedy = msg("Check that this is the right card, evenly lit, without filters or portrait mode.")
    if error > 9:
        return [
            refusal(
                "wrong card",
                msg("The card's own colours do not fit together (off by {error:.0f}).", error=error),
                remedy,
            )
        ]
    own = card.kind in ("measured", "enrolled") and bool(card.markers)
    if own and error > 1.8:
        text = msg(
            "The card does not look as it did when it was measured (off by {error:.1f} on average).", error=error
        )
        return [
            doubt(
                "card changed",
                text,
                msg("Is this copy {name}? Enrol it again if it faded.", name=card.copy_id or card.name),
            )
        ]
    if error > 5:
        text = msg("The card's own colours fit poorly (off by {error:.1f} on average).", error=error)
        remedy = msg("Use even daylight, no filters, and a clean card.")
        if card.kind == "published":
            remedy += msg(" A chart that was printed at home is not the published one: enrol it as a card of its own.")
        return [doubt("poor fit", text, remedy)]
    if used < 10:
        text = msg("Only {used} of the card could be used.", used=msg_n("{number} patch", "{number} patches", used))
        return [doubt("few patches", text, msg("Show all of it, evenly lit."))]
    return []


def card_faded(card: Card) -> Reason:
    """All inks seem to have lost density together."""
    return doubt(
        "card faded",
        msg(
            "The inks of the card “{name}” look faded: they are all paler than when it was measured.",
            name=card.copy_id or card.name,
        ),
        msg("Print a new card and enrol it; keep cards in the dark."),
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
    reasons += _about_shape(card, placement)
    if 0 < placement.seen < placement.wanted:
        reasons.append(
            Reason(
                "marker hidden",
                msg("{seen} of the card's corner marks cannot be seen.", seen=placement.wanted - placement.seen),
                msg("Keep fingers and soap off the corners; go closer if the card is small in the picture."),
            )
        )
    return reasons


def _about_shape(card: Card, placement: Placement) -> list[Reason]:
    """Tilted or bent."""
    reasons = []
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
    reasons += _about_detail(placement, samples)
    return reasons


def _about_detail(placement: Placement, samples: PatchSamples) -> list[Reason]:
    """Small or blurred."""
    reasons = []
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


# Difference in a*, b* between the whites of one card beyond which there is no colour; ours.
TINT_REFUSED = 10.0


def about_light_across(light: LightAcross | None, outline: Points) -> list[Reason]:
    """Uneven or mixed light, or whites that something lies on."""
    if light is None:
        return []
    faults = about_light(light.shading.spread, light.tint_spread, light.shading.residual, outline)
    if light.covered:
        fault = refusal if light.covered_by > TINT_REFUSED else doubt
        text = msg(
            "Part of the white round the window is covered or stained: a finger, soap, a shadow of another colour."
        )
        remedy = msg("Keep fingers off the card, wipe it, and take the photo again.")
        faults.append(fault("white covered", text, remedy, *light.covered))
    return faults


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
            fault("white disturbed", text, msg("Clear the card, lay it flat, tilt it out of the glare."), outline)
        )
    return reasons
