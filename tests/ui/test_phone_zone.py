"""The phone's time zone is taken at first, and asked about when it is another; what is due has one date everywhere."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest

from curejournal import workflow
from curejournal.batch.records import Event
from curejournal.journal.store import Journal
from curejournal.ui.forms import entry
from curejournal.ui.state import phone_zone
from curejournal.workflow.settings import settings_of
from tests.ui.pages import app, text_of

BERLIN = ZoneInfo("Europe/Berlin")


@pytest.fixture
def phone(monkeypatch: pytest.MonkeyPatch) -> SimpleNamespace:
    """A phone whose zone is set by what is tried."""
    found = SimpleNamespace(zone="Asia/Tokyo")
    monkeypatch.setattr(phone_zone, "phone_zone", lambda: ZoneInfo(found.zone))
    return found


def zone_of(folder: Path) -> str:
    with Journal.open(folder) as journal:
        return settings_of(journal).time_zone


def test_the_phones_zone_is_taken_at_first_use(empty: Path, phone: SimpleNamespace) -> None:
    assert not app("today").exception
    assert zone_of(empty) == "Asia/Tokyo"


@pytest.mark.parametrize(("answer", "zone"), [("zone-take", "Europe/Lisbon"), ("zone-stay", "Asia/Tokyo")])
def test_another_zone_is_asked_about_once(answer: str, zone: str, empty: Path, phone: SimpleNamespace) -> None:
    app("today")
    phone.zone = "Europe/Lisbon"
    at = app("today")
    assert "Which clock counts from now on?" in text_of(at)
    at.button(key=answer).click().run()
    assert not at.exception and zone_of(empty) == zone
    assert "Which clock" not in text_of(app("batches"))


def test_the_demos_calendar_keeps_its_zone(small: Path, phone: SimpleNamespace) -> None:
    assert "Which clock" not in text_of(app("today"))
    assert zone_of(small) == "UTC"


def test_an_hour_that_comes_twice_keeps_its_order() -> None:
    """Summer time ended in Berlin on 25 October 2026 at 01:00 UTC (directive 2000/84/EC)."""
    typed = datetime(2026, 10, 25, 2, 30)
    for now, offset in (("00:40", 2), ("01:40", 1)):
        clock = datetime.fromisoformat(f"2026-10-25T{now}:00+00:00").astimezone(BERLIN)
        kept = entry.in_zone(SimpleNamespace(zone=BERLIN, now=clock), typed)  # type: ignore[arg-type]
        assert kept <= clock and kept.utcoffset() == timedelta(hours=offset)
    assert datetime(2026, 10, 25, 0, 30, tzinfo=UTC) < kept, "the second 02:30 is after the first"


def test_what_is_due_has_one_date_in_app_and_calendar(empty: Path) -> None:
    """Poured soon after midnight in summer, it is due late in the evening before, in winter."""
    with Journal.open(empty) as journal:
        workflow.keep_settings(journal, zone="Europe/Berlin")
        now = datetime(2026, 10, 24, 12, 0, tzinfo=BERLIN)
        journal.set_setting("calendar stands at", now.isoformat())
        poured = datetime(2026, 10, 24, 0, 10, tzinfo=BERLIN)
        workflow.start_batch(journal, "B-1", "Plain", at=poured, by="Ann", now=now, records=[])
        workflow.enter(journal, "B-1", Event("poured"), at=poured, by="Ann", now=now)
        due = [item.when.astimezone(BERLIN) for _, item in workflow.due_now(journal, now) if item.when > now]
    assert due
    said = text_of(app("today"))
    for when in due:
        assert f"{when.day} {when:%b} {when.year}" in said
