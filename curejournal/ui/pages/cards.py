"""Cards: print one, use it, measure a printed one, see where its colours come from and how it holds out."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import count

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg, msg_n
from curejournal.ui.components import card_health, common
from curejournal.ui.forms import enrolment
from curejournal.ui.i18n import _, localised, tr
from curejournal.ui.page import Desk, attempt, plain
from curejournal.ui.state import cache

PAPERS: dict[workflow.Paper, str] = {"a4": "A4", "letter": msg("Letter")}


def render(desk: Desk) -> None:
    """Draw the page."""
    common.say(
        msg(
            "A photo shows the light as much as the soap. A card with known colours in the same picture tells "
            "them apart."
        ),
        "lead",
    )
    enrolment.done()
    names = workflow.card_names(desk.journal)
    _print(names)
    if not desk.journal.names():
        with st.container(horizontal=True, key="act-next"):
            common.way(desk, "batches", msg("Next: start a batch"), ":material/arrow_forward:")
    _use()
    with st.expander(_("Measure a printed card (enrol it)")):
        if common.may_enter(desk):
            enrolment.show(desk, _printable())
    own = [card.name for card in desk.journal.cards()]
    st.subheader(_("Your cards"))
    if not own:
        common.say(msg("None is measured yet."))
    for name in own:
        _card(desk, name, own=True)
    with st.expander(_("Cards that come with the program")):
        for name in workflow.card_names():
            _card(desk, name, own=False)


def _printable() -> list[workflow.Card]:
    """The cards that can be printed, those with marks to find them by: the one with a window first."""
    cards = [workflow.find_card(name) for name in workflow.card_names()]
    return sorted((card for card in cards if card.markers), key=lambda card: card.name != "window")


def _card(desk: Desk, name: str, own: bool) -> None:
    card = workflow.find_card(name, desk.journal if own else None)
    known = len(card.references)
    with st.container(key=f"row-{'own' if own else 'built-in'}-{name}"):
        title = card.title or name
        st.markdown(tr(f"**{plain(title)}**" + ("" if name in title else msg(" ({name})", name=plain(name)))))
        patches = msg_n("{number} patch", "{number} patches", known)
        common.say(
            msg(
                "{patches} with known colours: {kind}. Where they come from: {provenance}.",
                patches=patches,
                kind=card.kind,
                provenance=card.provenance,
            ),
            "soft",
        )
        if own and st.toggle(_("How does it hold out?"), key=f"health-{name}"):
            card_health.show(desk, card)


def _print(taken: Sequence[str]) -> None:
    st.subheader(_("Print a card"))
    cards = {card.name: card for card in _printable()}
    chosen = st.segmented_control(
        _("Which one"),
        list(cards),
        default=next(iter(cards)),
        required=True,
        format_func=localised(lambda name: cards[name].title or name),
        key="print-card",
    )
    card = cards[chosen]
    common.say(
        msg("Its window is laid on the soap: what shows in it is measured, and nothing has to be marked.")
        if card.window
        else msg("It stands beside a loaf; you mark the soap in the picture."),
        "soft",
    )
    paper = st.segmented_control(
        _("Paper"), list(PAPERS), default="a4", required=True, format_func=localised(PAPERS.__getitem__), key="paper"
    )
    # Another print has other colours: under a name that is enrolled it would be measured by those of the first.
    free = next(name for name in (f"W-{number:02}" for number in count(1)) if name not in taken)
    copy_id = st.text_input(_("The name of this copy; it is printed on it"), free, key=f"copy-id-{free}", max_chars=12)
    sheet = attempt(lambda: cache.card_pdf(card, paper, copy_id.strip()))
    if sheet is not None:
        st.download_button(
            _("Download the card (PDF)"),
            sheet,
            f"{card.name}-card-{paper}.pdf",
            "application/pdf",
            key="card-pdf",
            type="primary",
            on_click="ignore",
        )
    common.listed(
        (
            msg("Print at 100 % and measure the two lines on the sheet with a ruler."),
            msg("Best is matt paper without optical brightener (“OBA-free”): it looks the same by day and by lamp."),
            msg("Mount it on stiff board; cut the window out, if it has one."),
            msg("Raw batter is caustic: hold the card over it, never lay it on."),
        )
    )


def _use() -> None:
    with st.expander(_("How to take a photo with it")):
        common.listed(
            (
                msg("Daylight from a window, no lamp, no flash, no sun on the card."),
                msg("Lay the card flat, the soap in its window. Phone straight above, card a third of the picture."),
                msg("Let the light come from the side, so that neither soap nor card shines towards the phone."),
                msg("No coloured wall beside the soap, and no sleeve over the card: neither can be seen in the photo."),
                msg("No filters, no portrait mode. Tap on the card to focus."),
                msg("The same place and hour each time makes changes easier to see."),
            )
        )
