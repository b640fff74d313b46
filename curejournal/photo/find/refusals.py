"""The form of a refusal and of a doubt, and the refusals of a card that is not found."""

from __future__ import annotations

from curejournal.base.messages import msg
from curejournal.colour.sample import Grade, Reason
from curejournal.photo.card import Card
from curejournal.photo.find.placement import Points


def refusal(code: str, text: str, remedy: str, *outlines: Points) -> Reason:
    """A fault that leaves no colour."""
    return Reason(code, text, remedy, Grade.NOT_USABLE, outlines)


def doubt(code: str, text: str, remedy: str, *outlines: Points) -> Reason:
    """A fault that leaves an indicative colour."""
    return Reason(code, text, remedy, Grade.INDICATIVE, outlines)


def no_card(card: Card) -> Reason:
    """No card at all."""
    return refusal(
        "no card",
        msg("The card “{name}” was not found in this photo.", name=card.name),
        msg(
            "Lay the card flat beside or on the soap, all of it in the picture; go closer if it is small there. "
            "Try again."
        ),
    )


def card_hidden(card: Card, seen: int) -> Reason:
    """Too few of its markers."""
    return refusal(
        "card hidden",
        msg("Only {seen} of the card's {markers} corner marks can be seen.", seen=seen, markers=len(card.markers)),
        msg("Show the whole card, with nothing over its corners; go closer if it is small in the picture."),
    )
