"""What a journal says: its batches, entries, photos, cards, settings and contacts, each read in one transaction."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from types import TracebackType
from typing import Any, Self, cast

from sqlalchemy import Connection, Engine, Row, func, select

from curejournal.base.messages import msg
from curejournal.batch.records import Batch, Entry, R
from curejournal.journal import contacts
from curejournal.journal.changes import Changes
from curejournal.journal.contacts import Contact
from curejournal.journal.current import CurrentBatches
from curejournal.journal.errors import NotInJournal, damaged, in_plain_words
from curejournal.journal.photos import KeptPhoto, Shelf
from curejournal.journal.record_json import kind_name, kind_of, to_json
from curejournal.journal.rows import (
    CURRENT,
    HEADS,
    IN_TIME,
    OF_A_BATCH,
    BatchHead,
    KeptCard,
    as_batch,
    as_card,
    as_entry,
    as_head,
    as_photo,
    kept,
    latest,
    new_names,
)
from curejournal.journal.seals import head
from curejournal.journal.tables import batch as batch_table
from curejournal.journal.tables import card as card_table
from curejournal.journal.tables import entry as entry_table
from curejournal.journal.tables import photo as photo_table
from curejournal.journal.tables import seal as seal_table
from curejournal.journal.tables import setting as setting_table
from curejournal.journal.text import instant, plain_text
from curejournal.journal.underway import Touched, Underway


class Reader:
    """A journal's database and shelf of photos, to read.

    Every method may raise `JournalDamaged`, `JournalBusy` or `DatabaseUnreachable`.
    """

    def __init__(self, engine: Engine, shelf: Shelf, now: Callable[[], datetime]) -> None:
        self._engine, self._shelf, self._now = engine, shelf, now
        self._current, self._underway = CurrentBatches(), Underway()
        self.location = shelf.folder

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with in_plain_words(self.location), self._engine.begin() as connection:
            yield connection

    def clock(self) -> datetime:
        """The time, by the clock that the journal was opened with."""
        return self._now()

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # --- batches and entries ---------------------------------------------------------------

    def batches(self) -> tuple[BatchHead, ...]:
        """Every batch without its entries, the latest started first."""
        with self._reading() as connection:
            names = new_names(connection)
            return tuple(as_head(row, names.get(row.id)) for row in connection.execute(HEADS))

    def batch(self, code: str) -> Batch:
        """A batch with its current entries, in order of time."""
        with self._reading() as connection:
            found = self._batch(connection, code)
            rows = connection.execute(
                select(entry_table).where(entry_table.c.batch_id == found.id, CURRENT).order_by(*IN_TIME)
            ).all()
            return as_batch(found.code, found.name, tuple(map(as_entry, rows)))

    def all_batches(self) -> tuple[Batch, ...]:
        """Every batch with its current entries, in the order in which they were started; soon after the first time."""
        with self._reading() as connection:
            return self._current.read(connection)

    def names(self) -> dict[str, str]:
        """The name of each batch by its code, the latest started first."""
        with self._reading() as connection:
            return self._underway.names(connection)

    def underway(self) -> tuple[Touched, ...]:
        """Every batch that is not released, or in which something was entered since; the one touched last first."""
        with self._reading() as connection:
            return self._underway.read(connection)

    def released_otherwise(self) -> tuple[Touched, ...]:
        """Every released batch whose release was signed under another edition of the rules than today's."""
        with self._reading() as connection:
            return self._underway.read(connection, otherwise=True)

    def history(self, code: str) -> tuple[Entry, ...]:
        """Every entry that a batch ever had, corrected and withdrawn ones too, in the order of recording."""
        with self._reading() as connection:
            found = self._batch(connection, code)
            query = select(entry_table).where(entry_table.c.batch_id == found.id).order_by(entry_table.c.id)
            return tuple(map(as_entry, connection.execute(query)))

    def of_workshop(self, kind: type[R], photo: str | None = None) -> tuple[Entry[R], ...]:
        """The current entries of the workshop itself of one kind, in the order of recording; of one photo, if named."""
        query = select(entry_table).where(~OF_A_BATCH, entry_table.c.kind == kind_name(kind), CURRENT)
        if photo is not None:
            query = query.where(entry_table.c.photo_sha256 == photo)
        with self._reading() as connection:
            rows = connection.execute(query.order_by(entry_table.c.id))
            return tuple(cast("Entry[R]", as_entry(row)) for row in rows)

    def state_of_workshop(self, kind: type[R]) -> tuple[int, int]:
        """How many entries of one kind the workshop has now, and the last: while both stay, nothing has changed."""
        query = select(func.count(), func.max(entry_table.c.id))
        query = query.where(~OF_A_BATCH, entry_table.c.kind == kind_name(kind), CURRENT)
        with self._reading() as connection:
            count, last = connection.execute(query).one()
            return count, last or 0

    def entries_of_press(self, key: str) -> tuple[Entry, ...]:
        """What one press made, in its order; empty if it never came."""
        with self._reading() as connection:
            return self._of_press(connection, key)

    @staticmethod
    def _of_press(connection: Connection, key: str) -> tuple[Entry, ...]:
        query = select(entry_table).where(entry_table.c.press_key == key).order_by(entry_table.c.press_part)
        return tuple(map(as_entry, connection.execute(query)))

    def already(self, changes: Changes) -> tuple[Entry, ...]:
        """What the same press, or one that it repeats, made before; empty if these changes are new."""
        with self._reading() as connection:
            return self._already(connection, changes)

    @classmethod
    def _already(cls, connection: Connection, changes: Changes) -> tuple[Entry, ...]:
        press = changes.press
        if press is None or (made := cls._of_press(connection, press.key)):
            return made if press else ()
        if not press.once_within or len(changes.entries) != 1:
            return ()
        new, columns = changes.entries[0], entry_table.c
        earliest, latest = (instant(press.at + by)[0] for by in (-press.once_within, press.once_within))
        alike = select(columns.press_key).where(
            columns.batch_id == cls._batch(connection, new.batch).id,
            columns.kind == kind_of(new.record),
            columns.record == to_json(new.record),
            columns.pressed_at_utc.between(earliest, latest),
            CURRENT,
        )
        key = connection.scalar(alike.order_by(columns.id.desc()).limit(1))
        return cls._of_press(connection, key) if key else ()

    @staticmethod
    def _batch(connection: Connection, code: str) -> Row[Any]:
        code = plain_text(code, "code", 40)
        found = connection.execute(select(batch_table).where(batch_table.c.code == code)).first()
        if found is None:
            raise NotInJournal(
                msg("There is no batch {code}.", code=code), msg("Check the code in the list of batches.")
            )
        return found

    # --- seals -----------------------------------------------------------------------------

    def head(self) -> str:
        """The head of the chain of all rows: it stands for everything that is in the journal now."""
        with self._reading() as connection:
            return head(connection)

    def seal_of(self, entry_id: int) -> str:
        """The chain up to an entry: the head of the journal when it was recorded."""
        query = select(seal_table.c.chain).where(
            seal_table.c.table_name == "entry", seal_table.c.row_key == str(entry_id)
        )
        with self._reading() as connection:
            chain: str | None = connection.scalar(query)
        if chain is None:
            raise NotInJournal(msg("There is no entry {entry_id}.", entry_id=entry_id))
        return chain

    def holds_head(self, beginning: str) -> bool:
        """Whether the journal once had a head that begins so: all that was in it then is in it now, if it verifies."""
        query = select(seal_table.c.id).where(seal_table.c.chain.startswith(beginning, autoescape=True)).limit(1)
        with self._reading() as connection:
            return connection.scalar(query) is not None

    # --- photos ----------------------------------------------------------------------------

    def find_photo(self, sha256: str) -> KeptPhoto | None:
        """A photo by its hash, if it is in the journal."""
        with self._reading() as connection:
            row = connection.execute(kept(sha256)).first()
            return as_photo(row) if row else None

    def photo(self, sha256: str) -> KeptPhoto:
        """A photo by its hash."""
        found = self.find_photo(sha256)
        if found is None:
            raise NotInJournal(msg("This photo is not in the journal."))
        return found

    def photo_bytes(self, sha256: str) -> bytes:
        """The original, byte for byte, checked against its hash; `JournalDamaged` if it differs."""
        return self._shelf.get(sha256, self.photo(sha256).facts.suffix)

    def photos_of(self, code: str) -> tuple[KeptPhoto, ...]:
        """The photos of a batch's current entries, in the order in which they were taken."""
        with self._reading() as connection:
            found = self._batch(connection, code)
            current = select(entry_table.c.photo_sha256).where(entry_table.c.batch_id == found.id, CURRENT)
            query = select(photo_table).where(photo_table.c.sha256.in_(current))
            photos = [as_photo(row) for row in connection.execute(query)]
        return tuple(sorted(photos, key=lambda photo: (photo.facts.taken_at or photo.received_at, photo.sha256)))

    def unfiled_photos(self) -> tuple[KeptPhoto, ...]:
        """Photos that no current entry of a batch names, in the order in which they came."""
        named = select(entry_table.c.photo_sha256).where(entry_table.c.photo_sha256.is_not(None), CURRENT, OF_A_BATCH)
        query = select(photo_table).where(photo_table.c.sha256.not_in(named))
        query = query.order_by(photo_table.c.received_at_utc, photo_table.c.sha256)
        with self._reading() as connection:
            return tuple(map(as_photo, connection.execute(query)))

    def last_naming(self, sha256: str) -> int:
        """The number of the last entry of a batch that ever named a photo, withdrawn ones too; 0 if none did."""
        last = select(func.max(entry_table.c.id)).where(entry_table.c.photo_sha256 == sha256, OF_A_BATCH)
        with self._reading() as connection:
            return connection.scalar(last) or 0

    def code_of(self, entry_id: int) -> str:
        """The code of the batch that an entry is of; empty if it is the workshop's own, or not there."""
        query = select(batch_table.c.code).join(entry_table, entry_table.c.batch_id == batch_table.c.id)
        with self._reading() as connection:
            return connection.scalar(query.where(entry_table.c.id == entry_id)) or ""

    def photos_named(self, beginning: str) -> tuple[KeptPhoto, ...]:
        """The photos whose hash begins so."""
        query = select(photo_table).where(photo_table.c.sha256.startswith(beginning, autoescape=True))
        with self._reading() as connection:
            return tuple(map(as_photo, connection.execute(query.order_by(photo_table.c.sha256))))

    def entries_of_photo(self, sha256: str) -> tuple[tuple[str, Entry], ...]:
        """The current entries of batches that name a photo, each with the code of its batch."""
        query = select(entry_table, batch_table.c.code).join(batch_table, batch_table.c.id == entry_table.c.batch_id)
        query = query.where(entry_table.c.photo_sha256 == sha256, CURRENT).order_by(*IN_TIME)
        with self._reading() as connection:
            return tuple((row.code, as_entry(row)) for row in connection.execute(query))

    # --- contacts --------------------------------------------------------------------------

    def contacts(self) -> tuple[Contact, ...]:
        """Everybody whom entries may name, by number; who was erased has no words."""
        with self._reading() as connection:
            return contacts.contacts(connection)

    def contact(self, number: int) -> Contact:
        """Somebody by number."""
        with self._reading() as connection:
            return contacts.find_contact(connection, number)

    def entries_of_contact(self, number: int) -> tuple[tuple[str, Entry], ...]:
        """The current entries that name somebody in order of time, each with its batch's code, or none."""
        query = select(entry_table, batch_table.c.code).outerjoin(
            batch_table, batch_table.c.id == entry_table.c.batch_id
        )
        query = query.where(entry_table.c.contact_id == number, CURRENT).order_by(*IN_TIME)
        with self._reading() as connection:
            return tuple((row.code or "", as_entry(row)) for row in connection.execute(query))

    # --- cards and settings ----------------------------------------------------------------

    def cards(self) -> tuple[KeptCard, ...]:
        """The latest definition of each card, by name."""
        with self._reading() as connection:
            return tuple(map(as_card, connection.execute(latest(card_table).order_by(card_table.c.name))))

    def card_text(self, name: str) -> str:
        """The latest definition of a card."""
        with self._reading() as connection:
            row = connection.execute(latest(card_table, name)).first()
        if row is None:
            raise NotInJournal(msg("The journal has no card {name}.", name=name))
        return as_card(row).toml

    def setting(self, name: str, default: Any = None) -> Any:
        """The latest value of a setting, or `default`."""
        return self.settings().get(name, default)

    def settings(self) -> dict[str, Any]:
        """The latest value of each setting."""
        with self._reading() as connection:
            rows = connection.execute(latest(setting_table))
            try:
                return {row.name: json.loads(row.value) for row in rows}
            except ValueError as error:
                raise damaged(self.location) from error

    def derived(self, sha256: str, name: str, make: Callable[[], bytes]) -> bytes:
        """A picture made from an original, made once and then read; see `photos.Shelf.derived`."""
        return self._shelf.derived(sha256, name, make)
