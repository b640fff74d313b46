"""Use cases of the room: one log for the workshop, out of any logger's file, looked at before it is kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta, tzinfo
from itertools import groupby
from weakref import WeakKeyDictionary

from curejournal.base.messages import day_and_time, msg
from curejournal.batch.records import Batch, Entry, ScalarReading
from curejournal.batch.room_log import LogUnreadable, RoomFile, RoomReading, Unit, read_room_file
from curejournal.batch.stock import RoomLog
from curejournal.journal.store import Journal, NewEntry

PREVIEWED = 12


def preview_room_file(
    data: bytes, zone: tzinfo, *, unit: Unit | None = None, day_first: bool | None = None
) -> RoomFile:
    """Read a logger's file without keeping it; see `batch.room_log.read_room_file`."""
    return read_room_file(data, zone, unit=unit, day_first=day_first)


def keep_room_file(journal: Journal, file: RoomFile, source: str, *, by: str, now: datetime) -> tuple[int, int]:
    """Keep what a file says and the log has not yet; how many readings were new, and how many were there.

    Raises
    ------
    LogUnreadable
        While the file leaves something open, or if a reading lies in the future.
    """
    if file.questions:
        raise LogUnreadable(file.questions[0].text, msg("Answer that first: nothing was kept."))
    late = [reading for reading in file.readings if reading.at > now + timedelta(days=1)]
    if late:
        raise LogUnreadable(
            msg(
                "{late} readings are of a time that has not come yet, the first of {at}.",
                late=len(late),
                at=day_and_time(late[0].at),
            ),
            msg("Is the logger's clock right, or are day and month swapped?"),
        )
    known = {reading.at for reading in room_log(journal)}
    new = [reading for reading in file.readings if reading.at not in known]
    entries = []
    for _, month in groupby(new, key=lambda reading: (reading.at.year, reading.at.month)):
        kept = tuple((one.at, one.temperature_c, one.humidity_pct) for one in month)
        entries.append(NewEntry(RoomLog(source[:120], kept), min(kept[-1][0], now)))
    journal.add_many("", entries, by=by)
    return len(new), len(file.readings) - len(new)


def room_log(journal: Journal) -> tuple[RoomReading, ...]:
    """The workshop's log, each time once, in order of time."""
    found: dict[datetime, RoomReading] = {}
    for entry in journal.of_workshop(RoomLog):
        for at, warm, damp in entry.record.readings:
            found.setdefault(at, RoomReading(at, warm, damp))
    return tuple(found[at] for at in sorted(found))


_DAYS: WeakKeyDictionary[Journal, tuple[tuple[int, int], tuple[RoomReading, ...]]] = WeakKeyDictionary()
"""The means of each journal's days, and what they were worked out from: a log of a year has 50,000 readings."""


def room_state(journal: Journal) -> tuple[int, int]:
    """What stays the same while the workshop's log does."""
    return journal.state_of_workshop(RoomLog)


def room_days(journal: Journal) -> tuple[RoomReading, ...]:
    """The workshop's log as the mean of each day, at that day's last reading."""
    state = room_state(journal)
    known = _DAYS.get(journal)
    if known is None or known[0] != state:
        by_day = groupby(room_log(journal) if state[0] else (), key=lambda one: one.at.date())
        known = _DAYS[journal] = state, tuple(_mean(list(of_day)) for _, of_day in by_day)
    return known[1]


def _mean(of_day: Sequence[RoomReading]) -> RoomReading:
    warm = [one.temperature_c for one in of_day if one.temperature_c is not None]
    damp = [one.humidity_pct for one in of_day if one.humidity_pct is not None]
    means = (round(sum(values) / len(values), 2) if values else None for values in (warm, damp))
    return RoomReading(of_day[-1].at, *means)


def with_room(journal: Journal, batch: Batch) -> Batch:
    """The batch with a reading of the room for each day since its pour, out of the workshop's log.

    Days on which the batch has readings of its own keep those. The entries that are added have the number 0.
    """
    days, start = room_days(journal), batch.poured_at
    if start is None or not days:
        return batch
    own = {(at.date(), reading.kind) for at, reading in batch.records(ScalarReading)}
    added = [
        Entry(0, day.at, msg("room log"), day.at, ScalarReading(kind, value))
        for day in days
        for kind, value in ((msg("room temperature"), day.temperature_c), (msg("room humidity"), day.humidity_pct))
        if value is not None and day.at >= start and (day.at.date(), kind) not in own
    ]
    return replace(batch, entries=tuple(sorted((*batch.entries, *added), key=lambda entry: (entry.at, entry.id))))
