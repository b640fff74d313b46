"""What the commands share: their options, and reading what was typed."""

from __future__ import annotations

import getpass
import json
import math
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta, tzinfo
from datetime import time as clock_time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, cast, get_args

import platformdirs
import typer

from curejournal import workflow
from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg, msg_n
from curejournal.cli.commands import DATABASE_URL
from curejournal.cli.speech import speak_as_in, tell, tell_all
from curejournal.workflow import documents

if TYPE_CHECKING:  # each command loads what it needs and no more
    from curejournal.batch.plausibility import Doubt
    from curejournal.batch.records import Entry, Portion, Record
    from curejournal.colour.sample import Lab
    from curejournal.journal.store import Journal
    from curejournal.judging.limits import Limits
    from curejournal.soap.recipe import Recipe
    from curejournal.workflow import Points
    from curejournal.workflow.photos import Clock

NO_COLOUR = 3
PAPERS = ("a4", "letter")
DATA = Path(platformdirs.user_data_path("curejournal"))

JournalAt = Annotated[
    Path,
    typer.Option("--journal", envvar="CUREJOURNAL_JOURNAL", help="The journal's folder.", show_default=False),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object.")]
By = Annotated[str, typer.Option("--by", envvar="CUREJOURNAL_BY", help="Who enters this.")]
At = Annotated[str | None, typer.Option("--at", help="When it happened, 2026-10-03T14:30; now if left out.")]
Confirmed = Annotated[bool, typer.Option("--confirmed", help="Keep an unlikely value that was asked about.")]
Code = Annotated[str, typer.Argument(help="The batch's code.")]
Statement = Annotated[str, typer.Option("--statement", help="What you sign, in your words.")]
DEFAULT_JOURNAL = DATA / "journal"


def _own_name() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):  # a container's user may have no name
        return "unnamed"


ME = _own_name()


class Mistyped(CureJournalError):
    """A value on the command line that cannot be read."""


def open_journal(folder: Path) -> Journal:
    """The journal of a folder; where that is no good place for it, this is said beside the answer."""
    from curejournal.journal.store import Journal

    journal = Journal.open(folder, url=os.environ.get(DATABASE_URL) or None)
    speak_as_in(journal)
    for risk in journal.risks():
        tell(msg("Careful: {risk}", risk=risk), to=sys.stderr)
    return journal


def now_of(journal: Journal) -> datetime:
    """What time it is in a journal."""
    return workflow.calendar(journal, datetime.now(workflow.time_zone(journal)))


DAYS_END, DAYS_BEGINNING = clock_time(23, 59), clock_time.min


def moment_of(text: str, zone: tzinfo, of_day: clock_time = DAYS_END) -> datetime:
    """A moment as typed; a day without a time is its end, so that the whole day counts, or `of_day`."""
    try:
        moment = datetime.fromisoformat(text)
        if len(text) <= 10:
            moment = datetime.combine(moment.date(), of_day)
        moment = moment if moment.tzinfo else moment.replace(tzinfo=zone)
        moment.astimezone(UTC)  # the first and last days of the calendar are not in it everywhere
    except (ValueError, OverflowError) as fault:
        raise Mistyped(msg("“{text}” is not a valid date.", text=text), msg("Write it as 2026-10-03T14:30.")) from fault
    return moment


def days_of(days: float) -> timedelta:
    """A span of time as typed."""
    try:
        return timedelta(days=days)
    except (ValueError, OverflowError) as fault:
        raise Mistyped(
            msg("{days:g} is not a valid number of days.", days=days), msg("Give a number that can be.")
        ) from fault


def when_of(text: str, journal: Journal, of_day: clock_time = DAYS_END) -> datetime:
    """A moment as typed, in a journal's zone; of the day that it is there, what has passed of it."""
    moment, now = moment_of(text, workflow.time_zone(journal), of_day), now_of(journal)
    return min(moment, now) if text == f"{now:%Y-%m-%d}" else moment


def clock_for(journal: Journal, zone: str | None, behind_minutes: float) -> Clock:
    """A camera's clock as typed."""
    from curejournal.workflow.photos import Clock

    where = workflow.zone_named(zone) if zone else workflow.time_zone(journal)
    return Clock(where, days_of(behind_minutes / 1440))


