"""A portfolio of chosen batches: pages for any web host, or a PDF, built while the page may be left."""

from __future__ import annotations

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg, msg_n
from curejournal.ui.components import common, showing
from curejournal.ui.i18n import _, word_of
from curejournal.ui.page import Desk, plain
from curejournal.ui.state import background, cache
from curejournal.workflow import documents

NAME = "portfolio"
FORMS = {msg("web pages (ZIP)"): "zip", "a PDF": "pdf"}
TYPES = {"zip": "application/zip", "pdf": "application/pdf"}


def render(desk: Desk) -> None:
    """Draw the page."""
    names = desk.journal.names()
    if not names:
        common.empty("page", msg("No batch yet. Photos of a batch with a card in them make its pages."))
        common.way(desk, "batches", msg("Start a batch"))
        return
    common.say(
        msg(
            "Your soap in its true colours: photos, the way of each colour, before and after, a time-lapse. "
            "No location and no camera data is in it."
        ),
        "lead",
    )
    place = str(desk.journal.location)
    _built(place)
    if background.is_going(place, NAME):
        common.say(msg("It goes on if you leave this page."), "soft")
        return
    chosen = common.chosen_batches(names, "chosen")
    if st.toggle(_("All batches"), key="all-batches"):
        chosen = list(names)
    with st.container(key="wall-chosen"):
        for code in chosen[:8]:
            batch = desk.journal.batch(code)
            judgement = cache.judged(desk, batch)
            with st.container(gap=None):
                showing.picture(desk, batch, judgement, 640)
                st.html(showing.strip(desk, judgement))
                common.say(batch.name, "small soft")
    title = st.text_input(_("Heading"), workflow.place(desk.journal), key="title", max_chars=120)
    about = st.text_input(_("A sentence under it"), key="about", max_chars=300)
    form = st.segmented_control(
        _("As"), list(FORMS), default=msg("web pages (ZIP)"), required=True, key="form", format_func=word_of
    )
    if st.button(
        _("Build it from {chosen}", chosen=msg_n("{number} batch", "{number} batches", len(chosen))),
        key="build",
        type="primary",
        disabled=not chosen,
    ):
        journal, on, kind = desk.journal, desk.now, FORMS[form]
        background.begin(
            place,
            NAME,
            msg("Building the portfolio"),
            lambda tell: documents.portfolio_packed(journal, chosen, on, kind, title=title, about=about, tell=tell),
        )
        st.rerun()


def _built(place: str) -> None:
    done = background.done(place, NAME)
    if done is None:
        return
    made: documents.Packed = done.result
    with st.container(border=True, key="built"):
        size = msg("{data:.1f} MB", data=len(made.data) / 1e6)
        st.success(
            _(
                "Built: {batches}, {size}.",
                batches=msg_n("{number} batch", "{number} batches", made.batches),
                size=plain(size),
            ),
            icon=":material/check:",
        )
        st.download_button(
            _("Download it"),
            made.data,
            f"portfolio.{made.kind}",
            TYPES[made.kind],
            key="portfolio-file",
            type="primary",
            on_click="ignore",
        )
        if made.kind == "zip":
            common.say(
                msg("Unpack it: index.html opens in any browser, and the folder goes on any web host as it is."), "soft"
            )
        if st.button(_("Build another"), key="another"):
            background.put_away(place, NAME)
            st.rerun()
