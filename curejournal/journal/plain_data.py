"""Everything of a journal as plain data, and a journal made of such data again.

`Contents` is the schema: JSON is its fields as they stand, the tables for
spreadsheets are in `spreadsheet`. The photos are beside it, as they lie in a journal.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import count
from typing import Annotated, Any, Protocol, TypeVar

from pydantic import AwareDatetime, ConfigDict, FailFast, Field, TypeAdapter, ValidationError
from sqlalchemy import Connection, Row, Table

from curejournal.base.bounds import IMPORT_HELD_BYTES
from curejournal.base.messages import msg
from curejournal.journal import tables
from curejournal.journal.copying import rows_of
from curejournal.journal.errors import DataRefused
from curejournal.journal.former_settings import entries_of_settings
from curejournal.journal.photos import TakenFrom
from curejournal.journal.record_json import with_new_names
from curejournal.journal.text import local

FORMAT = msg("curejournal data 2")
FORMER = msg("curejournal data 1")
"""The format of exports before entries of the workshop, contacts and presses; it is read as before."""

T = TypeVar("T")
Number = Annotated[int, Field(gt=0, lt=2**31)]


@dataclass(frozen=True)
class BatchRow:
    """A batch: when it started, who entered it, and when that was written down."""

    id: Number
    code: str
    name: str
    started_at: AwareDatetime
    by: str
    recorded_at: AwareDatetime


@dataclass(frozen=True)
class EntryRow:
    """An entry of the history. `supersedes` is the entry that it corrects, `photo` a photo's SHA-256.

    `batch` is a code, empty for the workshop itself. `press` is the key of the press that made it, `press_part` which
    of its entries this is, and `pressed_at` when that was by the clock of whoever pressed.
    """

    id: Number
    batch: str
    kind: str
    at: AwareDatetime
    by: str
    recorded_at: AwareDatetime
    supersedes: Number | None
    photo: str | None
    record: dict[str, Any]
    press: str | None = None
    press_part: Annotated[int, Field(ge=0, lt=2**31)] | None = None
    pressed_at: AwareDatetime | None = None


@dataclass(frozen=True)
class PhotoRow:
    """A photo, which lies at `photos/ab/abcd….jpg`; `width` and `height` in pixels, `size` in bytes."""

    sha256: str
    suffix: str
    size: Annotated[int, Field(gt=0, lt=2**63)]
    width: Number
    height: Number
    taken_at: AwareDatetime | None
    taken_from: TakenFrom | None
    original_name: str
    received_at: AwareDatetime


@dataclass(frozen=True)
class CardRow:
    """A definition of a card; the last of a name counts."""

    id: Number
    name: str
    copy_id: str
    toml: str
    added_at: AwareDatetime


@dataclass(frozen=True)
class SettingRow:
    """A value of a setting; the last of a name counts."""

    id: Number
    name: str
    value: Any
    set_at: AwareDatetime


@dataclass(frozen=True)
class ContactRow:
    """How somebody is called and reached, whom entries name by number; both are empty once erased.

    `first` is the number of the first row about the same person, if this one corrects it.
    """

    id: Number
    first: Number | None
    name: str
    details: str
    by: str
    recorded_at: AwareDatetime


@dataclass(frozen=True)
class Contents:
    """Everything of a journal but the photos' own bytes, each table in its order."""

    format: str
    batches: Annotated[tuple[BatchRow, ...], FailFast()]
    entries: Annotated[tuple[EntryRow, ...], FailFast()]
    photos: Annotated[tuple[PhotoRow, ...], FailFast()]
    cards: Annotated[tuple[CardRow, ...], FailFast()]
    settings: Annotated[tuple[SettingRow, ...], FailFast()]
    contacts: Annotated[tuple[ContactRow, ...], FailFast()] = ()


