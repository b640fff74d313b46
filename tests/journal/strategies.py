"""Records of every kind, drawn from their own dataclasses."""

from __future__ import annotations

import dataclasses
import types
import typing
from datetime import UTC, date, datetime
from typing import Any

from hypothesis import strategies as st

from curejournal.batch.records import RECORDS

# What may be kept: anything but control characters, lone surrogates, separators and what turns text around.
TURNING = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
FIT = st.characters(exclude_categories=["Cs", "Cc", "Zl", "Zp"], exclude_characters=TURNING)
TEXT = st.text(FIT | st.sampled_from("\t\n\r"), max_size=30)
NUMBER = st.floats(-1e12, 1e12)


def drawn(kind: type) -> st.SearchStrategy:
    """A strategy for a type as the records use it."""
    origin, inside = typing.get_origin(kind), typing.get_args(kind)
    if dataclasses.is_dataclass(kind):
        hints = typing.get_type_hints(kind)
        return st.builds(kind, **{name: drawn(hint) for name, hint in hints.items()})
    if origin is tuple and inside[-1] is Ellipsis:
        return st.lists(drawn(inside[0]), max_size=3).map(tuple)
    if origin is tuple:
        return st.tuples(*map(drawn, inside))
    if origin is typing.Literal:
        return st.sampled_from(inside)
    if origin in {typing.Union, types.UnionType}:
        return st.one_of(*map(drawn, inside))
    return {
        str: TEXT,
        float: NUMBER,
        int: st.integers(-(10**12), 10**12),
        bool: st.booleans(),
        type(None): st.none(),
        date: st.dates(date(1900, 1, 1)),
        datetime: st.datetimes(datetime(1900, 1, 1), timezones=st.just(UTC)),
    }[kind]


def records(kind: str) -> st.SearchStrategy:
    """Records of one kind of `RECORDS`; of nobody, as a contact is kept in a call of its own."""
    return drawn(RECORDS[kind]).map(_of_nobody)


def _of_nobody(record: Any) -> Any:
    optional = getattr(type(record), "contact", 0) is None
    return dataclasses.replace(record, contact=None) if optional else record
