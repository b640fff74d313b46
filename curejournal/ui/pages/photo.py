"""One photo: in true colour and as it was taken, what was found in it, and the way to correct or cut that."""

from __future__ import annotations

from curejournal.documents.formatting import moment
from curejournal.ui.components import common
from curejournal.ui.forms import photo_answers, photo_view, surface
from curejournal.ui.i18n import st
from curejournal.ui.page import Desk, Page, attempt, plain
from curejournal.ui.state import cache
from curejournal.workflow import Card, photos
from curejournal.workflow.photos import InboxItem


def render(desk: Desk) -> None:
    """Draw the page."""
    asked = st.query_params.get("photo", "")
    found = desk.journal.photos_named(asked) if asked else ()
    if len(found) != 1:
        st.title("No photo chosen")
        common.say("A photo is opened from its batch’s timeline, or from the photos.")
        common.way(desk, "batches", "To the batches")
        if not desk.reads_only:
            common.way(desk, "tray", "To the inbox")
        return
    st.title(plain(found[0].facts.original_name))
    card = photo_answers.chosen_card("Which kind of card lies in it?")
    item = attempt(lambda: photos.item_of(desk.journal, found[0].sha256, card, desk.now))
    if item is None:
        return
    photo_answers.said()
    if item.state not in ("placed", "no colour"):
        if common.may_enter(desk):
            photo_answers.one(desk, card, item)
        return
    when = f", {moment(item.at, desk.zone)}" if item.at else ""
    common.say(common.sentence(f"{item.state} in batch {item.batch}{when}"), "lead")
    if item.why:
        common.say(item.why)
    _pictures(desk, card, item)
    common.patches(common.patch(seen.lab, seen.portion, common.grade_word(seen.grade)) for seen in item.colours)
    common.listed(dict.fromkeys(reason for seen in item.colours for reason in seen.reasons))
    if not desk.reads_only:
        open_yet = bool(photos.unanswered(desk.journal, item))
        if item.surface and st.toggle("What its surface looks like", value=open_yet, key=f"surface-of-{item.sha256}"):
            surface.ask(desk, item)
        batch = desk.journal.batch(item.batch)
        seen = photo_view.shown_of(batch, item.sha256)
        if seen is not None and st.toggle("Change how it is shown", key=f"change-view-{item.sha256}"):
            photo_view.ask(desk, batch, seen)
        with st.expander("Correct where it belongs or what it shows"):
            photo_answers.correct(desk, card, item)
    common.way(desk, "batch", f"Batch {item.batch}", batch=item.batch)


def _pictures(desk: Desk, card: Card, item: InboxItem) -> None:
    views = ["the soap", "all of it", "as it was taken", "corrected by its card", "the measured areas"]
    batch = desk.journal.batch(item.batch)
    seen = photo_view.shown_of(batch, item.sha256)
    view = st.segmented_control("Show", views, default=views[0], required=True, key=f"view-{item.sha256}")
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
    st.image(shown, width="stretch", alt=f"Photo {item.name} of batch {item.batch}, {view}")


def _corrected(desk: Desk, card: Card, item: InboxItem) -> None:
    made = attempt(lambda: photos.corrected(desk.journal, item.sha256, card, 1200, flag=True))
    if made is None:
        common.say("No picture in standard light: no card taught this photo’s colours.")
        return
    hatched = " Hatched in magenta where that is so." if made.clipped_share >= 0.001 else ""
    words = made.words + hatched
    st.image(made.jpeg, width="stretch", caption=words, alt=f"Photo {item.name} of batch {item.batch}. {words}")
    st.download_button(
        "Download it, unhatched (JPEG)",
        lambda: getattr(photos.corrected(desk.journal, item.sha256, card), "jpeg", b""),
        f"{item.sha256[:10]}-standard-light.jpg",
        "image/jpeg",
        key=f"corrected-{item.sha256}",
    )


PAGE = Page("One photo", "photo", "Photos", 50, render, listed=False, titled=False)
