"""Every batch with its current entries, held in memory and kept up to date by what is new.

This is sound because the journal only grows and its writers come one after
the other: what was read once stays true, and every later entry has a higher number.
"""

from __future__ import annotations

from threading import Lock

from sqlalchemy import Connection, select

from curejournal.batch.records import Batch, Entry
from curejournal.journal.rows import OF_A_BATCH, WITHDRAWN, as_batch, as_entry
from curejournal.journal.tables import batch as batch_table
from curejournal.journal.tables import entry as entry_table


class CurrentBatches:
    """What all batches say now; the first reading takes the time, later ones only that of what is new."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._last_id = 0
        self._entries: dict[int, dict[int, Entry]] = {}
        self._batches: dict[int, Batch] = {}

    def read(self, connection: Connection) -> tuple[Batch, ...]:
        """Every batch in the order in which they were started."""
        with self._lock:
            new = select(entry_table).where(entry_table.c.id > self._last_id, OF_A_BATCH).order_by(entry_table.c.id)
            for row in connection.execute(new):
                entry = as_entry(row)
                entries = self._entries.setdefault(row.batch_id, {})
                entries.pop(row.supersedes, None)
                if row.kind != WITHDRAWN:
                    entries[entry.id] = entry
                self._batches.pop(row.batch_id, None)
                self._last_id = entry.id
            heads = select(batch_table).order_by(batch_table.c.started_at_utc, batch_table.c.id)
            return tuple(self._batch(row.id, row.code, row.name) for row in connection.execute(heads))

    def _batch(self, batch_id: int, code: str, name: str) -> Batch:
        if batch_id not in self._batches:
            entries = self._entries.get(batch_id, {}).values()
            in_time = sorted(entries, key=lambda entry: (entry.at, entry.id))
            self._batches[batch_id] = as_batch(code, name, tuple(in_time))
        return self._batches[batch_id]