def photo_of(journal: Journal, beginning: str) -> str:
    """A kept photo by the beginning of its hash."""
    found = journal.photos_named(beginning.lower())
    if len(found) != 1 or len(beginning) < 4:
        raise Mistyped(
            msg(
                "{count} found beginning with “{beginning}”.",
                count=msg_n("{number} photo", "{number} photos", len(found)),
                beginning=beginning,
            ),
            msg("Give more of the hash; the inbox shows it."),
        )
    return found[0].sha256


@contextmanager
def after(kept: str) -> Iterator[None]:
    """A refusal within says what was kept before it, if anything was."""
    try:
        yield
    except CureJournalError as fault:
        if not kept:
            raise
        raise fault.after(kept) from fault


def write_file(path: Path, data: bytes) -> None:
    """Write a file, or say why not."""
    try:
        path.write_bytes(data)
    except OSError as fault:
        raise Mistyped(
            msg("{path} cannot be written ({strerror}).", path=path, strerror=fault.strerror),
            msg("Choose another place."),
        ) from fault


def bytes_of(path: Path) -> bytes:
    """A file's bytes, or why it cannot be read."""
    try:
        return path.read_bytes()
    except OSError as fault:
        raise Mistyped(
            msg("The file {path} cannot be read ({strerror}).", path=path, strerror=fault.strerror),
            msg("Check the name and try again."),
        ) from fault


def text_of(path: Path) -> str:
    """A file's text, or why it cannot be read."""
    try:
        return bytes_of(path).decode("utf-8")
    except UnicodeDecodeError as fault:
        raise Mistyped(
            msg("The file {path} is not a text file (UTF-8).", path=path), msg("Choose the right file.")
        ) from fault


def card_of(name: str, journal: Path) -> workflow.Card:
    """A card by name, or from a file."""
    if name.endswith(".toml"):
        return workflow.find_card(text_of(Path(name)) + "\n")
    if has_journal(journal):
        with open_journal(journal) as kept:
            return workflow.find_card(name, kept)
    return workflow.find_card(name)


def has_journal(folder: Path) -> bool:
    """Whether there is a journal."""
    return (folder / "journal.sqlite").is_file() or bool(os.environ.get(DATABASE_URL))


def numbers_of(text: str, count: int, example: str) -> tuple[float, ...]:
    """So many numbers with commas between."""
    try:
        numbers = tuple(float(part) for part in text.split(","))
    except ValueError:
        numbers = ()
    if len(numbers) != count or not all(map(math.isfinite, numbers)):
        raise Mistyped(msg("“{text}” cannot be read.", text=text), msg("Write it as {example}.", example=example))
    return numbers


def corners_of(text: str | None) -> list[tuple[float, float]] | None:
    """A card's corners as typed."""
    if text is None:
        return None
    points = [numbers_of(part, 2, '"x,y x,y x,y x,y"') for part in text.split()]
    return [(x, y) for x, y in points]


AREA_EXAMPLE = '"NAME=x0,y0,x1,y1", or an outline as "NAME=x,y x,y x,y"'


def areas_of(texts: list[str] | None) -> dict[str, Points] | None:
    """Areas as typed, by name: boxes by two corners, or outlines of three corners and more."""
    if not texts:
        return None
    areas: dict[str, Points] = {}
    for text in texts:
        name, _, numbers = text.rpartition("=")
        if not name or name in areas:
            raise Mistyped(
                msg("“{text}” cannot be read, or its name comes twice.", text=text),
                msg("Write it as {example}.", example=AREA_EXAMPLE),
            )
        corners = numbers.split()
        if len(corners) == 1:
            x0, y0, x1, y1 = numbers_of(numbers, 4, AREA_EXAMPLE)
            areas[name] = workflow.outline_of((x0, y0, x1, y1))
        elif len(corners) == 2:
            raise Mistyped(
                msg("“{text}” has two corners only.", text=text), msg("Write it as {example}.", example=AREA_EXAMPLE)
            )
        else:
            areas[name] = tuple((x, y) for x, y in (numbers_of(corner, 2, AREA_EXAMPLE) for corner in corners))
    return areas


