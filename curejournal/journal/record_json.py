"""Records as JSON text and back, refused unless they come back equal."""

from __future__ import annotations

import json
from collections.abc import Sequence
from functools import cache
from typing import Any

from pydantic import ConfigDict, TypeAdapter, ValidationError
from pydantic_core import PydanticSerializationError

from curejournal.base.bounds import EVIDENCE_CHARACTERS, LARGEST_NUMBER, LIST_LENGTH, TEXT_CHARACTERS
from curejournal.base.messages import msg
from curejournal.base.strings import unfit_in, visible
from curejournal.batch.records import RECORDS, Decision, Record
from curejournal.journal.errors import EntryRefused, RecordUnreadable
from curejournal.judging.limits import edition_of

KIND_OF: dict[type[Record], str] = {record: kind for kind, record in RECORDS.items()}
"""The name under which a type of record is kept."""

RENAMED_FIELDS: dict[str, dict[str, str]] = {
    "portion": {f"intended_{field}": f"target_{field}" for field in ("lab", "source", "from", "card", "sd")},
}
"""By kind: the names that fields had in earlier versions, and what they are called now.

A field within another is written with its way there: `{"recipe": {"oils.sv": "oils.certificate_sv"}}`. What was
kept under an old name is read for ever; what is written has the new one.
"""


@cache
def _adapter(kind: str) -> TypeAdapter[tuple[Record]]:
    # pydantic takes no config for a plain dataclass; through a tuple of one it reaches every nested one.
    one: Any = tuple.__class_getitem__(RECORDS[kind])
    return TypeAdapter(one, config=ConfigDict(extra="forbid", allow_inf_nan=False))


def with_new_names(kind: str, plain: Any) -> Any:
    """The plain fields of a record, those of earlier versions under the names of today."""
    for old, new in RENAMED_FIELDS.get(kind, {}).items():
        _rename(plain, old.split("."), new.split("."))
    return plain


def _rename(plain: Any, old: Sequence[str], new: Sequence[str]) -> None:
    if isinstance(plain, list):
        for one in plain:
            _rename(one, old, new)
    elif isinstance(plain, dict) and old[0] in plain:
        if len(old) > 1:
            _rename(plain[old[0]], old[1:], new[1:])
        elif new[0] not in plain:
            plain[new[0]] = plain.pop(old[0])


def columns_of_record(record: Record) -> dict[str, Any]:
    """What stands in columns of its own, too, since it is searched for: of a signed act, and of whom it concerns."""
    signed = record if isinstance(record, Decision) else None
    return {
        "act": signed and signed.act,
        "edition": signed and edition_of(signed.rules_version)[:80],
        "contact_id": getattr(record, "contact", None),
    }


def kind_name(kind: Any) -> str:
    """The name under which a type of record is kept."""
    return KIND_OF[kind]


def kind_of(record: Record) -> str:
    """The name under which a record is kept."""
    try:
        return KIND_OF[type(record)]
    except KeyError:
        raise EntryRefused(msg("The journal keeps no {name}.", name=type(record).__name__)) from None


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
            msg("This {kind} cannot be kept: {error}", kind=kind, error=error),
            msg("Check its numbers and words, then enter it again."),
        ) from error
    if not same:
        raise EntryRefused(msg("This {kind} cannot be kept: it would not read back as it is.", kind=kind))
    refuse_beyond(kind, json.loads(text))
    return text


def refuse_beyond(kind: str, value: Any, where: str = "") -> None:
    """Refuse text, numbers and lists beyond `base.bounds`, and characters that no page should show.

    Raises
    ------
    EntryRefused
    """
    if isinstance(value, dict):
        for name, one in value.items():
            refuse_beyond(kind, one, name)
    elif isinstance(value, list | tuple):
        _refuse_if(
            len(value) > LIST_LENGTH,
            kind,
            where,
            msg("has {value} items; the most is {list_length}", value=len(value), list_length=LIST_LENGTH),
        )
        for one in value:
            refuse_beyond(kind, one, where)
    elif isinstance(value, str):
        most = EVIDENCE_CHARACTERS if where == "evidence" else TEXT_CHARACTERS
        _refuse_if(
            len(value) > most,
            kind,
            where,
            msg("has {value} characters; the most is {most}", value=len(value), most=most),
        )
        shown = visible(unfit_in(value))
        _refuse_if(
            bool(shown),
            kind,
            where,
            msg("has a character that cannot be seen or turns the text around: {shown}", shown=shown),
        )
    elif isinstance(value, (int, float)):
        _refuse_if(
            abs(value) > LARGEST_NUMBER,
            kind,
            where,
            msg("is {value:g}; the most is {largest_number:g}", value=value, largest_number=LARGEST_NUMBER),
        )


def _refuse_if(wrong: bool, kind: str, where: str, why: str) -> None:
    if wrong:
        raise EntryRefused(
            msg(
                "This {kind} cannot be kept: its {replace} {why}.", kind=kind, replace=where.replace("_", " "), why=why
            ),
            msg("Correct it."),
        )


def from_json(kind: str, text: str) -> Record:
    """The record of a kind from its JSON text.

    Raises
    ------
    RecordUnreadable
        If the kind or a field is unknown, as in a journal from a newer version.
    """
    if kind not in RECORDS:
        raise RecordUnreadable(
            msg("The journal holds an entry of the kind '{kind}', which this version does not know.", kind=kind),
            msg("Install the newer version that wrote it."),
        )
    try:
        if kind in RENAMED_FIELDS:
            text = json.dumps(with_new_names(kind, json.loads(text)))
        return _adapter(kind).validate_json(f"[{text}]")[0]
    except (ValidationError, ValueError, RecursionError) as error:
        where, why = msg("as a whole"), str(error)
        if isinstance(error, ValidationError):
            fault = error.errors(include_url=False)[0]
            where, why = ".".join(str(part) for part in fault["loc"][1:]) or where, fault["msg"]
        raise RecordUnreadable(
            msg("An entry of the kind '{kind}' cannot be read ({where}: {why}).", kind=kind, where=where, why=why),
            msg("If a newer version wrote it, install that one; otherwise run a check of the journal."),
        ) from error
