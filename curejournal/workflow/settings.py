"""What a journal is told once: the time zone that its days and clocks are in, and whose it is."""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, datetime, timedelta, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from curejournal.base.errors import CureJournalError
from curejournal.journal.store import Journal
from curejournal.journal.text import plain_text
from curejournal.judging.limits import Limits

ZONE, PLACE, RULES = "time zone", "place", "house rules"


class ZoneUnknown(CureJournalError):
    """No time zone has this name."""


class _Here(tzinfo):
    """The time zone of this computer, with its summer time as it is on the day that is asked about."""

    def utcoffset(self, dt: datetime | None) -> timedelta | None:
        return None if dt is None else dt.replace(tzinfo=None).astimezone().utcoffset()

    def tzname(self, dt: datetime | None) -> str | None:
        return None if dt is None else dt.replace(tzinfo=None).astimezone().tzname()

    def dst(self, dt: datetime | None) -> timedelta | None:
        return None

    def fromutc(self, dt: datetime) -> datetime:
        there = dt.replace(tzinfo=UTC).astimezone()
        here = there.replace(tzinfo=self)
        return here if here.utcoffset() == there.utcoffset() else here.replace(fold=1)

    def __str__(self) -> str:
        return "that of this computer"


HERE = _Here()


def zone_named(name: str) -> ZoneInfo:
    """A time zone by its name in the time zone database (IANA, RFC 6557).

    Raises
    ------
    ZoneUnknown
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as fault:
        raise ZoneUnknown(f"There is no time zone “{name}”.", "Write it as Europe/Lisbon.") from fault


def time_zone(journal: Journal) -> tzinfo:
    """A journal's time zone: the one that is set, or else that of this computer."""
    name = journal.setting(ZONE)
    return zone_named(name) if name else HERE


def place(journal: Journal) -> str:
    """The name that papers and portfolios bear: of a workshop, a stall, a person. Empty if none is set."""
    name: str = journal.setting(PLACE, "")
    return name


def keep_settings(
    journal: Journal, *, zone: str | None = None, name: str | None = None, rules: Limits | None = None
) -> None:
    """Set the time zone, the name that papers bear and the house rules, those that are given: all of them or none.

    An empty zone is that of the computer; what was entered keeps the clock it was entered by.

    Raises
    ------
    ZoneUnknown, EntryRefused
    """
    if zone:
        zone_named(zone)
    named = name and name.strip() and plain_text(name, "name", 120)
    asked = {ZONE: zone, PLACE: named, RULES: rules and asdict(rules)}
    journal.set_settings({setting: value for setting, value in asked.items() if value is not None})
