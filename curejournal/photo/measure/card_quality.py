"""What can be wrong with a card itself: values that are not known, paper that glows, inks that faded, another copy."""

from __future__ import annotations

from curejournal.base.counting import how_many
from curejournal.colour.correction import FEWEST_PATCHES
from curejournal.colour.sample import Grade, Reason
from curejournal.photo.card import Card
from curejournal.photo.find.refusals import doubt, refusal

# b*; ours. Of drawn photos under lamps by a card whose paper had b* -2 to -3, 3 of 30 were measured and off by over 4.
GLOW_TOLD = 1.0


def about_values(card: Card) -> list[Reason]:
    """Where the card's colours come from limits what a reading can be."""
    if card.white_only:
        text = "Only exposure and white balance come from plain white: the colour is a rough one."
        return [doubt("white only", text, "Use a card with colours.")]
    if len(card.references) < FEWEST_PATCHES:
        text = "This card's own colours are not known."
        remedy = "Enrol the card first: photograph it beside a chart with published colours."
        return [refusal("card unmeasured", text, remedy)]
    if card.kind == "nominal":
        text = "This printed card has not been measured: colours are relative to what the printer was asked for."
        return [Reason("card unmeasured", text, "Enrol the card to get measured colours.", Grade.RELATIVE)]
    if card.kind == "relative":
        text = "Colours are relative to this card: good for following one batch, not for comparing with others."
        return [Reason("card relative", text, "Enrol the card beside a chart with published colours.", Grade.RELATIVE)]
    if card.kind == "unknown":
        return [refusal("card unmeasured", "Nobody knows where this card's values come from.", "Enrol the card first.")]
    return [*about_paper(card), *_about_made_of(card)]


def _about_made_of(card: Card) -> list[Reason]:
    """Of soap beside patches of an unknown kind less is known."""
    if card.made_of:
        return []
    text = "The card's file does not say what its patches are made of, so that soap's colours are less sure."
    return [Reason("made of unknown", text, "Add made_of = “printing inks” or “paint” to it.")]


def about_paper(card: Card) -> list[Reason]:
    """A brightener in a printed card's paper: by a lamp it is dark, and no patch can tell."""
    if card.glow < GLOW_TOLD:
        return []
    text = "The card's paper has an optical brightener: it glows by day alone, and by lamps colours come out too blue."
    return [Reason("bright paper", text, "Use daylight, or enrol a card printed on paper without it (“OBA-free”).")]


def other_copy(card: Card, printed: str) -> Reason:
    """The card in the picture bears another copy's id."""
    return refusal(
        "other copy",
        f"The card in this photo is copy {printed[:40]}, not {card.copy_id}: its colours are its own.",
        f"Choose the card {printed[:40]}, or enrol it.",
    )


def about_correction(card: Card, error: float, used: int) -> list[Reason]:
    """How well the card's own colours come out when each is foretold from the others (mean CIEDE2000).

    A card that was measured itself fits within 1 in good photos; a published chart has its ageing besides.
    """
    remedy = "Check that this is the right card, evenly lit, without filters or portrait mode."
    if error > 9:
        return [refusal("wrong card", f"The card's own colours do not fit together (off by {error:.0f}).", remedy)]
    own = card.kind in ("measured", "enrolled") and bool(card.markers)
    if own and error > 1.8:
        text = f"The card does not look as it did when it was measured (off by {error:.1f} on average)."
        return [doubt("card changed", text, f"Is this copy {card.copy_id or card.name}? Enrol it again if it faded.")]
    if error > 5:
        text = f"The card's own colours fit poorly (off by {error:.1f} on average)."
        remedy = "Use even daylight, no filters, and a clean card."
        if card.kind == "published":
            remedy += " A chart that was printed at home is not the published one: enrol it as a card of its own."
        return [doubt("poor fit", text, remedy)]
    if used < 10:
        text = f"Only {how_many(used, 'patch')} of the card could be used."
        return [doubt("few patches", text, "Show all of it, evenly lit.")]
    return []


def about_fading(card: Card) -> Reason:
    """All inks seem to have lost density together."""
    return doubt(
        "card faded",
        f"The inks of the card “{card.copy_id or card.name}” look faded: they are all paler than when it was measured.",
        "Print a new card and enrol it; keep cards in the dark.",
    )
