"""Days, ages, figures and colours as a maker reads them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from curejournal.colour.difference import Interval
from curejournal.colour.spaces import lab_from_srgb
from curejournal.documents import formatting

DAY = datetime(2026, 12, 3, 14, 5, tzinfo=UTC)


def test_a_day_is_written_so_that_no_country_misreads_it() -> None:
    assert formatting.day(DAY) == "3 Dec 2026"
    assert formatting.moment(DAY) == "3 Dec 2026, 14:05"


@pytest.mark.parametrize(
    ("taken", "said"),
    [
        ("Asia/Tokyo", "3 Dec 2026, 23:05 (UTC+9)"),
        ("Asia/Kolkata", "3 Dec 2026, 19:35 (UTC+5:30)"),
        ("America/St_Johns", "3 Dec 2026, 10:35 (UTC\u22123:30)"),
        ("UTC", "3 Dec 2026, 14:05"),
        ("Europe/Lisbon", "3 Dec 2026, 14:05"),
        ("Europe/Tallinn", "3 Dec 2026, 16:05 (UTC+2)"),
    ],
)
def test_another_zones_clock_says_how_far_it_is_from_utc(taken: str, said: str) -> None:
    """Offsets of the time zone database (IANA); Lisbon's clock is that of UTC in winter."""
    at = DAY.astimezone(ZoneInfo(taken))
    assert formatting.moment(at, ZoneInfo("Europe/Lisbon")) == said
    assert formatting.moment(at.replace(tzinfo=timezone(at.utcoffset())), ZoneInfo("Europe/Lisbon")) == said


def test_summer_time_of_the_readers_own_zone_is_no_other_zone() -> None:
    zone, summer = ZoneInfo("Europe/Tallinn"), datetime(2026, 7, 1, 9, tzinfo=UTC)
    assert formatting.moment(summer.astimezone(zone), zone) == "1 Jul 2026, 12:00"
    assert formatting.moment(summer, zone) == "1 Jul 2026, 09:00 (UTC)"
    assert formatting.moment(summer.astimezone(zone)) == "1 Jul 2026, 12:00", "nobody said whose clock it is read by"


@pytest.mark.parametrize(
    ("span", "words"),
    [
        (timedelta(minutes=30), "30 minutes"),
        (timedelta(hours=1), "1 hour"),
        (timedelta(hours=47), "47 hours"),
        (timedelta(days=2), "2 days"),
        (timedelta(days=13, hours=20), "13 days"),
        (timedelta(days=14), "2 weeks"),
        (timedelta(days=22), "3 weeks 1 day"),
    ],
)
def test_an_age_is_told_in_the_unit_that_a_maker_would_use(span: timedelta, words: str) -> None:
    assert formatting.age(DAY - span, DAY) == words


def test_an_open_end_of_an_interval_is_said() -> None:
    later = DAY + timedelta(days=9)
    assert formatting.span((DAY, later)) == "3 Dec 2026 to 12 Dec 2026"
    assert formatting.span((DAY, DAY.replace(hour=20))) == "3 Dec 2026"
    assert formatting.span((DAY, None)) == "3 Dec 2026 or later"
    assert formatting.span((None, later)) == "by 12 Dec 2026"
    assert formatting.span((None, None)) == "no date can be named"


def test_a_figure_carries_its_interval() -> None:
    assert formatting.figure(Interval(4.13, 3.0, 5.44)) == "4.1 (3.0 to 5.4)"


def test_a_colour_carries_half_its_interval_and_no_minus_zero() -> None:
    assert (
        formatting.lab_with_doubt((71.24, -0.04, 28.8), (1.0, 0.5, 0.9)) == "L* 71.2 ± 2.0, a* 0.0 ± 1.0, b* 28.8 ± 1.8"
    )


def test_a_colour_is_shown_as_the_nearest_screen_colour() -> None:
    assert formatting.hex_colour((100.0, 0.0, 0.0)) == "#ffffff"  # the white of IEC 61966-2-1 and of CIELAB D50 alike
    red = formatting.hex_colour((54.29, 80.81, 69.89))  # sRGB red in CIELAB D50 [from memory: Lindbloom's calculator]
    assert red == "#ff0000"
    round_trip = formatting.hex_colour(tuple(float(v) for v in lab_from_srgb(np.array([0x8C, 0x6A, 0x3F]) / 255)))
    assert round_trip == "#8c6a3f"


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (6e-12, "% NaOH", "below 0.001% NaOH"),
        (0.0, "%", "0%"),
        (-6e-12, "%", "0%"),
        (0.1264, "% NaOH", "0.126% NaOH"),
        (28.04, "days", "28\u00a0days"),
        (-3.21, "%", "\u22123.21%"),
    ],
)
def test_a_tiny_figure_is_below_the_smallest_that_matters(value: float, unit: str, said: str) -> None:
    assert formatting.value_with_unit(value, unit) == said
