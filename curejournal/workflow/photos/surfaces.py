"""What surfaces in placed photos look like: asked, and noted once the maker confirms it."""

from __future__ import annotations

from datetime import datetime

from curejournal.base.messages import join, msg, msg_n
from curejournal.batch.records import Batch, Entry, Event, SurfaceNote
from curejournal.journal.store import Journal
from curejournal.photo.window.surface import Finding
from curejournal.workflow.photos.inbox import PhotoWaits
from curejournal.workflow.photos.items import InboxItem


def confirm_surface(journal: Journal, item: InboxItem, finding: Finding | None, *, by: str) -> Entry:
    """Keep what a placed photo's surface looks like, as the maker confirms it; None says that it is clear.

    The same confirmation twice is one entry.

    Raises
    ------
    PhotoWaits
        If the photo is not placed yet.
    """
    if item.state not in ("placed", "no colour") or item.at is None:
        raise PhotoWaits(msg("This photo is not placed in a batch yet."), msg("Place it first."))
    record = surface_record(finding)
    for _, entry in journal.entries_of_photo(item.sha256):
        if entry.record == record:
            return entry
    return journal.add(item.batch, record, at=item.at, by=by, photo=item.sha256)


def unanswered(journal: Journal, item: InboxItem) -> tuple[Finding, ...]:
    """What a placed photo's surface looks like, without what is no fault and what the maker has noted since."""
    if not item.surface or item.at is None or item.state not in ("placed", "no colour"):
        return ()
    noted = {note.look for when, note in journal.batch(item.batch).records(SurfaceNote) if when >= item.at}
    return tuple(
        finding
        for finding in item.surface
        if isinstance(record := surface_record(finding), SurfaceNote) and noted.isdisjoint({"clear", record.look})
    )


def surface_record(finding: Finding | None) -> SurfaceNote | Event:
    """The record of something seen on a surface; mottling and a gel ring are no fault and go down as a note."""
    if finding is None:
        return SurfaceNote("clear")
    share = None if finding.share is None else round(100 * finding.share, 2)
    if finding.kind == "orange spots":
        return SurfaceNote("orange spots", finding.count, share, finding.words)
    if finding.kind == "white film":
        return SurfaceNote("ash", None, share, finding.words)
    return Event("note", note=finding.words)


def growth(batch: Batch, finding: Finding, at: datetime) -> str:
    """What changed in spots or film since the batch's last note of them before a time; empty if there is none."""
    record = surface_record(finding)
    if not isinstance(record, SurfaceNote):
        return ""
    earlier = [(when, note) for when, note in batch.records(SurfaceNote) if when < at and note.look == record.look]
    if not earlier:
        return ""
    when, last = earlier[-1]
    changes = []
    if record.count is not None and last.count is not None:
        changes.append(
            msg(
                "from {before} to {spots}",
                before=last.count,
                spots=msg_n("{number} spot", "{number} spots", record.count),
            )
        )
    if record.area_pct is not None and last.area_pct is not None:
        changes.append(
            msg(
                "from {before_pct:g} % to {now_pct:g} % of what is seen",
                before_pct=last.area_pct,
                now_pct=record.area_pct,
            )
        )
    return msg("Since {when:%d %B %Y}: {changes}.", when=when, changes=join(", ", changes)) if changes else ""
