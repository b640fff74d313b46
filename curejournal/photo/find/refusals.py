"""Why there is no card to measure by: none found, hidden, blurred or mirrored."""

from __future__ import annotations

from curejournal.base.messages import msg
from curejournal.colour.sample import Reason, refusal
from curejournal.photo.card import Card


def no_card(card: Card) -> Reason:
    """No card at all.

    Parameters
    ----------
    card : Card

    Returns
    -------
    Reason
    """
    return refusal(
        "no card",
        msg("The card “{name}” was not found in this photo.", name=card.name),
        msg(
            "Lay the card flat beside or on the soap, all of it in the picture; go closer if it is small there. "
            "Try again."
        ),
    )


def card_hidden(card: Card, seen: int) -> Reason:
    """Too few of its markers.

    Parameters
    ----------
    card : Card
    seen : int
        How many markers were found.

    Returns
    -------
    Reason
    """
    return refusal(
        "card hidden",
        msg("Only {seen} of the card's {markers} corner marks can be seen.", seen=seen, markers=len(card.markers)),
        msg("Show the whole card, with nothing over its corners; go closer if it is small in the picture."),
    )


def blurred(card: Card) -> Reason:
    """No card, in a picture without a sharp edge.

    Parameters
    ----------
    card : Card

    Returns
    -------
    Reason
    """
    return refusal(
        "blurred",
        msg("The card “{name}” cannot be read: the photo is blurred, by motion or out of focus.", name=card.name),
        msg("Go closer, hold still, tap on the card to focus, wipe the lens, and take the photo again."),
    )


MIRRORED = refusal(
    "mirrored",
    msg("The picture is mirrored, as selfie cameras do."),
    msg("Use the main camera, or switch mirroring off."),
)
