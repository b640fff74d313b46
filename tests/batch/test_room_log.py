"""Files of room loggers are read right, however odd. All of them are written for this test; each is a habit seen in
exports of loggers and spreadsheets [common practice, no source]."""

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest

from curejournal.batch.room_log import LogUnreadable, read_room_file, summary

LISBON = ZoneInfo("Europe/Lisbon")
PLUS_2 = timezone(timedelta(hours=2))

# name: bytes, (first time, °C, %), (last time, °C, %), how many
ODD = {
    "plain, ISO times, commas": (
        b"time,temperature,humidity\n2026-03-01T08:00:00,18.5,61\n2026-03-01T09:00:00,19.0,60\n",
        (datetime(2026, 3, 1, 8, tzinfo=LISBON), 18.5, 61.0),
        (datetime(2026, 3, 1, 9, tzinfo=LISBON), 19.0, 60.0),
        2,
    ),
    "semicolons, decimal commas, German, day and clock apart, cp1252": (
        (
            "Datum;Uhrzeit;Temperatur [°C];Rel. Feuchte [%]\n01.03.2026;08:00;18,5;61,2\n01.03.2026;20:30;19,0;60,0\n"
        ).encode("cp1252"),
        (datetime(2026, 3, 1, 8, tzinfo=LISBON), 18.5, 61.2),
        (datetime(2026, 3, 1, 20, 30, tzinfo=LISBON), 19.0, 60.0),
        2,
    ),
    "UTF-16, tabs, Fahrenheit in the header, AM and PM, months first": (
        "Date Time\tTemperature(°F)\tHumidity(%)\n3/13/2026 8:05 AM\t68.0\t55\n3/13/2026 1:05 PM\t77.0\t50\n".encode(
            "utf-16"
        ),
        (datetime(2026, 3, 13, 8, 5, tzinfo=LISBON), 20.0, 55.0),
        (datetime(2026, 3, 13, 13, 5, tzinfo=LISBON), 25.0, 50.0),
        2,
    ),
    "a head of ten lines about the device": (
        b"Device;cellar 2\nSerial;00017\nInterval;60 min\n\nAlarm high;30\nAlarm low;5\n\n"
        b"No.;Time;T C;RH %;Dew point C\n"
        b"1;2026-03-01 00:00:00;12.1;70;6.7\n2;2026-03-01 01:00:00;12.0;71;6.8\n3;2026-03-01 02:00:00;11.9;71;6.7\n",
        (datetime(2026, 3, 1, 0, tzinfo=LISBON), 12.1, 70.0),
        (datetime(2026, 3, 1, 2, tzinfo=LISBON), 11.9, 71.0),
        3,
    ),
    "units in every cell, quoted decimal commas": (
        b'"Timestamp","Temperature","Relative Humidity"\n"2026-03-01 08:00","21,4 C","48,5 %"\n'
        b'"2026-03-01 08:10","21,6 C","48,0 %"\n',
        (datetime(2026, 3, 1, 8, tzinfo=LISBON), 21.4, 48.5),
        (datetime(2026, 3, 1, 8, 10, tzinfo=LISBON), 21.6, 48.0),
        2,
    ),
    "seconds since 1970": (
        b"timestamp,temp_c,humidity\n1772352000,18.5,61\n1772355600,18.6,62\n",
        (datetime(2026, 3, 1, 8, tzinfo=UTC), 18.5, 61.0),
        (datetime(2026, 3, 1, 9, tzinfo=UTC), 18.6, 62.0),
        2,
    ),
    "its own zone in the header": (
        b"Date/Time (UTC+2);Temp (C);Hum\n2026-03-01 10:00;18.5;61\n2026-03-01 11:00;18.6;62\n",
        (datetime(2026, 3, 1, 10, tzinfo=PLUS_2), 18.5, 61.0),
        (datetime(2026, 3, 1, 11, tzinfo=PLUS_2), 18.6, 62.0),
        2,
    ),
    "days first with slashes, told by the order of the lines": (
        b"Fecha,Temperatura C,Humedad\n01/03/2026 08:00,18.5,61\n02/03/2026 08:00,18.6,62\n03/03/2026 08:00,18.7,63\n",
        (datetime(2026, 3, 1, 8, tzinfo=LISBON), 18.5, 61.0),
        (datetime(2026, 3, 3, 8, tzinfo=LISBON), 18.7, 63.0),
        3,
    ),
    "newest first, twice the same line, a fault and an empty value": (
        b"sep=;\nTime;Temperature C;Humidity\n2026-03-01 10:00;18.7;63\n2026-03-01 09:00;;62\n2026-03-01 09:30;999;--\n"
        b"2026-03-01 08:00;18.5;61\n2026-03-01 08:00;18.5;61\nend of log\n",
        (datetime(2026, 3, 1, 8, tzinfo=LISBON), 18.5, 61.0),
        (datetime(2026, 3, 1, 10, tzinfo=LISBON), 18.7, 63.0),
        3,
    ),
    "a spreadsheet's day numbers, humidity alone": (
        b"Date;Humidity %\n46082,333333;61\n46082,375;62\n",
        (datetime(2026, 3, 1, 8, tzinfo=LISBON), None, 61.0),
        (datetime(2026, 3, 1, 9, tzinfo=LISBON), None, 62.0),
        2,
    ),
}


def test_there_are_ten_odd_files():
    assert len(ODD) == 10


@pytest.mark.parametrize("name", ODD)
def test_an_odd_file_is_read_right(name):
    data, first, last, count = ODD[name]
    found = read_room_file(data, LISBON)
    assert found.questions == ()
    assert len(found.readings) == count
    for reading, (at, warm, damp) in zip((found.readings[0], found.readings[-1]), (first, last), strict=True):
        assert reading.at == at
        assert reading.temperature_c == (None if warm is None else pytest.approx(warm))
        assert reading.humidity_pct == (None if damp is None else pytest.approx(damp))
    assert f"{count} readings" in summary(found)


def test_fahrenheit_without_a_word_is_asked_about_and_read_by_the_answer():
    data = b"time,temperature,humidity\n2026-03-01T08:00:00,68,61\n2026-03-01T09:00:00,70,60\n"
    asked = read_room_file(data, LISBON)
    assert [question.about for question in asked.questions] == ["unit"]
    assert "half of the temperatures are above 68:" in asked.questions[0].text, "of two, one is"
    assert asked.notes == ("The file names no time zone: Europe/Lisbon is taken.",)
    told = read_room_file(data, LISBON, unit="°F")
    assert told.questions == () and told.readings[0].temperature_c == pytest.approx(20.0)
    with pytest.raises(LogUnreadable):
        read_room_file(b"time,temperature\n2026-03-01T08:00:00,68\n", LISBON, unit="°C")


def test_a_day_that_may_be_a_month_is_asked_about():
    data = b"date,temp C\n03/04/2026 08:00,18.5\n03/04/2026 09:00,18.6\n"
    assert [question.about for question in read_room_file(data, LISBON).questions] == ["day first"]
    assert read_room_file(data, LISBON, day_first=False).readings[0].at.month == 3
    assert read_room_file(data, LISBON, day_first=True).readings[0].at.month == 4


@pytest.mark.parametrize(
    "data", [b"", b"hello", b"a,b\n1,2\n", b"time,temperature\nnever,warm\n", bytes(range(256)) * 20]
)
def test_what_is_no_log_is_refused_with_what_to_do(data):
    with pytest.raises(LogUnreadable) as refused:
        read_room_file(data, LISBON)
    assert refused.value.do