def portions_of(texts: Sequence[str], controls: Sequence[str], tolerance: float) -> list[Portion]:
    """Portions as typed, controls that are not among them last."""
    from curejournal.batch.records import Portion

    found: dict[str, Portion] = {}
    for text in texts:
        before, equals, lab = text.rpartition("=")
        name = before if equals else text
        found[name] = Portion(name, len(found), tolerance=tolerance)
        if equals:
            found[name] = replace(found[name], target_lab=lab_of(lab), target_source="swatch")
    for name in controls:
        found[name] = replace(found.get(name) or Portion(name, len(found), tolerance=tolerance), control=True)
    return list(found.values())


def lab_of(text: str) -> Lab:
    """A colour as typed."""
    lightness, a, b = numbers_of(text, 3, '"L,a,b"')
    return lightness, a, b


def one_of(text: str, choices: object) -> str:
    """One of several words."""
    known = get_args(choices)
    if text not in known:
        raise Mistyped(
            msg("“{text}” is not known here.", text=text), msg("Use one of {known}.", known=", ".join(known))
        )
    return text


def rules_of(texts: Sequence[str], now: Limits) -> Limits:
    """House rules with the limits as typed."""
    changed: dict[str, float] = {}
    for text in texts:
        name, _, number = text.partition("=")
        one_of(name, Literal[*(limit.name for limit in fields(now))])
        (changed[name],) = numbers_of(number, 1, '"min_age_days=35"')
    return replace(now, **changed)


def paper_of(text: str) -> workflow.Paper:
    """A size of paper as typed."""
    if text not in PAPERS:
        raise Mistyped(msg("There is no paper “{text}” here.", text=text), msg("Use --paper a4 or --paper letter."))
    return cast("workflow.Paper", text)


def layout_of(text: str) -> documents.Layout:
    """A portfolio's layout as typed."""
    if text not in documents.LAYOUTS:
        raise Mistyped(f"There is no layout “{text}” here.", f"Use one of: {', '.join(documents.LAYOUTS)}.")
    return cast("documents.Layout", text)


def recipe_of(path: Path) -> Recipe:
    """A recipe from its file."""
    forms: dict[str, Literal["json", "csv"]] = {".json": "json", ".csv": "csv"}
    return documents.recipe_in(text_of(path).lstrip("\ufeff"), forms.get(path.suffix.lower(), "toml"))


@contextmanager
def confirmable() -> Iterator[None]:
    """What is asked about says how it is confirmed."""
    try:
        yield
    except workflow.ReadingDoubtful as asked:
        raise workflow.ReadingDoubtful(asked.what, msg("{do} If it is right, add --confirmed.", do=asked.do)) from asked


def say_entries(code: str, entries: Sequence[Entry], doubts: Sequence[Doubt], as_json: bool) -> None:
    """Say what was kept, each entry in a line."""
    from curejournal.batch.descriptions import describe

    if as_json:
        told = {"entries": [workflow.as_json(entry) for entry in entries]}
        print_json(told | {"doubts": [workflow.as_json(doubt) for doubt in doubts]})
    else:
        tell_all(msg("{code}: {record}", code=code, record=describe(entry.record)) for entry in entries)


def enter_record(
    journal: Path, code: str, record: Record, at: str | None, by: str, confirmed: bool, as_json: bool
) -> None:
    """Enter a record and say so."""
    from curejournal.batch.descriptions import describe
    from curejournal.batch.records import Event

    with open_journal(journal) as kept, confirmable():
        now = now_of(kept)
        # A day without a time may hold photos of what was poured on it.
        poured = isinstance(record, Event) and record.kind == "poured"
        moment = when_of(at, kept, DAYS_BEGINNING if poured else DAYS_END) if at else now
        entry, doubts = workflow.enter(kept, code, record, at=moment, by=by, now=now, confirmed=confirmed)
    if as_json:
        print_json({"entry": workflow.as_json(entry), "doubts": [workflow.as_json(doubt) for doubt in doubts]})
    else:
        tell(msg("{code}: {record}", code=code, record=describe(record)))


def print_json(value: Any) -> None:
    """Print one JSON value."""
    print(json.dumps(value, ensure_ascii=False, indent=2, allow_nan=False))
