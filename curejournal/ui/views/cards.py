"""Cards: print one, use it, measure a printed one, see where its colours come from."""

from __future__ import annotations

import streamlit as st

from curejournal import workflow
from curejournal.ui import cache, parts
from curejournal.ui.page import Desk, Page, attempt, plain

PAPERS: dict[workflow.Paper, str] = {"a4": "A4", "letter": "Letter"}


def render(desk: Desk) -> None:
    """Draw the page."""
    parts.say(
        "A photo shows the light as much as the soap. A card with known colours in the same picture tells them apart.",
        "lead",
    )
    _print()
    _use()
    _enrol(desk)
    st.subheader("Cards of this journal")
    for name in workflow.card_names(desk.journal):
        card = workflow.find_card(name, desk.journal)
        with st.container(key=f"row-{name}"):
            st.markdown(f"**{plain(card.title or card.name)}** ({plain(name)})")
            parts.say(
                f"{len(card.references)} patches with known colours. Where they come from: {card.provenance}.", "soft"
            )


def _chosen(label: str, key: str) -> workflow.Card:
    """Ask for one of the cards that a maker can print: those with marks to find them by."""
    cards = {name: workflow.find_card(name) for name in workflow.card_names()}
    names = sorted((name for name, card in cards.items() if card.markers), key=lambda name: name != "window")
    name = st.segmented_control(
        label, names, default="window", required=True, format_func=lambda name: cards[name].title or name, key=key
    )
    return cards[name]


def _print() -> None:
    st.subheader("Print a card")
    card = _chosen("Which one", "print-card")
    parts.say(
        "Its window is laid on the soap: what shows in it is measured, and nothing has to be marked."
        if card.window
        else "It stands beside a loaf; you mark the soap in the picture.",
        "soft",
    )
    copy_id = st.text_input("A name for this copy, to write its colours under", "W-01", key="copy-id", max_chars=12)
    paper = st.segmented_control(
        "Paper", list(PAPERS), default="a4", required=True, format_func=PAPERS.__getitem__, key="paper"
    )
    sheet = attempt(lambda: cache.card_pdf(card, paper, copy_id.strip()))
    if sheet is not None:
        st.download_button(
            "Download the card (PDF)",
            sheet,
            f"{card.name}-card-{paper}.pdf",
            "application/pdf",
            key="card-pdf",
            type="primary",
        )
    parts.listed(
        (
            "Print at 100 %, on matt paper, and measure the two lines on the sheet with a ruler.",
            "Mount it on stiff board; cut the window out, if it has one.",
            "Raw batter is caustic: hold the card over it, never lay it on.",
        )
    )


def _use() -> None:
    with st.expander("How to take a photo with it"):
        parts.listed(
            (
                "Daylight from a window, no lamp, no flash, no sun on the card.",
                "Lay the card flat, the soap in its window. Phone straight above, card a third of the picture.",
                "No filters, no portrait mode. Tap on the card to focus.",
                "The same place and hour each time makes changes easier to see.",
            )
        )


def _enrol(desk: Desk) -> None:
    with st.expander("Measure a printed card (enrol it)"):
        if not parts.may_enter(desk):
            return
        parts.say(
            "A printer’s colours are not known until they are measured: before that, colours are relative. Photograph "
            "the printed card beside a 24-patch chart with published colours, both flat in even daylight, three times, "
            "moving a little."
        )
        card = _chosen("Which card was printed", "enrol-card")
        copy_id = st.text_input("The name written on the card", key="enrol-id", max_chars=40)
        files = st.file_uploader(
            "Photos with card and chart",
            type=["jpg", "jpeg", "png", "heic", "heif", "tif", "tiff", "webp"],
            accept_multiple_files=True,
            key="enrol-files",
        )
        if st.button("Enrol the card", key="enrol-go", type="primary", disabled=not (copy_id.strip() and files)):
            with st.spinner("Measuring the card…"):
                enrolled = attempt(
                    lambda: workflow.enrol_card(
                        desk.journal,
                        card,
                        [file.getvalue() for file in files],
                        workflow.find_card("chart24"),
                        copy_id.strip(),
                    )
                )
            if enrolled is not None:
                st.success(
                    f"Enrolled: {len(enrolled[0].references)} patches of {plain(copy_id)} are known now.",
                    icon=":material/check:",
                )
                parts.listed(enrolled[1])


PAGE = Page("Cards", "cards", 40, render, ":material/style:")