class Data(Protocol):
    """Everything of a journal but the photos' own bytes, to be gone through as often as is needed; `entries` by number.

    `Contents` holds it all at once. What is read from a database or a long file is read again each time.
    """

    @property
    def batches(self) -> Iterable[BatchRow]: ...  # noqa: D102
    @property
    def entries(self) -> Iterable[EntryRow]: ...  # noqa: D102
    @property
    def photos(self) -> Iterable[PhotoRow]: ...  # noqa: D102
    @property
    def cards(self) -> Iterable[CardRow]: ...  # noqa: D102
    @property
    def settings(self) -> Iterable[SettingRow]: ...  # noqa: D102
    @property
    def contacts(self) -> Iterable[ContactRow]: ...  # noqa: D102


class Again(Iterable[T]):
    """Rows that are read again each time they are iterated over.

    Parameters
    ----------
    read : callable
        Reads them.
    """

    def __init__(self, read: Callable[[], Iterator[T]]) -> None:
        self._read = read

    def __iter__(self) -> Iterator[T]:
        """Read them."""
        return self._read()


@dataclass(frozen=True)
class RowsAnew:
    """`Data` that is read again each time it is iterated over."""

    batches: Iterable[BatchRow]
    entries: Iterable[EntryRow]
    photos: Iterable[PhotoRow]
    cards: Iterable[CardRow]
    settings: Iterable[SettingRow]
    contacts: Iterable[ContactRow]


ROWS: dict[str, type[Any]] = {
    "batches": BatchRow,
    "entries": EntryRow,
    "photos": PhotoRow,
    "cards": CardRow,
    "settings": SettingRow,
    "contacts": ContactRow,
}
"""The rows of each table, in the order in which they are written."""

# pydantic takes no config for a plain dataclass; through a tuple of one it reaches every nested one.
_CONFIG = ConfigDict(extra="forbid", allow_inf_nan=False)
_STRICT: Any = TypeAdapter(tuple[Contents], config=_CONFIG)
_ROW: dict[str, Any] = {name: TypeAdapter(tuple[row], config=_CONFIG) for name, row in ROWS.items()}  # type: ignore[valid-type]


def contents(connection: Connection) -> RowsAnew:
    """Everything in a database, for as long as the connection stands."""
    codes = {row.id: row.code for row in rows_of(connection, tables.batch)}

    def rows(table: Table, made: Callable[[Any], Any]) -> Again[Any]:
        return Again(lambda: map(made, rows_of(connection, table)))

    return RowsAnew(
        rows(tables.batch, _batch_row),
        rows(tables.entry, lambda row: entry_row(row, codes)),
        rows(tables.photo, _photo_row),
        rows(tables.card, lambda r: CardRow(r.id, r.name, r.copy_id, r.toml, r.added_at_utc)),
        rows(tables.setting, lambda r: SettingRow(r.id, r.name, json.loads(r.value), r.set_at_utc)),
        rows(
            tables.contact,
            lambda r: ContactRow(r.id, r.first_id, r.name, r.details, r.author, r.recorded_at_utc),
        ),
    )


def _batch_row(row: Row[Any]) -> BatchRow:
    started_at = local(row.started_at_utc, row.started_at_offset_minutes)
    return BatchRow(row.id, row.code, row.name, started_at, row.author, row.recorded_at_utc)


def entry_row(row: Row[Any], codes: Mapping[int, str]) -> EntryRow:
    """An entry of a database as plain data, with the code of its batch."""
    return EntryRow(
        row.id,
        "" if row.batch_id is None else codes[row.batch_id],
        row.kind,
        local(row.at_utc, row.at_offset_minutes),
        row.author,
        row.recorded_at_utc,
        row.supersedes,
        row.photo_sha256,
        with_new_names(row.kind, json.loads(row.record)),
        row.press_key,
        row.press_part,
        local(row.pressed_at_utc, row.pressed_at_offset_minutes) if row.pressed_at_utc else None,
    )


def _photo_row(row: Row[Any]) -> PhotoRow:
    return PhotoRow(
        row.sha256,
        row.suffix,
        row.size,
        row.width,
        row.height,
        local(row.taken_at_utc, row.taken_at_offset_minutes) if row.taken_at_utc else None,
        row.taken_from,
        row.original_name,
        row.received_at_utc,
    )


