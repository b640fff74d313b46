"""A printed card's own colours, step by step: beside a chart, from an instrument's file, or by its own white paper."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import join, msg, msg_n
from curejournal.ui.components import common
from curejournal.ui.forms.photos import TYPES
from curejournal.ui.i18n import _, localised, tr, word_of
from curejournal.ui.page import Desk, attempt, plain

CHART = msg("beside a 24-patch chart")
VALUES = msg("from an instrument’s file")
PAPER = msg("by its own white paper")
WAYS: dict[str, tuple[str, tuple[str, ...]]] = {
    CHART: (
        msg("The best that a phone can do: its colours are then *measured*, and comparable between batches and years."),
        (
            msg("Lay the card beside a 24-patch chart with published colours, both flat."),
            msg("Even daylight from a window; no lamp, no sun on them."),
            msg("Take three photos from above, both whole in the picture, and move a little between them."),
            msg("The photo in which the card shines least counts most: one photo alone leaves dark colours in doubt."),
            msg("Choose the photos here."),
        ),
    ),
    VALUES: (
        msg("If somebody measured the card with a spectrophotometer."),
        (
            msg("Ask for a CGATS text file (ISO 28178), or CSV with the columns id, L, a, b (D50, 2°)."),
            msg("The patches’ ids must be those of the card, as in the empty table below."),
            msg("Choose the file here."),
        ),
    ),
    PAPER: (
        msg(
            "Without a chart: sound for following one batch over time. Its colours stay *relative*, and are called so."
        ),
        (
            msg("Lay the card flat in even daylight, on nothing coloured."),
            msg("Take two or three photos from above, the whole card in the picture."),
            msg("Choose the photos here."),
        ),
    ),
}

EDITIONS: dict[str, workflow.ChartMade] = {
    msg("since November 2014"): "since",
    msg("before November 2014"): "before",
    msg("I do not know"): "unknown",
    msg("it was printed at home"): "home",
}
"""When a chart was made."""


def show(desk: Desk, cards: Sequence[workflow.Card]) -> None:
    """Ask which card, under which name, in which way; then measure and keep it."""
    common.say(msg("A printer’s colours are not known until they are measured. Until then, colours are only relative."))
    names = {card.name: card for card in cards}
    chosen = st.segmented_control(
        _("1. Which card was printed?"),
        list(names),
        default=cards[0].name,
        required=True,
        format_func=localised(lambda name: names[name].title or name),
        key="enrol-card",
    )
    copy_id = st.text_input(_("2. The name written on it"), placeholder="W-01", key="enrol-id", max_chars=40).strip()
    way = st.radio(_("3. How are its colours found?"), list(WAYS), key="enrol-way", format_func=word_of)
    promise, steps = WAYS[way]
    st.markdown(tr(promise))
    st.markdown(tr(join("\n", (f"{number}. " + step for number, step in enumerate(steps, start=1)))))
    edition = (
        st.radio(
            _("When was the chart made? The date is on its back."),
            list(EDITIONS),
            index=2,
            key="enrol-edition",
            format_func=word_of,
        )
        if way == CHART
        else ""
    )
    turn = st.session_state.setdefault("enrol-turn", 0)
    files = (
        st.file_uploader(_("The file"), type=["txt", "cgats", "csv", "ti3"], key=f"enrol-values-{turn}")
        if way == VALUES
        else st.file_uploader(_("The photos"), type=TYPES, accept_multiple_files=True, key=f"enrol-photos-{turn}")
    )
    if way == VALUES:
        _empty_table(names[chosen])
    if not files:
        common.say(msg("4. Then a button here measures the card."), "soft")
        return
    if not copy_id:
        common.say(msg("The card needs its name first: it is on every colour that is measured with it."))
    if st.button(_("4. Measure the card"), key="enrol-go", type="primary", disabled=not copy_id):
        with st.spinner(_("Measuring the card…")):
            made = attempt(lambda: _made(desk, names[chosen], copy_id, EDITIONS.get(edition), files))
        if made is not None:
            card, doubts = made
            st.session_state["enrolled"] = (copy_id, len(card.references), tuple(doubts))
            st.session_state["enrol-turn"] = turn + 1
            st.rerun()


def _empty_table(card: workflow.Card) -> None:
    lines = ["id,L,a,b", *(f"{patch.id},,," for patch in card.patches)]
    st.download_button(
        _("An empty table with the card’s ids (CSV)"),
        "\n".join(lines) + "\n",
        f"{card.name}-values.csv",
        "text/csv",
        key="enrol-table",
        on_click="ignore",
    )


def _made(
    desk: Desk, card: workflow.Card, copy_id: str, made: workflow.ChartMade | None, files: object
) -> tuple[workflow.Card, Sequence[str]]:
    if isinstance(files, list):
        return workflow.enrol_card(
            desk.journal,
            card,
            [file.getvalue() for file in files],
            workflow.chart_made(made) if made else None,
            copy_id,
            edition_known=made != "unknown",
        )
    data, name = files.getvalue(), files.name  # type: ignore[attr-defined]  # Streamlit does not name the class
    return workflow.card_with_values(desk.journal, card, data, source=name, name=copy_id, copy_id=copy_id)


def done() -> None:
    """Say what was measured just now, and what was doubtful about it."""
    if "enrolled" in st.session_state:
        name, patches, doubts = st.session_state["enrolled"]
        st.success(
            _(
                "The colours of {patches} of {name} are known now. Choose it when you take a photo.",
                patches=msg_n("{number} patch", "{number} patches", patches),
                name=plain(name),
            ),
            icon=":material/check:",
        )
        common.listed(doubts)
