"""Photos into the journal: measured at once, kept when the maker says so."""

from __future__ import annotations

from curejournal.base.messages import msg
from curejournal.ui.components import common
from curejournal.ui.forms import take_photos
from curejournal.ui.page import Desk


def render(desk: Desk) -> None:
    """Draw the page."""
    code = common.chosen_batch(desk, "photo-batch", msg("Which batch is in the picture?"))
    if code is None and not desk.journal.names():
        common.empty("photo", msg("A photo belongs to a batch, and there is none yet. A name is enough to start one."))
        common.first_act(desk, "batches", msg("Start a batch"))
        common.say(msg("You can measure a photo here already; it is not kept."), "soft")
    take_photos.take(desk, desk.journal.batch(code) if code else None)
    common.way(desk, "inbox", msg("Many at once: the inbox"), ":material/inbox:")
