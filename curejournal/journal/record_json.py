"""Records as JSON text and back, refused unless they come back equal."""

from __future__ import annotations

from functools import cache
from typing import Any

from pydantic import ConfigDict, TypeAdapter, ValidationError
from pydantic_core import PydanticSerializationError

from curejournal.batch.records import RECORDS, Record
from curejournal.journal.errors import EntryRefused, RecordUnreadable

KIND_OF: dict[type[Record], str] = {record: kind for kind, record in RECORDS.items()}
"""The name under which a type of record is kept."""


@cache
def _adapter(kind: str) -> TypeAdapter[tuple[Record]]:
    # pydantic takes no config for a plain dataclass; through a tuple of one it reaches every nested one.
    one: Any = tuple.__class_getitem__(RECORDS[kind])
    return TypeAdapter(one, config=ConfigDict(extra="forbid", allow_inf_nan=False))


def kind_of(record: Record) -> str:
    """The name under which a record is kept."""
    try:
        return KIND_OF[type(record)]
    except KeyError:
        raise EntryRefused(f"The journal keeps no {type(record).__name__}.") from None


def to_json(record: Record) -> str:
    """A record as JSON text.

    Raises
    ------
    EntryRefused
        If a field has the wrong type or a number is not finite, so that it would not read back as it is.
    """
    kind = kind_of(record)
    try:
        text = _adapter(kind).dump_json((record,), warnings=False)[1:-1].decode()
        same = from_json(kind, text) == record
    except (PydanticSerializationError, RecordUnreadable) as error:
        raise EntryRefused(
            f"This {kind} cannot be kept: {error}", "Check its numbers and words, then enter it again."
        ) from error
    if not same:
        raise EntryRefused(f"This {kind} cannot be kept: it would not read back as it is.")
    return text


def from_json(kind: str, text: str) -> Record:
    """The record of a kind from its JSON text.

    Raises
    ------
    RecordUnreadable
        If the kind or a field is unknown, as in a journal from a newer version.
    """
    if kind not in RECORDS:
        raise RecordUnreadable(
            f"The journal holds an entry of the kind '{kind}', which this version does not know.",
            "Install the newer version that wrote it.",
        )
    try:
        return _adapter(kind).validate_json(f"[{text}]")[0]
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        where = ".".join(str(part) for part in fault["loc"][1:]) or "as a whole"
        raise RecordUnreadable(
            f"An entry of the kind '{kind}' cannot be read ({where}: {fault['msg']}).",
            "If a newer version wrote it, install that one; otherwise run a check of the journal.",
        ) from error
