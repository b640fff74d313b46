"""What is due, as a calendar file (RFC 5545) for any calendar program."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from uuid import UUID, uuid5

from icalendar import Alarm, Calendar, Event

from curejournal.base.messages import Voice, join, localise, msg, sentence
from curejournal.documents import formatting
from curejournal.judging.tasks import Task

_OURS = UUID("6f1f5a53-2a37-4f0c-9a3d-7d2b8a9b7f10")
"""The name space (RFC 9562, version 5) of the ids. Ours, drawn once."""
_SEQUENCE_FROM = 1_577_836_800
"""Seconds from 1970 to 2020: revisions count minutes from there, and fit a calendar's 32 bits. Ours."""

_ALARM_AT = timedelta(hours=8)
"""When on its day a task is reminded of, by the clock of whoever has the calendar. Ours: before a day's work begins."""


@dataclass(frozen=True)
class CalendarTask:
    """Something due for a batch. `started_at` tells apart batches of two journals with one code."""

    code: str
    name: str
    started_at: datetime
    due: Task


def calendar_ics(
    tasks: Iterable[CalendarTask], *, on: datetime, zone: tzinfo, software: str, title: str, voice: Voice | None = None
) -> bytes:
    """Whole-day events, one for each thing that is to be done.

    Parameters
    ----------
    tasks : iterable of Task
        What judgements ask for.
    on : datetime
        Now. What has been due for longer stands at today.
    zone : tzinfo
        Whose days count.
    software, title : str
        The product's name, and the calendar's.

    Returns
    -------
    bytes
        An iCalendar stream, UTF-8. An event's UID depends on the batch and on what is to be done, not on the date, and
        its SEQUENCE grows with the time: imported again, it moves instead of being doubled. What is to be done for
        several reasons is one event with all of them.

    """
    calendar = Calendar()
    calendar.add("prodid", f"-//{software}//cure calendar//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", str(localise(title, voice)))
    by_uid: dict[str, list[CalendarTask]] = {}
    for task in tasks:
        by_uid.setdefault(task_uid(task), []).append(task)
    for uid, same in by_uid.items():
        calendar.add_component(_event(uid, same, on, zone, voice))
    return bytes(calendar.to_ical())


def task_uid(task: CalendarTask) -> str:
    """The id that this task keeps whenever it is due."""
    named = "\n".join((task.code, task.started_at.isoformat(), task.due.what, task.due.words))
    return f"{uuid5(_OURS, named)}@curejournal"


def _event(uid: str, same: Sequence[CalendarTask], on: datetime, zone: tzinfo, voice: Voice | None) -> Event:
    task = min(same, key=lambda one: one.due.when)
    due_day, today = task.due.when.astimezone(zone).date(), on.astimezone(zone).date()
    day = max(due_day, today)
    whys = join(" ", (sentence(one.due.why, "" if one.due.why.endswith(".") else ".") for one in same))
    since = msg(" Due since {zone}.", zone=formatting.day(task.due.when.astimezone(zone))) if due_day < today else ""
    event = Event()
    event.add("uid", uid)
    event.add("dtstamp", on)
    event.add("last-modified", on)
    event.add("sequence", max(int(on.timestamp()) - _SEQUENCE_FROM, 0) // 60)
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=1))
    summary = msg("{code} {name}: {words}", code=task.code, name=task.name, words=task.due.words)
    event.add("summary", str(localise(summary, voice)))
    event.add("description", str(localise(whys + since, voice)))
    event.add("categories", [task.due.what])
    event.add("transp", "TRANSPARENT")
    # RFC 5545, 3.6.6 and 3.8.6.3: shown, so long after the day begins. What was due before does not ring again.
    if due_day >= today:
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("trigger", _ALARM_AT)
        alarm.add("description", event["summary"])
        event.add_component(alarm)
    return event
