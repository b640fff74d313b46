"""How days, ages, figures and colours are written wherever a maker reads them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, tzinfo
from typing import TYPE_CHECKING

from curejournal.base.counting import digits
from curejournal.base.messages import Day, join, msg, msg_n
from curejournal.colour.sample import Lab

if TYPE_CHECKING:
    from curejournal.colour.difference import Interval

DAY = timedelta(days=1)


def day(at: datetime) -> str:
    """3 Dec 2026."""
    return Day(at.date())


def day_of_month(at: datetime) -> str:
    """3 Dec."""
    return Day(at.date(), with_year=False)


def moment(at: datetime, zone: tzinfo | None = None) -> str:
    """3 Dec 2026, 14:05; with the reader's zone, a clock of another one says so: 3 Dec 2026, 14:05 (UTC+9)."""
    return msg("{day}, {time:%H:%M}{zone}", day=day(at), time=at, zone=offset(at, zone))


def offset(at: datetime, zone: tzinfo | None) -> str:
    """How far a moment's clock is from UTC, where the reader's zone has another then; empty where it is the same."""
    own = at.utcoffset()
    if own is None or zone is None or own == at.astimezone(zone).utcoffset():
        return ""
    hours, minutes = divmod(round(abs(own) / timedelta(minutes=1)), 60)
    if not own:
        return " (UTC)"
    sign = "\u2212" if own < timedelta(0) else "+"
    return f" (UTC{sign}{hours}{f':{minutes:02d}' if minutes else ''})"


def age(since: datetime, on: datetime) -> str:
    """A span in the unit that a maker would use: minutes, hours, days, or weeks and days."""
    hours = max((on - since) / timedelta(hours=1), 0.0)
    if hours < 1:
        return msg_n("{number} minute", "{number} minutes", int(60 * hours))
    if hours < 48:
        return msg_n("{number} hour", "{number} hours", int(hours))
    days = int(hours / 24)
    if days < 14:
        return msg_n("{number} day", "{number} days", days)
    weeks, rest = divmod(days, 7)
    return msg_n("{number} week", "{number} weeks", weeks) + (
        msg(" {rest}", rest=msg_n("{number} day", "{number} days", rest)) if rest else ""
    )


def span(interval: tuple[datetime | None, datetime | None]) -> str:
    """An interval of dates; an end that nobody knows is said so."""
    low, high = interval
    if low is None and high is None:
        return msg("no date can be named")
    if high is None:
        return msg("{low} or later", low=day(low)) if low else ""
    if low is not None and day(low) == day(high):
        return day(high)
    return msg("{low} to {high}", low=day(low), high=day(high)) if low else msg("by {high}", high=day(high))


SMALLEST = 0.001
"""Below this a figure of a check is said to be below it: no reading here tells more. Ours."""


def value_with_unit(value: float, unit: str) -> str:
    """28 days, 0.126% NaOH; below 0.001% NaOH."""
    apart = "" if unit.startswith("%") else "\u00a0"
    if 0 < value < SMALLEST:
        return msg("below {least}", least=f"{SMALLEST:g}{apart}" + unit)
    return digits(round(float(f"{value:.3g}"), 3)) + apart + unit


def figure(interval: Interval) -> str:
    """An estimate with its 95 % interval: 4.1 (3.0 to 5.4)."""
    middle, low, high = (digits(value, 1) for value in interval)
    return msg("{middle} ({low} to {high})", middle=middle, low=low, high=high)


def lab_with_doubt(lab: Lab, sd: Lab) -> str:
    """L* 71.2 ± 1.4, a* 3.0 ± 0.9, b* 28.8 ± 1.7, each with half its 95 % interval."""
    return join(
        ", ",
        (f"{axis}* {digits(value, 1)} ± {1.96 * one:.1f}" for axis, value, one in zip("Lab", lab, sd, strict=True)),
    )


def hex_colour(lab: Lab) -> str:
    """The sRGB hex colour nearest to a CIELAB D50 colour, for showing it."""
    from curejournal.colour.spaces import lab_to_srgb8

    return "#{:02x}{:02x}{:02x}".format(*map(int, lab_to_srgb8(lab)))


def calendar_day(at: datetime) -> int:
    """A moment by its own clock, in milliseconds as if that clock were UTC: what charts count their dates from."""
    return round(at.replace(tzinfo=UTC).timestamp() * 1000)
