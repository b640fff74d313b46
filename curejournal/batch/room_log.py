"""Files of room loggers: any columns, delimiter, decimal sign, unit and clock, as far as they can be told."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from itertools import pairwise
from typing import Literal

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import Day, join, msg, msg_n, quantity
from curejournal.batch.kinds import KINDS

Unit = Literal["°C", "°F"]
MOST_BYTES = 50_000_000
"""A year of one reading a minute is about 20 MB. Chosen by us, because what is larger is hardly a logger's file."""
WARMEST_ROOM_C = 38.0
"""Up to here figures without a unit are taken as °C: as °F they would be a room at 3 °C. Chosen by us."""

_TIME = ("timestamp", "datetime", "date", "time", "zeit", "uhrzeit", "datum", "fecha", "hora", "heure", "data", "ora")
_CLOCK = ("time", "zeit", "uhrzeit", "hora", "heure", "ora")
_DAY = ("date", "datum", "fecha", "data")
_WARM = ("temp", "celsius", "fahrenheit", "°c", "°f", "ºc", "ºf")
_DAMP = ("hum", "feucht", "umid", "rh", "r.h", "rel.")
_NEITHER = ("dew", "taupunkt", "rocío", "rosée", "vpd", "max", "min", "avg", "heat", "index", "alarm")


class LogUnreadable(CureJournalError):
    """A file holds no room readings that can be told."""


@dataclass(frozen=True)
class RoomReading:
    """Temperature (°C) and relative humidity (%) of the room at one time; None where the file has none."""

    at: datetime
    temperature_c: float | None
    humidity_pct: float | None


@dataclass(frozen=True)
class Question:
    """What a file leaves open: *unit* (°C or °F) or *day first* (yes or no), and what speaks for asking."""

    about: Literal["unit", "day first"]
    text: str


@dataclass(frozen=True)
class RoomFile:
    """What was read, to be looked at before it is kept.

    `questions` have to be answered first, by reading it again with the answers: until then `readings` are a guess.
    `notes` say what was taken for granted, `left_out` how many lines held nothing that can be.
    """

    readings: tuple[RoomReading, ...]
    questions: tuple[Question, ...]
    notes: tuple[str, ...]
    left_out: int


def read_room_file(data: bytes, zone: tzinfo, *, unit: Unit | None = None, day_first: bool | None = None) -> RoomFile:
    """Read a logger's file.

    Parameters
    ----------
    data : bytes
        As it came.
    zone : tzinfo
        That of the logger's clock, for times without an offset.
    unit : str, optional
        The unit of its temperatures, if the file does not say it.
    day_first : bool, optional
        Whether 3/4 is the third of April, if the file does not tell.

    Returns
    -------
    RoomFile

    Raises
    ------
    LogUnreadable
        With what to do.

    """
    if len(data) > MOST_BYTES:
        raise LogUnreadable(msg("This file is far too large for a room logger's."), msg("Export fewer months at once."))
    rows = _rows(_text(data))
    head, body = _head(rows)
    columns = _columns(head)
    decimal_comma = _decimal_comma(body, columns)
    stamps = [join(" ", (row[place].strip() for place in columns.time if place < len(row))) for row in body]
    told_first, first_question = _day_first(stamps, day_first)
    clock = _clock(stamps, head, columns, zone, told_first)
    notes: list[str] = [] if clock[1] is None else [clock[1]]
    readings: list[RoomReading] = []
    left_out = 0
    for row, stamp in zip(body, stamps, strict=True):
        at = clock[0](stamp)
        warm, damp = (_number(row, place, decimal_comma) for place in (columns.warm, columns.damp))
        if at is None or (warm is None and damp is None):
            left_out += any(cell.strip() for cell in row)
            continue
        readings.append(RoomReading(at, warm, damp))
    warm_unit, unit_question, unit_note = _unit(head, body, columns, readings, unit)
    notes += [unit_note] if unit_note else []
    kept, impossible = _possible(readings, warm_unit)
    if not kept:
        raise LogUnreadable(
            msg("No line of this file holds a time with a possible temperature or humidity."),
            msg("Open it in a spreadsheet: it needs a column of times, and one of temperature or humidity."),
        )
    questions = tuple(one for one in (unit_question, first_question) if one is not None)
    return RoomFile(kept, questions, tuple(notes), left_out + impossible)


