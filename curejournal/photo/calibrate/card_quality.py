"""What can be wrong with a card itself and how it lies: each fault's words, its remedy and the best grade it leaves.

Of the card: values that are not known, paper that glows, inks that faded, another copy. Of its place: out of frame,
tilted, bent. All limits are ours, chosen on rendered scenes with known truth and on photographs of charts in the tests;
tests/benchmarks shows what they let through.
"""

from __future__ import annotations

import numpy as np

from curejournal.base.messages import msg
from curejournal.colour.correction import FEWEST_PATCHES
from curejournal.colour.sample import Grade, Reason, doubt, refusal
from curejournal.photo.card import Card
from curejournal.photo.placement import Placement

# b*; ours. Of drawn photos under lamps by a card whose paper had b* -2 to -3, 3 of 30 were measured and off by over 4.
GLOW_TOLD = 1.0
# How far a corner may lie outside the picture, as a share of the card's width: markers are found to less.
FRAME_MARGIN = 0.01
# Degrees off straight above: a patch is foreshortened to three quarters, and to a half.
TILT_DOUBTED_DEG, TILT_REFUSED_DEG = 40.0, 60.0
# Root mean square distance of the points of a card from its plane, as a share of its width.
BEND_DOUBTED, BEND_REFUSED = 0.008, 0.02


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
