"""One photo: in true colour and as it was taken, what was found in it, and the way to correct or cut that."""

from __future__ import annotations

import streamlit as st

from curejournal.base.messages import msg
from curejournal.documents.formatting import moment
from curejournal.ui.components import common
from curejournal.ui.forms import photo_answers, photo_view, surface
from curejournal.ui.i18n import _, tr
from curejournal.ui.page import Desk, attempt, plain
from curejournal.ui.state import cache
from curejournal.workflow import Card, photos
from curejournal.workflow.photos import InboxItem


def render(desk: Desk) -> None:
    """Draw the page."""
    asked = st.query_params.get("photo", "")
    found = desk.journal.photos_named(asked) if asked else ()
    if len(found) != 1:
        st.title(_("No photo chosen"))
        common.empty("photo", msg("Open a photo from the timeline of its batch, or from the inbox."))
        common.way(desk, "batches", msg("To the batches"))
        if not desk.reads_only:
            common.way(desk, "inbox", msg("To the inbox"))
        return
    st.title(plain(found[0].facts.original_name))
    card = photo_answers.chosen_card(msg("Which kind of card lies in it?"))
    item = attempt(lambda: photos.item_of(desk.journal, found[0].sha256, card, desk.now))
    if item is None:
        return
    photo_answers.said()
    if item.state not in ("placed", "no colour"):
        if common.may_enter(desk):
            photo_answers.one(desk, card, item)
        return
    when = msg(", {zone}", zone=moment(item.at, desk.zone)) if item.at else ""
    common.say(
        common.sentence(msg("{state} in batch {batch}{when}", state=item.state, batch=item.batch, when=when)), "lead"
    )
    if item.why:
        common.say(item.why)
    _pictures(desk, card, item)
    common.patches(common.patch(seen.lab, seen.portion, common.grade_word(seen.grade)) for seen in item.colours)
    common.listed(dict.fromkeys(reason for seen in item.colours for reason in seen.reasons))
    if not desk.reads_only:
        open_yet = bool(photos.unanswered(desk.journal, item))
        if item.surface and st.toggle(
            _("What its surface looks like"), value=open_yet, key=f"surface-of-{item.sha256}"
        ):
            surface.ask(desk, item)
        batch = desk.journal.batch(item.batch)
        seen = photo_view.shown_of(batch, item.sha256)
        if seen is not None and st.toggle(_("Change how it is shown"), key=f"change-view-{item.sha256}"):
            photo_view.ask(desk, batch, seen)
        with st.expander(_("Correct where it belongs or what it shows")):
            photo_answers.correct(desk, card, item)
    common.way(desk, "batch", msg("Batch {batch}", batch=item.batch), batch=item.batch)


def _pictures(desk: Desk, card: Card, item: InboxItem) -> None:
    views = [
        msg("the soap"),
        msg("all of it"),
        msg("as it was taken"),
        msg("corrected by its card"),
        msg("the measured areas"),
    ]
    batch = desk.journal.batch(item.batch)
    seen = photo_view.shown_of(batch, item.sha256)
    view = st.segmented_control(_("Show"), views, default=views[0], required=True, key=f"view-{item.sha256}")
    if view in views[:2] and seen is not None:
        photo_view.picture(desk, batch, seen, whole=view == views[1])
        return
    if view == views[3]:
        _corrected(desk, card, item)
        return
    shown = cache.small_picture(desk.journal, item.sha256, 1200)
    if view == views[4]:
        outlines = [seen.outline for seen in item.colours]
        shown = attempt(lambda: photos.outlined_picture(desk.journal, item.sha256, outlines, (), 1200)) or shown
    st.image(
        shown,
        width="stretch",
        alt=_("Photo {name} of batch {batch}, {view}", name=item.name, batch=item.batch, view=view),
    )


def _corrected(desk: Desk, card: Card, item: InboxItem) -> None:
    made = attempt(lambda: photos.corrected(desk.journal, item.sha256, card, 1200, flag=True))
    if made is None:
        common.say(msg("No picture in standard light: no card taught this photo’s colours."))
        return
    hatched = msg(" Hatched in magenta where that is so.") if made.clipped_share >= 0.001 else ""
    words = made.words + hatched
    st.image(
        made.jpeg,
        width="stretch",
        caption=tr(words),
        alt=_("Photo {name} of batch {batch}. {words}", name=item.name, batch=item.batch, words=words),
    )
    st.download_button(
        _("Download it, unhatched (JPEG)"),
        lambda: getattr(photos.corrected(desk.journal, item.sha256, card), "jpeg", b""),
        f"{item.sha256[:10]}-standard-light.jpg",
        "image/jpeg",
        key=f"corrected-{item.sha256}",
        on_click="ignore",
    )
