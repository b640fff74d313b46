"""What a journal is told once: the time zone that its days and clocks are in, and whose it is."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, field, fields
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any, get_type_hints
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import TypeAdapter, ValidationError

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.journal.store import Journal
from curejournal.journal.text import plain_text
from curejournal.judging.limits import Limits, LimitTooLoose


@dataclass(frozen=True)
class RecipeRules:
    """The limits of all batches of a recipe, those alone that differ from the workshop's, and why."""

    limits: Mapping[str, float]
    why: str


@dataclass(frozen=True)
class Settings:
    """All that a journal is told once; the metadata of a field is the name under which it is kept.

    `time_zone` is a name of the IANA database, empty for that of the computer; `zone_declined` that of a phone that
    was asked about and not taken; `place` the name that papers bear; `rules_of_recipes` are by the recipe's name in
    lower case; `habits` are the units, dates and language of those who read; `people` those who entered something on
    this computer, the last one first; `scale_step_g` is the step of the scale that was used last; `calendar_stands_at`
    is the day on which the calendar of the demo stands still.
    """

    time_zone: str = field(default="", metadata={msg("kept as"): msg("time zone")})
    place: str = field(default="", metadata={msg("kept as"): "place"})
    house_rules: Limits = field(default_factory=Limits, metadata={msg("kept as"): msg("house rules")})
    rules_of_recipes: Mapping[str, RecipeRules] = field(
        default_factory=dict, metadata={msg("kept as"): msg("rules of recipes")}
    )
    habits: Mapping[str, str] = field(default_factory=dict, metadata={msg("kept as"): "habits"})
    people: tuple[str, ...] = field(default=(), metadata={msg("kept as"): "people"})
    backup_folder: str = field(default="", metadata={msg("kept as"): msg("backup folder")})
    calendar_stands_at: datetime | None = field(default=None, metadata={msg("kept as"): msg("calendar stands at")})
    scale_step_g: float | None = field(default=None, metadata={msg("kept as"): msg("scale step")})
    zone_declined: str = field(default="", metadata={msg("kept as"): msg("time zone declined")})


KEPT_AS: dict[str, str] = {one.name: one.metadata["kept as"] for one in fields(Settings)}
_FIELDS = {one.name: TypeAdapter(get_type_hints(Settings)[one.name]) for one in fields(Settings)}


def settings_of(journal: Journal) -> Settings:
    """A journal's settings; those that were never set, or that this version cannot read, as usual."""
    kept, found = journal.settings(), {}
    for name, said in KEPT_AS.items():
        with suppress(ValidationError, LimitTooLoose):
            if said in kept:
                found[name] = _FIELDS[name].validate_python(kept[said])
    return Settings(**found)


def change_settings(journal: Journal, **changes: Any) -> None:
    """Set fields of `Settings` by their names, all of them or none; earlier values stay in the history."""
    journal.set_settings(as_kept(**changes))


def as_kept(**changes: Any) -> dict[str, Any]:
    """Give fields of `Settings` as a journal keeps them, by the names under which it does."""
    return {KEPT_AS[name]: _FIELDS[name].dump_python(value, mode="json") for name, value in changes.items()}


def set_recipe_rules(journal: Journal, recipe: str, rules: RecipeRules) -> None:
    """Set the limits of one recipe; what another window sets for others meanwhile stays."""
    journal.set_in(KEPT_AS["rules_of_recipes"], recipe, asdict(rules))


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
        return msg("that of this computer")


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
        raise ZoneUnknown(
            msg("There is no time zone “{name}”.", name=name), msg("Write it as Europe/Lisbon.")
        ) from fault


def time_zone(journal: Journal) -> tzinfo:
    """A journal's time zone: the one that is set, or else that of this computer."""
    name = settings_of(journal).time_zone
    return zone_named(name) if name else HERE


def place(journal: Journal) -> str:
    """The name that papers and portfolios bear: of a workshop, a stall, a person. Empty if none is set."""
    return settings_of(journal).place


def keep_settings(
    journal: Journal,
    *,
    zone: str | None = None,
    name: str | None = None,
    rules: Limits | None = None,
    habits: Mapping[str, str] | None = None,
) -> None:
    """Set the time zone, the name that papers bear, the house rules and habits, those that are given: all or none.

    An empty zone is that of the computer; what was entered keeps the clock it was entered by.

    Raises
    ------
    ZoneUnknown, EntryRefused
    """
    if zone:
        zone_named(zone)
    named = name and name.strip() and plain_text(name, "name", 120)
    asked = {"time_zone": zone, "place": named, "house_rules": rules, "habits": habits}
    change_settings(journal, **{setting: value for setting, value in asked.items() if value is not None})


def calendar(journal: Journal, now: datetime) -> datetime:
    """What day it is in this journal: today, save in the demo, whose calendar stands still.

    There it moves on by a minute after what was entered last, so that no two acts share a moment.
    """
    stands_at = settings_of(journal).calendar_stands_at
    if stands_at is None:
        return now
    entered = (head.last_entry_at + timedelta(minutes=1) for head in journal.batches() if head.last_entry_at)
    return max([stands_at, *entered]).astimezone(stands_at.tzinfo)
