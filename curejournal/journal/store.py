"""A journal: a ledger with its photos, cards and settings, none of which is ever changed or removed, and its copies."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any, Self

from sqlalchemy import Connection, Engine, func, select

from curejournal.batch.records import Entry, Record
from curejournal.journal.backup import Backup, write_backup
from curejournal.journal.check import Problem, Progress, check
from curejournal.journal.copying import copy_rows, snapshot
from curejournal.journal.errors import CopyRefused, EntryRefused, NotInJournal, in_plain_words
from curejournal.journal.exchange import write as write_data
from curejournal.journal.ledger import Ledger, NewEntry, utc_now
from curejournal.journal.opening import open_database
from curejournal.journal.photos import KeptPhoto, PhotoFacts, Shelf
from curejournal.journal.rows import (
    CURRENT,
    IN_TIME,
    BatchHead,
    KeptCard,
    as_card,
    as_entry,
    as_photo,
    kept,
    latest,
)
from curejournal.journal.tables import batch as batch_table
from curejournal.journal.tables import card as card_table
from curejournal.journal.tables import entry as entry_table
from curejournal.journal.tables import metadata
from curejournal.journal.tables import photo as photo_table
from curejournal.journal.tables import setting as setting_table
from curejournal.journal.text import card_columns, file_name, instant, plain_text, setting_columns

__all__ = ["BatchHead", "Journal", "KeptCard", "KeptPhoto", "NewEntry", "PhotoFacts", "utc_now"]


class Journal(Ledger):
    """A journal in a folder, with its database there or on a PostgreSQL server.

    Open it with `Journal.open`; it may be used by several threads. What a
    method returns as entered is on the disk. Every method may raise
    `DiskFull`, `JournalBusy`, `JournalNotWritable` or `JournalDamaged`, and has then changed nothing.
    """

    def __init__(self, engine: Engine, shelf: Shelf, now: Callable[[], datetime]) -> None:
        super().__init__(engine, shelf.folder, now)
        self._shelf = shelf

    @classmethod
    def open(
        cls,
        location: Path,
        *,
        url: str | None = None,
        create: bool = True,
        now: Callable[[], datetime] = utc_now,
        patience_s: float = 10.0,
    ) -> Self:
        """Open the journal of a folder.

        Parameters
        ----------
        location : Path
            The folder: `journal.sqlite`, the originals in `photos/`, what can be rebuilt in `derived/`.
        url : str, optional
            A PostgreSQL address; the database is then there, and the folder holds the photos only.
        create : bool
            Whether to start one if there is none.
        now : callable
            The clock; gives an aware time.
        patience_s : float
            Seconds to wait while another program writes.

        Raises
        ------
        JournalNotFound, NotAJournal, JournalNewer, JournalDamaged, JournalNotWritable, UpgradeFailed,
        DatabaseUnreachable
        """
        location = location.expanduser().absolute()
        engine = open_database(location, url, create=create, now=now, patience_s=patience_s)
        return cls(engine, Shelf(location), now)

    def keep_photo(self, data: bytes, facts: PhotoFacts) -> KeptPhoto:
        """Keep an original photo; the same bytes twice are one photo, with the facts that came first."""
        sha256 = self._on_the_shelf(data, facts)
        with self._writing() as connection:
            return self._know_photo(connection, sha256, len(data), facts)

    def keep_filed(
        self, code: str, data: bytes, facts: PhotoFacts, records: Sequence[Record], *, at: datetime, by: str
    ) -> tuple[KeptPhoto, tuple[Entry, ...]]:
        """Keep an original photo and enter its records, all of it or nothing; see `keep_photo` and `add_many`."""
        by = self._signer(by)
        sha256 = self._on_the_shelf(data, facts)
        with self._writing() as connection:
            batch_id = self._batch(connection, code).id
            photo = self._know_photo(connection, sha256, len(data), facts)
            new = [NewEntry(record, at, photo=sha256) for record in records]
            return photo, tuple(self._append(connection, batch_id, item, by) for item in new)

    def _on_the_shelf(self, data: bytes, facts: PhotoFacts) -> str:
        if not data or min(facts.width, facts.height) < 1:
            raise EntryRefused("An empty photo cannot be kept.")
        if facts.taken_at is not None:
            instant(facts.taken_at)
        self._refuse_reader()
        return self._shelf.put(data, facts.suffix)

    def _know_photo(self, connection: Connection, sha256: str, size: int, facts: PhotoFacts) -> KeptPhoto:
        known = connection.execute(kept(sha256)).first()
        if known is None:
            taken_at, offset = instant(facts.taken_at) if facts.taken_at else (None, None)
            row = {"sha256": sha256, "suffix": facts.suffix, "size": size}
            row |= {"width": facts.width, "height": facts.height, "taken_from": facts.taken_from}
            row |= {"taken_at_utc": taken_at, "taken_at_offset_minutes": offset}
            row |= {"original_name": file_name(facts.original_name), "received_at_utc": self._now()}
            connection.execute(photo_table.insert().values(row))
            known = connection.execute(kept(sha256)).one()
        return as_photo(known)

    def bring_in(
        self,
        code: str,
        name: str,
        *,
        at: datetime,
        by: str,
        history: Sequence[Entry],
        photos: Sequence[tuple[bytes, PhotoFacts]] = (),
        cards: Mapping[str, tuple[str, str]] = MappingProxyType({}),
    ) -> str:
        """Start a batch with its history in another journal, all of it or nothing; its code is returned.

        Parameters
        ----------
        code, name, at, by
            As for `start_batch`.
        history : sequence of Entry
            In the order of recording. Numbers are given anew; each keeps its author and time, and is written down now.
            In an early journal, signatures may have been taken back.
        photos : sequence of (bytes, PhotoFacts)
            Those that it names.
        cards : mapping of name to (definition, copy id)
            Kept unless this journal has one of that name.

        Raises
        ------
        CodeInUse, EntryRefused, SignedByOther
        """
        code, name, by = plain_text(code, "code", 40), plain_text(name, "name", 120), self._signer(by)
        signers = {entry.by: self._signer(entry.by) for entry in history}
        rows = [card_columns(card, copy_id, toml) for card, (toml, copy_id) in cards.items()]
        with self._reading() as connection:
            self._refuse_known(connection, code)  # before any photo is on the shelf
        shelved = [(self._on_the_shelf(data, facts), len(data), facts) for data, facts in photos]
        with self._writing() as connection:
            batch_id = self._start(connection, code, name, at, by)
            for sha256, size, facts in shelved:
                self._know_photo(connection, sha256, size, facts)
            for row in rows:
                if connection.execute(latest(card_table, row["name"])).first() is None:
                    connection.execute(card_table.insert().values(**row, added_at_utc=self._now()))
            ids: dict[int | None, int | None] = {None: None}
            for entry in history:
                new = NewEntry(entry.record, entry.at, ids[entry.supersedes], entry.photo)
                made = self._append(connection, batch_id, new, signers[entry.by], as_it_was=True)
                ids[entry.id] = made.id
        return code

    def find_photo(self, sha256: str) -> KeptPhoto | None:
        """A photo by its hash, if it is in the journal."""
        with self._reading() as connection:
            row = connection.execute(kept(sha256)).first()
        return as_photo(row) if row else None

    def photo(self, sha256: str) -> KeptPhoto:
        """A photo by its hash."""
        found = self.find_photo(sha256)
        if found is None:
            raise NotInJournal("This photo is not in the journal.")
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
        """Photos that no current entry names, in the order in which they came."""
        named = select(entry_table.c.photo_sha256).where(entry_table.c.photo_sha256.is_not(None), CURRENT)
        query = select(photo_table).where(photo_table.c.sha256.not_in(named))
        query = query.order_by(photo_table.c.received_at_utc, photo_table.c.sha256)
        with self._reading() as connection:
            return tuple(map(as_photo, connection.execute(query)))

    def last_naming(self, sha256: str) -> int:
        """The number of the last entry that ever named a photo, corrected and withdrawn ones too; 0 if none did."""
        with self._reading() as connection:
            last = select(func.max(entry_table.c.id)).where(entry_table.c.photo_sha256 == sha256)
            return connection.scalar(last) or 0

    def photos_named(self, beginning: str) -> tuple[KeptPhoto, ...]:
        """The photos whose hash begins so."""
        query = select(photo_table).where(photo_table.c.sha256.startswith(beginning, autoescape=True))
        with self._reading() as connection:
            return tuple(map(as_photo, connection.execute(query.order_by(photo_table.c.sha256))))

    def entries_of_photo(self, sha256: str) -> tuple[tuple[str, Entry], ...]:
        """The current entries of a photo, each with the code of its batch."""
        query = select(entry_table, batch_table.c.code).join(batch_table, batch_table.c.id == entry_table.c.batch_id)
        query = query.where(entry_table.c.photo_sha256 == sha256, CURRENT).order_by(*IN_TIME)
        with self._reading() as connection:
            return tuple((row.code, as_entry(row)) for row in connection.execute(query))

    def file_photo(
        self, code: str, sha256: str, records: Sequence[Record], *, at: datetime, by: str
    ) -> tuple[Entry, ...]:
        """Enter a photo's records, all of them, or none if a current entry names it already; see `add_many`."""
        items = [(code, NewEntry(record, at, photo=sha256)) for record in records]
        return self.enter_all(items, by=by, unless_filed=sha256)

    def enter_all(
        self,
        items: Sequence[tuple[str, NewEntry]],
        *,
        by: str,
        settings: Mapping[str, Any] = MappingProxyType({}),
        original: tuple[bytes, PhotoFacts] | None = None,
        unless_filed: str = "",
    ) -> tuple[Entry, ...]:
        """Enter records, each with the code of its batch, and set settings: all of it or nothing; see `add_many`.

        `original` is a photo to be kept with them, see `keep_photo`; `unless_filed` is the hash of a photo: if a
        current entry names it already, no record is entered.
        """
        by = self._signer(by)
        sha256 = self._on_the_shelf(*original) if original else ""
        filed = select(entry_table.c.id).where(entry_table.c.photo_sha256 == unless_filed, CURRENT).limit(1)
        with self._writing() as connection:
            if original:
                self._know_photo(connection, sha256, len(original[0]), original[1])
            self._set(connection, settings)
            batches = [(self._batch(connection, code).id, item) for code, item in items]
            if connection.scalar(filed) is not None:
                return ()
            return tuple(self._append(connection, batch_id, item, by) for batch_id, item in batches)

    def derived(self, sha256: str, name: str, make: Callable[[], bytes]) -> bytes:
        """A picture made from an original, made once and then read; see `photos.Shelf.derived`."""
        return self._shelf.derived(sha256, name, make)

    def keep_card(self, name: str, toml: str, copy_id: str = "") -> KeptCard:
        """Keep the definition of a card; the latest of a name counts."""
        values = card_columns(name, copy_id, toml)
        of_name = latest(card_table, values["name"])
        with self._writing() as connection:
            row = connection.execute(of_name).first()
            if row is None or (row.toml, row.copy_id) != (toml, values["copy_id"]):
                connection.execute(card_table.insert().values(**values, added_at_utc=self._now()))
                row = connection.execute(of_name).one()
        return as_card(row)

    def cards(self) -> tuple[KeptCard, ...]:
        """The latest definition of each card, by name."""
        with self._reading() as connection:
            return tuple(map(as_card, connection.execute(latest(card_table).order_by(card_table.c.name))))

    def card_text(self, name: str) -> str:
        """The latest definition of a card."""
        with self._reading() as connection:
            row = connection.execute(latest(card_table, name)).first()
        if row is None:
            raise NotInJournal(f"The journal has no card {name}.")
        return as_card(row).toml

    def setting(self, name: str, default: Any = None) -> Any:
        """The latest value of a setting, or `default`."""
        with self._reading() as connection:
            row = connection.execute(latest(setting_table, name)).first()
        return json.loads(row.value) if row else default

    def set_setting(self, name: str, value: Any) -> None:
        """Set a setting to a value that JSON can hold; earlier values stay in the history."""
        self.set_settings({name: value})

    def set_settings(self, settings: Mapping[str, Any]) -> None:
        """Set settings, all of them or none; see `set_setting`."""
        with self._writing() as connection:
            self._set(connection, settings)

    def set_in(self, name: str, key: str, value: Any) -> None:
        """Set one key of a setting that maps keys to values; what another window sets meanwhile stays."""
        with self._writing() as connection:
            row = connection.execute(latest(setting_table, name)).first()
            self._set(connection, {name: {**(json.loads(row.value) if row else {}), key: value}})

    def _set(self, connection: Connection, settings: Mapping[str, Any]) -> None:
        for values in [setting_columns(name, value) for name, value in settings.items()]:
            row = connection.execute(latest(setting_table, values["name"])).first()
            if row is None or row.value != values["value"]:
                connection.execute(setting_table.insert().values(**values, set_at_utc=self._now()))

    def check(self, progress: Progress | None = None) -> tuple[Problem, ...]:
        """Look at every hash and reference; see `check.check`."""
        with in_plain_words(self.location):
            return check(self._engine, self._shelf, progress)

    def backup(self, to: Path, progress: Progress | None = None) -> Backup:
        """Write the journal into one file, or into a folder under the name of the time; see `backup.write_backup`.

        `backup.restore` makes a journal of it again.
        """
        self._refuse_reader()

        def take(path: Path) -> None:
            with self._engine.connect() as connection:
                snapshot(connection, path)

        with in_plain_words(to):
            return write_backup(take, self._shelf, to, self._now(), progress)

    def export(self, to: Path) -> Backup:
        """Write everything as JSON, as tables and as photos into a new folder; `exchange.bring_in` reads it again."""
        self._refuse_reader()
        with self._reading() as connection:
            return write_data(connection, self._shelf, to)

    def copy_to(self, location: Path, *, url: str | None = None) -> None:
        """Copy everything into a new journal, to or from a PostgreSQL server too, and compare both row by row.

        Parameters
        ----------
        location : Path
            Its folder; this journal's own, if only the database is to move to a server.
        url : str, optional
            A PostgreSQL address for its database.

        Raises
        ------
        CopyRefused
            If there is something in that journal already.
        JournalDamaged
            If a photo or row is not the same.
        """
        self._refuse_reader()
        with (
            type(self).open(location, url=url, now=self._now) as target,
            self._reading() as source,
            target._writing() as into,
        ):
            if any(into.scalar(select(func.count()).select_from(table)) for table in metadata.sorted_tables):
                raise CopyRefused("The journal to copy into is not empty.", "Choose a new folder or database.")
            for photo in map(as_photo, source.execute(select(photo_table))):
                target._shelf.put(self._shelf.get(photo.sha256, photo.facts.suffix), photo.facts.suffix)
            copy_rows(source, into)
