"""Use cases of cards: find, print, enrol."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

from curejournal.base.messages import msg
from curejournal.photo import card as cards
from curejournal.photo.card import Card
from curejournal.photo.enrol import EnrolmentRefused, enrol
from curejournal.photo.read.picture_file import read_photo

if TYPE_CHECKING:  # finding a card needs neither journal nor paper
    from curejournal.documents.card_sheet import Paper
    from curejournal.journal.store import Journal

OTHER_EDITIONS = {"chart24": "chart24-older", "chart24-older": "chart24"}
"""The built-in charts that are one chart with the values of its two editions."""
ChartMade = Literal["before", "since", "unknown", "home"]
"""When a chart was made, before or since November 2014; or at home, by a printer of unknown colours."""


def find_card(name_or_text: str, journal: Journal | None = None) -> Card:
    """A card by name (of the journal's own cards first, then the built-in ones), or from the text of its file.

    Raises
    ------
    CardDefinitionInvalid
    """
    if "\n" in name_or_text:
        return cards.read_card(name_or_text)
    if journal is not None and name_or_text in {kept.name for kept in journal.cards()}:
        return cards.read_card(journal.card_text(name_or_text))
    return cards.read_card(cards.built_in_card_text(name_or_text))


def card_names(journal: Journal | None = None) -> tuple[str, ...]:
    """The cards that can be used by name, the journal's own first."""
    own = tuple(kept.name for kept in journal.cards()) if journal is not None else ()
    return own + tuple(name for name in cards.built_in_cards() if name not in own)


def card_to_print(card: Card, paper: Paper, copy_id: str = "") -> bytes:
    """The PDF of a card, true to scale."""
    from curejournal.documents.card_sheet import card_pdf

    return card_pdf(replace(card, copy_id=copy_id) if copy_id else card, paper)


def chart_made(made: ChartMade) -> Card:
    """The 24-patch chart by when it was made.

    Raises
    ------
    EnrolmentRefused
        Of one that was printed at home: what misfits its published colours looks much like a camera.
    """
    if made == "home":
        raise EnrolmentRefused(
            msg("A chart printed at home has colours of its own, not the published ones."),
            msg("Use a bought chart; or have yours measured and import its values as a card."),
        )
    return find_card("chart24-older" if made == "before" else "chart24")


def enrol_card(
    journal: Journal,
    card: Card,
    photos: Sequence[bytes],
    chart: Card | None,
    copy_id: str,
    *,
    edition_known: bool = True,
) -> tuple[Card, list[str]]:
    """Measure a printed card beside a chart and keep it in the journal under its copy id.

    `edition_known` says that the maker told which edition of the chart it is; else the values between its editions
    are taken. Without a chart its own white paper in daylight serves, and its colours are only relative.

    Returns the enrolled card, and what was doubtful in plain words.

    Raises
    ------
    EnrolmentRefused, NotAPicture
    """
    other = OTHER_EDITIONS.get(chart.name) if chart else None
    enrolled, reasons = enrol(
        card,
        [read_photo(data) for data in photos],
        chart,
        copy_id=copy_id,
        other_edition=find_card(other) if other else None,
        edition_known=edition_known,
    )
    enrolled = replace(enrolled, name=copy_id, title=f"{card.title}, copy {copy_id}")
    again = _keep(journal, enrolled, copy_id)
    return enrolled, [*again, *(f"{reason.text} {reason.remedy}" for reason in reasons)]


def card_with_values(
    journal: Journal, card: Card, data: bytes, *, source: str, name: str, copy_id: str = ""
) -> tuple[Card, tuple[str, ...]]:
    """Give a card the measured colours of a file (CGATS or CSV, called `source`) and keep it under a name.

    `copy_id` is what is printed on the copy that was measured: its photos are told by it.

    Returns the card, and what is doubtful about it in sentences.

    Raises
    ------
    ValuesUnreadable
    """
    from curejournal.photo.cgats import read_values, with_values

    measured, doubts = with_values(card, read_values(data), source)
    title = msg("{title}, {name}", title=card.title or card.name, name=name)
    measured = replace(measured, name=name, title=title, copy_id=copy_id or card.copy_id)
    again = _keep(journal, measured, measured.copy_id)
    return measured, (*again, *doubts)


def _keep(journal: Journal, card: Card, copy_id: str) -> list[str]:
    """Keep a card under its name; what is to be said if one of that name was kept with other colours."""
    text, known = cards.card_text(card), {kept.name: kept.toml for kept in journal.cards()}
    journal.keep_card(card.name, text, copy_id)
    if known.get(card.name, text) == text:
        return []
    return [
        msg(
            "{name} was measured before. The new colours count for photos that are measured from now on; "
            "the earlier ones stay in the journal. If it is another print, give it another name.",
            name=card.name,
        )
    ]