# --- lines and columns -----------------------------------------------------------------


def _text(data: bytes) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _rows(text: str) -> list[list[str]]:
    lines = [line for line in text.replace("\r\n", "\n").replace("\r", "\n").split("\n") if line.strip()]
    if lines and lines[0].lower().startswith("sep="):
        lines = lines[1:]
    sample = lines[-50:]
    # The delimiter that cuts most of the last lines, which are data, into as many parts as the others.
    best = max("\t;|,", key=lambda sign: (_alike([line.count(sign) for line in sample]), sign in "\t;|"))
    try:
        return list(csv.reader(io.StringIO("\n".join(lines)), delimiter=best, skipinitialspace=True))
    except csv.Error as fault:
        raise LogUnreadable(
            msg("This file cannot be read as a table ({fault}).", fault=fault), msg("Export it as CSV and try again.")
        ) from fault


def _alike(counts: Sequence[int]) -> int:
    usual = max(set(counts), key=counts.count, default=0) if counts else 0
    return counts.count(usual) if usual else 0


@dataclass(frozen=True)
class _Columns:
    time: tuple[int, ...]
    warm: int | None
    damp: int | None


def _head(rows: list[list[str]]) -> tuple[list[str], list[list[str]]]:
    """The line that names the columns, and all after it."""
    for number, row in enumerate(rows[:60]):
        names = [cell.strip().lower() for cell in row]
        measured = any(_is(name, _WARM) or _is(name, _DAMP) for name in names)
        if len(row) > 1 and measured and any(_is(name, _TIME) for name in names):
            return names, rows[number + 1 :]
    raise LogUnreadable(
        msg("No line of this file names a time and a temperature or humidity."),
        msg("Add a first line such as: time, temperature °C, humidity %."),
    )


def _is(name: str, words: Sequence[str]) -> bool:
    if words is _WARM and re.match(r"t\W*[cf]\b", name):  # "T C", "t [°C]"
        return True
    return any(re.search(rf"\b{re.escape(word)}" if word.isalpha() else re.escape(word), name) for word in words)


def _columns(head: Sequence[str]) -> _Columns:
    def first(words: Sequence[str], others: Sequence[str] = ()) -> int | None:
        fits = [place for place, name in enumerate(head) if _is(name, words) and not _is(name, others)]
        return fits[0] if fits else None

    damp = first(_DAMP, (*_NEITHER, *_WARM))
    warm = first(_WARM, _NEITHER)
    measured = {warm, damp}
    times = [place for place, name in enumerate(head) if _is(name, _TIME) and place not in measured]
    day = next((place for place in times if _is(head[place], _DAY) and not _is(head[place], _CLOCK)), None)
    clock = next((place for place in times if _is(head[place], _CLOCK) and not _is(head[place], _DAY)), None)
    whole = [place for place in times if place not in (day, clock)]
    if whole:
        return _Columns((whole[0],), warm, damp)
    return _Columns(tuple(place for place in (day, clock) if place is not None), warm, damp)


# --- numbers and units -----------------------------------------------------------------


def _decimal_comma(body: Sequence[Sequence[str]], columns: _Columns) -> bool:
    cells = [
        row[place]
        for row in body[:500]
        for place in (columns.warm, columns.damp)
        if place is not None and place < len(row)
    ]
    return sum("," in cell for cell in cells) > sum("." in cell for cell in cells)


