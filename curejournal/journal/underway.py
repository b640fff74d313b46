"""Which batches there are, and which are under way: those whose last word is not a signed release.

Told from the last entry of each batch alone, so that it takes no longer the more has been released.
"""

from __future__ import annotations

from dataclasses import dataclass
from threading import Lock

from sqlalchemy import Connection, case, func, select

from curejournal.batch.records import BarsOut, Renamed, Withdrawn
from curejournal.journal.record_json import KIND_OF
from curejournal.journal.rows import OF_A_BATCH, new_names
from curejournal.journal.tables import batch as batch_table
from curejournal.journal.tables import entry as entry_table
from curejournal.judging.limits import RULES_EDITION


@dataclass(frozen=True)
class Touched:
    """A batch and the number of the last entry made in it: while that stays, nothing in the batch has changed."""

    code: str
    last_entry: int


class Underway:
    """Kept up to date by what is new, as a journal only grows and its writers come one after the other."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._last_id = 0
        self._touched: dict[int, int] = {}
        self._released: set[int] = set()
        self._otherwise: set[int] = set()
        self._renamed_until = 0
        self._new_names: dict[int, str] = {}

    def read(self, connection: Connection, otherwise: bool = False) -> tuple[Touched, ...]:
        """The batches under way, those without an entry and the one touched last first; or those released otherwise:
        under another edition of the rules than today's.
        """
        with self._lock:
            self._learn(connection)
            heads = select(batch_table.c.id, batch_table.c.code)
            found = [
                Touched(code, self._touched.get(number, 0))
                for number, code in connection.execute(heads)
                if (number in self._otherwise if otherwise else number not in self._released)
            ]
        return tuple(sorted(found, key=lambda one: (one.last_entry > 0, -one.last_entry, one.code)))

    def names(self, connection: Connection) -> dict[str, str]:
        """The name of each batch by its code, the latest started first."""
        with self._lock:
            last = connection.scalar(select(func.max(entry_table.c.id))) or 0
            # Another name comes only with an entry that gives or takes back one.
            renames = select(entry_table.c.id).where(entry_table.c.kind.in_([KIND_OF[Renamed], KIND_OF[Withdrawn]]))
            if self._renamed_until:
                # Not the first time: of all entries SQLite would read each, where the index of kinds tells it sooner.
                renames = renames.where(entry_table.c.id > self._renamed_until)
            if connection.scalar(renames.limit(1)) is not None:
                self._new_names = new_names(connection)
            self._renamed_until = last
            query = select(batch_table.c.id, batch_table.c.code, batch_table.c.name)
            query = query.order_by(batch_table.c.started_at_utc.desc(), batch_table.c.id.desc())
            return {code: self._new_names.get(number, name) for number, code, name in connection.execute(query)}

    def _learn(self, connection: Connection) -> None:
        # Bars that leave a released batch do not open it again.
        last_word = func.max(case((entry_table.c.kind != KIND_OF[BarsOut], entry_table.c.id)))
        new = select(entry_table.c.batch_id, func.max(entry_table.c.id).label("last"), last_word.label("word"))
        new = new.where(entry_table.c.id > self._last_id, OF_A_BATCH).group_by(entry_table.c.batch_id)
        each = new.subquery()
        marks = _IS_RELEASE.label("released"), _BY_THESE_RULES.label("by_these_rules")
        query = select(each, *marks).outerjoin(entry_table, entry_table.c.id == each.c.word)
        for row in connection.execute(query):
            self._touched[row.batch_id] = row.last
            self._last_id = max(self._last_id, row.last)
            if row.word is not None:
                self._released.discard(row.batch_id)
                self._otherwise.discard(row.batch_id)
            if row.released:
                self._released.add(row.batch_id)
                if not row.by_these_rules:
                    self._otherwise.add(row.batch_id)


_BY_THESE_RULES = entry_table.c.edition == RULES_EDITION
_IS_RELEASE = entry_table.c.act == "release"
