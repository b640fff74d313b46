"""The phone's time zone is taken at first, and asked about when it is another; what is due has one date everywhere."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import vobject

from curejournal import workflow
from curejournal.batch.records import Event, ScalarReading
from curejournal.documents import drying_charts
from curejournal.journal.store import Journal
from curejournal.ui.forms import entry
from curejournal.ui.state import phone_zone
from curejournal.workflow.documents.papers import calendar_file
from curejournal.workflow.settings import settings_of
from tests.command import run_command
from tests.ui.pages import app, section, text_of

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
        ics = vobject.readOne(calendar_file(journal, now, BERLIN).decode())
    days = {when.date() for when in due}
    assert days
    said = text_of(app("today"))
    for day in days:
        assert f"{day.day} {day:%b} {day.year}" in said
    assert days <= {event.dtstart.value for event in ics.vevent_list}
    # The terminal's own zone is another: the journal's counts.
    environment = {"CUREJOURNAL_JOURNAL": str(empty), "TZ": "America/New_York", "COLUMNS": "200"}
    listed = run_command("batch", "due", environment=environment).stdout
    for day in days:
        assert f"{day.day} {day:%b} {day.year}" in listed


def test_an_entry_from_before_a_change_of_zone_keeps_its_own_clock_and_says_so(small: Path) -> None:
    tokyo, lisbon = ZoneInfo("Asia/Tokyo"), ZoneInfo("Europe/Lisbon")
    at = datetime(2026, 11, 20, 18, 5, tzinfo=tokyo)
    with Journal.open(small) as journal:
        workflow.keep_settings(journal, zone="Asia/Tokyo")
        kept, _ = workflow.enter(journal, "B-1", ScalarReading("room temperature", 18.5), at=at, by="Ann", now=at)
        workflow.keep_settings(journal, zone="Europe/Lisbon")
        read = next(entry for entry in journal.batch("B-1").entries if entry.id == kept.id)
    assert read.at == at and read.at.utcoffset() == timedelta(hours=9), "moment and clock are as they were entered"
    touched = section("B-1", "History").button(key=f"touch-history-{kept.id}")
    assert "20 Nov 2026, 18:05 (UTC+9)" in touched.label.replace("\\", "")
    assert at.astimezone(lisbon).hour == 9, "put right without another time it keeps its moment"
    form = touched.click().run()
    form.number_input(key=f"correct-{kept.id}-room temperature").set_value(19.0)
    form.button(key=f"correct-{kept.id}-save").click().run()
    with Journal.open(small) as journal:
        (now,) = [entry for entry in journal.batch("B-1").entries if entry.supersedes == kept.id]
    assert now.at == at


def test_charts_keep_the_order_of_an_hour_that_comes_twice(empty: Path) -> None:
    """Read 40 minutes after each other, by the clock 20 minutes before."""
    readings = [(datetime(2026, 10, 25, 2, 30, tzinfo=BERLIN, fold=0), 31.0)]
    readings += [(datetime(2026, 10, 25, 2, 10, tzinfo=BERLIN, fold=1), 30.0)]
    with Journal.open(empty) as journal:
        workflow.keep_settings(journal, zone="Europe/Berlin")
        start, now = readings[0][0] - timedelta(days=1), readings[1][0] + timedelta(hours=1)
        workflow.start_batch(journal, "B-1", "Plain", at=start, by="Ann", now=now, records=[])
        workflow.enter(journal, "B-1", Event("poured"), at=start, by="Ann", now=now)
        for at, celsius in readings:
            workflow.enter(journal, "B-1", ScalarReading("room temperature", celsius), at=at, by="Ann", now=now)
        (figure,) = drying_charts.room_figures(journal.batch("B-1"))
    (rows,) = {json.dumps(found) for found in _rows_of(figure.chart.to_dict())}
    values = sorted(json.loads(rows), key=lambda row: row["days"])
    assert [row["value"] for row in values] == [31.0, 30.0]
    assert round(1440 * (values[1]["days"] - values[0]["days"])) == 40


def _rows_of(spec: Any) -> Iterator[list[dict[str, Any]]]:
    """The rows with moments, wherever a chart has them."""
    if isinstance(spec, dict):
        if isinstance(rows := spec.get("values"), list) and rows and isinstance(rows[0], dict) and "when" in rows[0]:
            yield rows
        spec = list(spec.values())
    for inner in spec if isinstance(spec, list) else ():
        yield from _rows_of(inner)