def _number(row: Sequence[str], place: int | None, decimal_comma: bool) -> float | None:
    if place is None or place >= len(row):
        return None
    found = re.search(r"[-\u2212]?\d+(?:[.,]\d+)?", row[place])
    if found is None:
        return None
    text = found.group().replace("\u2212", "-")
    return float(text.replace(",", ".") if decimal_comma else text.replace(",", ""))


def _unit(
    head: Sequence[str],
    body: Sequence[Sequence[str]],
    columns: _Columns,
    readings: Sequence[RoomReading],
    answered: Unit | None,
) -> tuple[Unit, Question | None, str]:
    """The unit of the temperatures, what has to be asked about it, and what was taken for granted."""
    if columns.warm is None:
        return "°C", None, ""
    if answered is not None:
        return answered, None, ""
    cells = join(" ", (row[columns.warm] for row in body[:20] if columns.warm < len(row))).lower()
    name = head[columns.warm]
    for said in (name, cells):
        if re.search(r"[°º]\s*f|\bf\b|fahrenheit|\d\s*f\b", said):
            return "°F", None, ""
        if re.search(r"[°º]\s*c|\bc\b|celsius|\d\s*c\b", said):
            return "°C", None, ""
    warm = sorted(one.temperature_c for one in readings if one.temperature_c is not None)
    middle = warm[(len(warm) - 1) // 2] if warm else 0.0
    if middle <= WARMEST_ROOM_C:
        return "°C", None, msg("No unit is named: the temperatures are taken as °C.")
    text = msg("No unit is named, and half of the temperatures are above {middle:g}: are they °F?", middle=middle)
    return "°F", Question("unit", text), ""


def _possible(readings: Sequence[RoomReading], unit: Unit) -> tuple[tuple[RoomReading, ...], int]:
    """In order of time, each time once, in °C and within what a room can have; and how many were not."""
    warm_kind, damp_kind = KINDS["room temperature"], KINDS["room humidity"]
    kept: dict[datetime, RoomReading] = {}
    for one in readings:
        warm = one.temperature_c
        if warm is not None and unit == "°F":
            warm = round((warm - 32) / 1.8, 2)
        warm = warm if warm is not None and warm_kind.low <= warm <= warm_kind.high else None
        damp = one.humidity_pct
        damp = damp if damp is not None and damp_kind.low <= damp <= damp_kind.high else None
        if warm is not None or damp is not None:
            kept.setdefault(one.at, RoomReading(one.at, warm, damp))
    return tuple(kept[at] for at in sorted(kept)), len(readings) - len(kept)


# --- times -------------------------------------------------------------------------------

_NUMERIC = re.compile(r"^\s*(\d{1,4})[./-](\d{1,2})[./-](\d{2,4})(?:[ T,]+(.*))?$")


def _day_first(stamps: Sequence[str], answered: bool | None) -> tuple[bool, Question | None]:
    """Whether days come before months: told by a number above 12, by a dot, or by the order of the lines."""
    found = [(int(m[1]), int(m[2]), stamp) for stamp in stamps if (m := _NUMERIC.match(stamp)) and len(m[1]) < 3]
    if not found:
        return True, None
    if any(first > 12 for first, _, _ in found) or any("." in stamp.split()[0] for _, _, stamp in found):
        return True, None
    if any(second > 12 for _, second, _ in found):
        return False, None
    if answered is not None:
        return answered, None
    days = list(dict.fromkeys((first, second) for first, second, _ in found))
    # Along a log the day moves on faster than the month.
    moves = [sum(a[place] != b[place] for a, b in pairwise(days)) for place in (0, 1)]
    if moves[0] != moves[1]:
        return moves[0] > moves[1], None
    return True, Question(
        "day first", msg("Is {split} a day and then a month, or a month and then a day?", split=found[0][2].split()[0])
    )


Clock = Callable[[str], datetime | None]


def _clock(
    stamps: Sequence[str], head: Sequence[str], columns: _Columns, zone: tzinfo, day_first: bool
) -> tuple[Clock, str | None]:
    """What reads a time, and what was taken for granted about its zone."""
    named = join(" ", (head[place] for place in columns.time))
    offset = re.search(r"(?:utc|gmt)\s*([+-]\d{1,2})(?::?(\d{2}))?", named)
    if offset:
        minutes = int(offset[1]) * 60 + (int(offset[2] or 0) if not offset[1].startswith("-") else -int(offset[2] or 0))
        where: tzinfo = _fixed(minutes)
    elif re.search(r"\b(utc|gmt)\b", named):
        where = UTC
    else:
        where = zone

    def read(stamp: str) -> datetime | None:
        at = _moment(stamp.strip(), day_first)
        if at is None or at.tzinfo:
            return at
        return at.replace(tzinfo=where)

    has_offset = any((at := _moment(stamp.strip(), day_first)) is not None and at.tzinfo for stamp in stamps[:50])
    return read, None if has_offset or where is not zone else msg(
        "The file names no time zone: {zone} is taken.", zone=zone
    )


def _fixed(minutes: int) -> tzinfo:
    from datetime import timezone

    return timezone(timedelta(minutes=minutes))


def _moment(text: str, day_first: bool) -> datetime | None:
    if re.fullmatch(r"\d{10}(\.\d+)?|\d{13}", text):
        return datetime.fromtimestamp(float(text) / (1000 if len(text) == 13 else 1), UTC)
    if re.fullmatch(r"[345]\d{4}[.,]\d+", text):  # days since 30 December 1899, as spreadsheets count
        return datetime(1899, 12, 30) + timedelta(seconds=round(float(text.replace(",", ".")) * 86400))
    try:
        return datetime.fromisoformat(text.replace("/", "-") if re.match(r"\d{4}/", text) else text)
    except ValueError:
        pass
    found = _NUMERIC.match(text)
    if found is None:
        return None
    first, second, third, clock = found.groups()
    if len(first) == 4:
        year, month, day = int(first), int(second), int(third)
    else:
        day, month = (int(first), int(second)) if day_first else (int(second), int(first))
        year = int(third) + (2000 if len(third) == 2 else 0)
    return _with_clock(year, month, day, (clock or "").strip())


def _with_clock(year: int, month: int, day: int, clock: str) -> datetime | None:
    found = re.fullmatch(r"(\d{1,2})[:.h](\d{2})(?:[:.](\d{2}))?(?:[.,]\d+)?\s*([apAP]\.?[mM]\.?)?", clock)
    hour, minute, second = (int(part or 0) for part in found.groups()[:3]) if found else (0, 0, 0)
    if clock and found is None:
        return None
    if found and found[4]:
        hour = hour % 12 + (12 if found[4][0] in "pP" else 0)
    try:
        return datetime(year, month, day, hour, minute, second)
    except ValueError:
        return None


def summary(file: RoomFile) -> str:
    """What was read, in a sentence."""
    warm = [one.temperature_c for one in file.readings if one.temperature_c is not None]
    damp = [one.humidity_pct for one in file.readings if one.humidity_pct is not None]
    first, last = file.readings[0].at, file.readings[-1].at
    told = [
        msg(
            "{readings} from {first} to {last}",
            readings=msg_n("{number} reading", "{number} readings", len(file.readings)),
            first=Day(first),
            last=Day(last),
        )
    ]
    told += (
        [msg("{coldest:.1f} to {warmest}", coldest=min(warm), warmest=quantity(f"{max(warm):.1f}", "°C"))]
        if warm
        else []
    )
    told += (
        [msg("{driest:.0f} to {dampest:.0f} % relative humidity", driest=min(damp), dampest=max(damp))] if damp else []
    )
    told += (
        [msg("{left_out} left out", left_out=msg_n("{number} line", "{number} lines", file.left_out))]
        if file.left_out
        else []
    )
    return join("; ", told) + "."