def json_pieces(data: Data) -> Iterator[str]:
    """The data as JSON, piece by piece, a row at most in each."""
    yield f'{{\n "format": {json.dumps(FORMAT)}'
    for name in ROWS:
        between = f',\n "{name}": ['
        for row in getattr(data, name):
            text = _ROW[name].dump_json((row,), indent=1).decode()[2:-2]
            yield f"{between}\n " + text.replace("\n", "\n ")
            between = ","
        yield f"{between}]" if between != "," else "\n ]"
    yield "\n}\n"


def as_text(data: Data) -> str:
    """The data as JSON."""
    return "".join(json_pieces(data))


def plain_row(name: str, row: Any) -> dict[str, Any]:
    """A row of a table as it stands in JSON."""
    return dict(_ROW[name].dump_python((row,), mode="json")[0])


def row_from_text(name: str, text: str) -> Any:
    """A row of a table from its JSON.

    Raises
    ------
    DataRefused
    """
    try:
        return _ROW[name].validate_json(f"[{text}]")[0]
    except ValidationError as error:
        raise _refused_because(error, name) from error


def _refused_because(error: ValidationError, *within: str) -> DataRefused:
    fault = error.errors(include_url=False)[0]
    place = ".".join(map(str, (*within, *fault["loc"][1:]))) or "the file"
    return refused(msg("{place}: {fault}", place=place, fault=fault["msg"]))


def from_text(text: str) -> Contents:
    """The data from JSON.

    Raises
    ------
    DataRefused
    """
    try:
        data: Contents = _STRICT.validate_json(f"[{text}]")[0]
    except ValidationError as error:
        raise _refused_because(error) from error
    return settled(data)


def settled(data: Contents) -> Contents:
    """Data of any format as it is written today, its entries by number.

    Raises
    ------
    DataRefused
    """
    if data.format == FORMER:
        return _brought_up(data)
    refuse_other(data.format)
    return replace(data, entries=tuple(sorted(data.entries, key=lambda row: row.id)))


def held(data: Data, form: str = FORMAT) -> Contents:
    """Data as a whole."""
    return Contents(form, *(tuple(getattr(data, name)) for name in ROWS))


def refuse_to_hold(size: int) -> None:
    """Refuse data of so many bytes that has to be held as a whole, if that is too much.

    Raises
    ------
    DataRefused
    """
    if size > IMPORT_HELD_BYTES:
        raise refused(
            msg(
                "it is too long for data that an early version wrote, or whose entries are not in the order of their "
                "numbers"
            )
        )


def refuse_other(found: str) -> None:
    """Refuse data of another format."""
    if found != FORMAT:
        raise refused(
            msg("it says that its format is {found}, not {expected}", found=f"{found[:40]!r}", expected=f"{FORMAT!r}")
        )


def _brought_up(data: Contents) -> Contents:
    """Data of the former format as it is written today: what were settings is entered for the workshop."""
    rows = [(row.name, row.value, row.set_at) for row in data.settings]
    following = count(max((row.id for row in data.entries), default=0) + 1)
    try:
        made = tuple(
            EntryRow(
                next(following), "", one.kind, one.at, one.by, one.at, None, one.photo, one.record,
                one.press_key, 0 if one.press_key else None, one.at if one.press_key else None,
            )
            for one in entries_of_settings(rows, {photo.sha256 for photo in data.photos})
        )  # fmt: skip
    except (AttributeError, KeyError, TypeError) as error:
        raise refused(msg("a setting is not as this program wrote it")) from error
    return replace(data, format=FORMAT, entries=data.entries + made)


def json_schema() -> dict[str, Any]:
    """What `journal.json` may hold, as a JSON Schema (draft 2020-12)."""
    schema: dict[str, Any] = TypeAdapter(Contents, config=None).json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def refused(why: str) -> DataRefused:
    """The error for data that no journal can be made of."""
    return DataRefused(
        msg("This data cannot be made into a journal: {why}.", why=why),
        msg("Correct it and try again."),
        msg("Nothing was brought in, and no journal was changed."),
    )
