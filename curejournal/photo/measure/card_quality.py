"""What can be wrong with a card itself: values that are not known, paper that glows, inks that faded, another copy."""

from __future__ import annotations

from curejournal.base.messages import msg, msg_n
from curejournal.colour.correction import FEWEST_PATCHES
from curejournal.colour.sample import Grade, Reason
from curejournal.photo.card import Card
from curejournal.photo.find.refusals import doubt, refusal

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


def about_correction(card: Card, error: float, used: int) -> list[Reason]:
    """How well the card's own colours come out when each is foretold from the others (mean CIEDE2000).

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


def about_fading(card: Card) -> Reason:
    """All inks seem to have lost density together."""
    return doubt(
        "card faded",
        msg(
            "The inks of the card “{name}” look faded: they are all paler than when it was measured.",
            name=card.copy_id or card.name,
        ),
        msg("Print a new card and enrol it; keep cards in the dark."),
    )


def about_yellowing(card: Card) -> Reason:
    """The card's white is yellow by the camera's own white balance."""
    text = msg(
        "Either the light is very yellow or the card “{name}” has yellowed, and no photo tells quite which: "
        "blue and yellow are less sure.",
        name=card.copy_id or card.name,
    )
    return Reason("card yellowed", text, msg("Use daylight. If it is said there too, print a new card and enrol it."))
