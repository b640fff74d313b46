"""A portfolio of chosen batches: pages for any web host, or a PDF, built while the page may be left."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg, msg_n
from curejournal.ui.components import common, preview, showing
from curejournal.ui.i18n import _, localised, word_of
from curejournal.ui.page import Desk, plain
from curejournal.ui.state import background, cache
from curejournal.workflow import documents

NAME = "portfolio"
FORMS = {msg("web pages (ZIP)"): "zip", "a PDF": "pdf"}
SHOWN, PREVIEWED, FIRST = 12, 4, 3
"""How many chosen soaps are shown, how many are drawn in the preview, and how many are chosen to begin with. Ours."""
TYPES = {"zip": "application/zip", "pdf": "application/pdf"}


def render(desk: Desk) -> None:
    """Draw the page."""
    names = desk.journal.names()
    if not names:
        common.empty("page", msg("No batch yet. Photos of a batch with a card in them make its pages."))
        common.first_act(desk, "batches", msg("Start a batch"))
        return
    common.say(
        msg(
            "Your soap in its true colours, for customers: large pictures, a ribbon and a sentence for each. "
            "No location, no camera data and no lab term is in it."
        ),
        "lead",
    )
    place = str(desk.journal.location)
    _built(place)
    if background.is_going(place, NAME):
        common.say(msg("It goes on if you leave this page."), "soft")
        return
    offered = _offered(desk, names)
    if not offered:
        return
    everything = len(offered) > 1 and st.toggle(_("All of them"), key="all-batches")
    chosen = [*offered] if everything else common.chosen_batches(offered, "chosen", [*offered][:FIRST])
    _wall(desk, chosen)
    design = _design(desk)
    form = st.segmented_control(
        _("As"), list(FORMS), default=msg("web pages (ZIP)"), required=True, key="form", format_func=word_of
    )
    journal, on, kind = desk.journal, desk.now, FORMS[form]
    if chosen and st.toggle(_("Preview"), key="portfolio-preview"):
        drawn = partial(documents.portfolio_on_paper, journal, chosen[:PREVIEWED], on, design=design, unreleased=True)
        preview.paper(desk, "portfolio", drawn, (chosen[:PREVIEWED], design))
    if st.button(
        _("Build it from {chosen}", chosen=msg_n("{number} batch", "{number} batches", len(chosen))),
        key="build",
        type="primary",
        disabled=not chosen,
    ):
        background.begin(
            place,
            NAME,
            msg("Building the portfolio"),
            lambda tell: documents.portfolio_packed(
                journal, chosen, on, kind, design=design, unreleased=True, tell=tell
            ),
        )
        st.rerun()


def _offered(desk: Desk, names: Mapping[str, str]) -> dict[str, str]:
    """The released batches; all of them only if the maker says so."""
    released = documents.offered(desk.journal)
    if not released:
        common.empty(
            "page", msg("No batch is released yet. Customers are shown released soap, unless you say otherwise.")
        )
    everything = st.toggle(_("Also batches that are not released"), key="unreleased")
    return dict(names) if everything else {code: names[code] for code in released}


def _wall(desk: Desk, chosen: Sequence[str]) -> None:
    """The chosen soaps as the first page will show them, each with its square to share."""
    with st.container(key="wall-chosen"):
        for code in chosen[:SHOWN]:
            batch = desk.journal.batch(code)
            judgement = cache.judged(desk, batch)
            soap = documents.soap_of(documents.portfolio_batch(desk.journal, batch, judgement.journeys))
            with st.container(gap=None):
                showing.picture(desk, batch, judgement, 640)
                st.html(showing.strip(desk, judgement))
                common.say(batch.name, "story")
                common.say(soap.sentence or soap.lead, "small soft")
                if soap.cover is not None:
                    st.download_button(
                        _("Square picture"),
                        partial(documents.square_picture, desk.journal, code, desk.now),
                        f"{code}-square.jpg",
                        "image/jpeg",
                        key=f"square-{code}",
                        type="tertiary",
                        on_click="ignore",
                    )
    if len(chosen) > SHOWN:
        common.say(msg("{number} more are in it.", number=len(chosen) - SHOWN), "soft")


def _design(desk: Desk) -> documents.Design:
    layout = st.radio(
        _("Layout"), list(documents.LAYOUTS), key="layout", format_func=localised(documents.LAYOUTS.__getitem__)
    )
    title = st.text_input(_("Heading"), workflow.place(desk.journal), key="title", max_chars=120)
    about = st.text_input(_("A sentence under it"), key="about", max_chars=300)
    return documents.Design(title, about, layout)


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
