"""One photo: as it was taken and in standard light, what was found in it, and the way to correct that."""

from __future__ import annotations

from curejournal import tray
from curejournal.report.wording import moment
from curejournal.sorting import TrayItem
from curejournal.ui import cache, parts, placing, surfaces
from curejournal.ui.page import Desk, Page, attempt, plain
from curejournal.ui.telling import st
from curejournal.workflow import Card


def render(desk: Desk) -> None:
    """Draw the page."""
    asked = st.query_params.get("photo", "")
    found = desk.journal.photos_named(asked) if asked else ()
    if len(found) != 1:
        st.title("No photo chosen")
        parts.say("A photo is opened from its batch’s story, or from the tray.")
        parts.way(desk, "batches", "To the batches")
        if not desk.reads_only:
            parts.way(desk, "tray", "To the tray")
        return
    st.title(plain(found[0].facts.original_name))
    card = placing.chosen_card("Which kind of card lies in it?")
    item = attempt(lambda: tray.item_of(desk.journal, found[0].sha256, card, desk.now))
    if item is None:
        return
    placing.said()
    if item.state not in ("placed", "no colour"):
        if parts.may_enter(desk):
            placing.one(desk, card, item)
        return
    when = f", {moment(item.at, desk.zone)}" if item.at else ""
    parts.say(parts.sentence(f"{item.state} in batch {item.batch}{when}"), "lead")
    if item.why:
        parts.say(item.why)
    _pictures(desk, card, item)
    parts.patches(parts.patch(seen.lab, seen.portion, str(seen.grade)) for seen in item.colours)
    parts.listed(dict.fromkeys(reason for seen in item.colours for reason in seen.reasons))
    if not desk.reads_only:
        open_yet = bool(tray.unanswered(desk.journal, item))
        if item.surface and st.toggle("What its surface looks like", value=open_yet, key=f"surface-of-{item.sha256}"):
            surfaces.ask(desk, item)
        with st.expander("Correct where it belongs or what it shows"):
            placing.correct(desk, card, item)
    parts.way(desk, "batch", f"Batch {item.batch}", batch=item.batch)


def _pictures(desk: Desk, card: Card, item: TrayItem) -> None:
    views = ["as it was taken", "in standard light", "the measured areas"]
    view = st.segmented_control("Show it", views, default=views[0], required=True, key=f"view-{item.sha256}")
    if view == views[1]:
        _corrected(desk, card, item)
        return
    shown = cache.small_picture(desk.journal, item.sha256, 1200)
    if view == views[2]:
        outlines = [seen.outline for seen in item.colours]
        shown = attempt(lambda: tray.outlined_picture(desk.journal, item.sha256, outlines, (), 1200)) or shown
    st.image(shown, width="stretch", alt=f"Photo {item.name} of batch {item.batch}, {view}")


def _corrected(desk: Desk, card: Card, item: TrayItem) -> None:
    made = attempt(lambda: tray.corrected(desk.journal, item.sha256, card, 1200, flag=True))
    if made is None:
        parts.say("No picture in standard light: no card taught this photo’s colours.")
        return
    hatched = " Hatched in magenta where that is so." if made.clipped_share >= 0.001 else ""
    words = made.words + hatched
    st.image(made.jpeg, width="stretch", caption=words, alt=f"Photo {item.name} of batch {item.batch}. {words}")
    st.download_button(
        "Download it, unhatched (JPEG)",
        lambda: getattr(tray.corrected(desk.journal, item.sha256, card), "jpeg", b""),
        f"{item.sha256[:10]}-standard-light.jpg",
        "image/jpeg",
        key=f"corrected-{item.sha256}",
    )


PAGE = Page("One photo", "photo", "Photos", 50, render, listed=False, titled=False)
