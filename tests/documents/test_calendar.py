"""What is due, as RFC 5545 has it; read back by another library than the one that wrote it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
import vobject

from curejournal.documents.calendar import CalendarTask, calendar_ics, task_uid
from curejournal.judging.tasks import Task

ON = datetime(2026, 11, 25, 9, tzinfo=UTC)
WEIGH = CalendarTask(
    "UJ-9", "Mõdu, “Śweet” & мёд; x", ON - timedelta(days=30), Task("weigh", ON + timedelta(days=3), "Weigh", "why")
)
ZONE = timezone(timedelta(hours=2))


def events(tasks, on=ON):
    data = calendar_ics(tasks, on=on, zone=ZONE, software="curejournal 0.1.0", title="Cure")
    read = vobject.readOne(data.decode())
    read.validate()
    return read, getattr(read, "vevent_list", [])


def test_an_independent_parser_reads_what_was_written():
    read, (event,) = events([WEIGH])
    assert read.version.value == "2.0"
    assert event.dtstart.value == date(2026, 11, 28)
    assert event.dtend.value == date(2026, 11, 29)
    assert event.summary.value == "UJ-9 Mõdu, “Śweet” & мёд; x: Weigh"
    assert event.description.value == "Why."


def test_it_rings_in_the_morning_of_its_day_and_not_for_what_was_due_before():
    """RFC 5545, 3.6.6: an alarm that is displayed has an action, a trigger and a description."""
    _, (event,) = events([WEIGH])
    assert event.valarm.action.value == "DISPLAY"
    assert event.valarm.trigger.value == timedelta(hours=8)  # from the start of the day
    assert event.valarm.description.value == event.summary.value
    _, (late,) = events([replace(WEIGH, due=replace(WEIGH.due, when=ON - timedelta(days=2)))])
    assert "valarm" not in late.contents


def test_lines_are_folded_at_75_octets_and_end_in_crlf():
    """RFC 5545, 3.1."""
    long = replace(WEIGH, due=replace(WEIGH.due, why="ä" * 300))
    data = calendar_ics([long], on=ON, zone=ZONE, software="x", title="t")
    assert data.endswith(b"END:VCALENDAR\r\n")
    assert all(len(line) <= 75 for line in data.split(b"\r\n"))
    assert events([long])[1][0].description.value == "Ä" + "ä" * 299 + "."


def test_a_later_export_moves_the_same_event_instead_of_adding_one():
    later = replace(WEIGH, due=replace(WEIGH.due, when=ON + timedelta(days=10), why="another reason"))
    _, (first,) = events([WEIGH])
    _, (second,) = events([later], on=ON + timedelta(hours=1))
    assert first.uid.value == second.uid.value
    assert int(second.sequence.value) > int(first.sequence.value)
    assert int(second.sequence.value) < 2**31


@pytest.mark.parametrize(
    "other",
    [
        replace(WEIGH, code="UJ-10"),
        replace(WEIGH, started_at=ON),
        replace(WEIGH, due=replace(WEIGH.due, what="test")),
        replace(WEIGH, due=replace(WEIGH.due, words="Photograph cream with the card")),
    ],
)
def test_other_tasks_have_other_ids(other):
    assert task_uid(other) != task_uid(WEIGH)


def test_one_thing_to_do_for_two_reasons_is_one_event_with_both():
    """RFC 5545, 3.8.4.7: a UID is of one event; programs would show but one of two."""
    decide = replace(WEIGH, due=Task("decide", ON, "Decide whether it stays on sale", "a high pH"))
    _, (event, other) = events([decide, WEIGH, replace(decide, due=replace(decide.due, why="a lye pocket"))])
    assert event.description.value == "A high pH. A lye pocket."
    assert other.uid.value != event.uid.value


def test_what_is_overdue_stands_at_today_and_says_since_when():
    overdue = replace(WEIGH, due=replace(WEIGH.due, when=ON - timedelta(days=4)))
    _, (event,) = events([overdue])
    assert event.dtstart.value == date(2026, 11, 25)
    assert "Due since 21 Nov 2026" in event.description.value


def test_the_day_is_that_of_the_journals_zone():
    late = replace(WEIGH, due=replace(WEIGH.due, when=datetime(2026, 11, 27, 22, 30, tzinfo=UTC)))
    assert events([late])[1][0].dtstart.value == date(2026, 11, 28)


def test_an_empty_calendar_is_a_calendar():
    assert events([])[1] == []
