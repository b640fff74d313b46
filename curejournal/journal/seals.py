"""A hash of each row, and the chain of all hashes: what was changed or taken out by any means is found.

A row's hash is SHA-256 over its columns as they are stored, those without a value left out, so that a column which a
later version adds does not change it. The chain of the n-th row is SHA-256 over the chain before it and the row's
hash; the last one, the head, stands for everything up to it. A chain shows order, not completeness: whoever cuts off
its end leaves a shorter one that is sound, and only a head that was printed tells of it.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from itertools import islice
from typing import Any

from sqlalchemy import Connection, Table, select

from curejournal.journal import tables
from curejournal.journal.stored import stored_rows

START = "0" * 64
"""The chain before the first row."""
HEAD = re.compile("[0-9a-f]{12,64}")
"""A head as it is printed, or as much of it."""
BLANKED = frozenset({"name", "details", "salt"})
"""What may be blanked in a contact; its hash goes without, and has their hash instead."""
# Rows sealed at once (ours: bounds the memory, and is large enough that the round trips do not count).
_CHUNK = 1000


def row_hash(table: str, row: Mapping[str, Any]) -> str:
    """The hash of a row, from its columns as they are stored or as they are about to be."""
    left_out = BLANKED if table == "contact" else frozenset[str]()
    held = {name: _stored(value) for name, value in row.items() if value is not None and name not in left_out}
    text = json.dumps([table, held], sort_keys=True, separators=(",", ":"), default=_odd)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def _stored(value: Any) -> Any:
    if not isinstance(value, datetime):
        return value
    plain = value if value.tzinfo is None else value.astimezone(UTC).replace(tzinfo=None)
    return plain.isoformat(sep=" ", timespec="microseconds")


def _odd(value: Any) -> dict[str, str]:
    # No column of ours holds bytes; where one does, by damage, it is not the text of the same letters.
    return {"bytes": bytes(value).hex()}


def link(chain: str, hash_of_row: str) -> str:
    """The chain after one more row."""
    return hashlib.sha256(f"{chain}{hash_of_row}".encode("utf-8", "surrogatepass")).hexdigest()


def key_of(table: Table) -> str:
    """The name of a table's only key column."""
    (column,) = table.primary_key.columns
    return column.name


def head(connection: Connection) -> str:
    """The chain after the last row that was sealed."""
    last = select(tables.seal.c.chain).order_by(tables.seal.c.id.desc()).limit(1)
    return connection.scalar(last) or START


def shown_head(head: str) -> str:
    """A head as it is printed: its first 16 characters, in fours. That two journals share them is out of the question
    unless somebody sets out to make them so.
    """
    return " ".join(head[start : start + 4] for start in range(0, 16, 4))


def put(connection: Connection, table: Table, row: dict[str, Any]) -> Any:
    """Add a row with its seal and return its key."""
    key = connection.execute(table.insert().values(row).returning(*table.primary_key)).scalar_one()
    hashed = row_hash(table.name, {**row, key_of(table): key})
    values = {"table_name": table.name, "row_key": str(key), "row_hash": hashed}
    connection.execute(tables.seal.insert().values(**values, chain=link(head(connection), hashed)))
    return key


def seal_rows(connection: Connection) -> None:
    """Seal every row of a database in which no row is sealed yet."""
    chain = START
    for table in tables.SEALED:
        rows = stored_rows(connection, table)
        while some := list(islice(rows, _CHUNK)):
            made = []
            for key, row in some:
                hashed = row_hash(table.name, row)
                chain = link(chain, hashed)
                made.append({"table_name": table.name, "row_key": str(key), "row_hash": hashed, "chain": chain})
            connection.execute(tables.seal.insert(), made)


def chain_breaks(connection: Connection) -> Iterator[int]:
    """The numbers of the seals that do not follow from the one before."""
    chain = START
    for key, seal in stored_rows(connection, tables.seal):
        if seal["chain"] != link(chain, seal["row_hash"]):
            yield key
        chain = seal["chain"]
