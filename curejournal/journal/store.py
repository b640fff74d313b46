"""A journal: batches, entries, photos, cards and settings, none of which is ever changed or removed."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from copy import copy
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from sqlalchemy import Connection, Engine, Row, func, select

from curejournal.cure.records import Batch, Entry, Record, Withdrawn
from curejournal.journal.backup import Backup, write_backup
from curejournal.journal.check import Problem, Progress, check
from curejournal.journal.copying import copy_rows, snapshot
from curejournal.journal.current import CurrentBatches
from curejournal.journal.exchange import write as write_data
from curejournal.journal.faults import (
    CodeInUse,
    CopyRefused,
    EntryRefused,
    NotInJournal,
    OnlyToRead,
    SignedByOther,
    StaleEntry,
    in_plain_words,
)
from curejournal.journal.opening import open_database
from curejournal.journal.photos import KeptPhoto, PhotoFacts, Shelf
from curejournal.journal.record_json import kind_of, to_json
from curejournal.journal.rows import (
    CURRENT,
    HEADS,
    IN_TIME,
    WITHDRAWN,
    BatchHead,
    KeptCard,
    as_batch,
    as_card,
    as_entry,
    as_head,
    as_photo,
    inserted,
    kept,
    latest,
    new_names,
)
from curejournal.journal.tables import batch as batch_table
from curejournal.journal.tables import card as card_table
from curejournal.journal.tables import entry as entry_table
from curejournal.journal.tables import metadata
from curejournal.journal.tables import photo as photo_table
from curejournal.journal.tables import setting as setting_table
from curejournal.journal.underway import Touched, Underway
from curejournal.journal.words import file_name, instant, local, plain_text

__all__ = ["BatchHead", "Journal", "KeptCard", "KeptPhoto", "NewEntry", "PhotoFacts", "utc_now"]


@dataclass(frozen=True)
class NewEntry:
    """A record to be entered: when it happened, which entry it corrects, which photo it came from."""

    record: Record
    at: datetime
    supersedes: int | None = None
    photo: str | None = None


def utc_now() -> datetime:
    """The clock, in UTC."""
    return datetime.now(UTC)


class Journal:
    """A journal in a folder, with its database there or on a PostgreSQL server.

    Open it with `Journal.open`; it may be used by several threads. What a
    method returns as entered is on the disk. Every method may raise
    `DiskFull`, `JournalBusy`, `JournalNotWritable` or `JournalDamaged`, and has then changed nothing.
    """

    def __init__(self, engine: Engine, shelf: Shelf, now: Callable[[], datetime]) -> None:
        self._engine, self._writer = engine, engine.execution_options(writes=True)
        self._shelf, self._now, self._current = shelf, now, CurrentBatches()
        self._underway = Underway()
        self._person, self._reads_only = "", False
        self.location = shelf.folder

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

    def of(self, person: str, *, reads_only: bool = False) -> Self:
        """The same journal as one person may use it: they sign what they enter, in no other name.

        Every method that writes, here or into another folder of this computer, raises `SignedByOther` for another's
        name, and `OnlyToRead` if they may only read. Pictures that can be made again are still put by.
        """
        theirs = copy(self)
        theirs._person, theirs._reads_only = person, reads_only
        return theirs

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with in_plain_words(self.location), self._engine.begin() as connection:
            yield connection

    def _refuse_reader(self) -> None:
        if self._reads_only:
            raise OnlyToRead(
                f"{self._person} may read this journal, not write in it.",
                "Ask the person who keeps it to enter this, or for the right to write (curejournal people add).",
            )

    def _signer(self, by: str) -> str:
        name = plain_text(by, "person", 80)
        if self._person and name != self._person:
            raise SignedByOther(
                f"{self._person} is signed in and cannot enter anything in the name of {name}.",
                f"Enter it as {self._person}. A bundle with others' entries is opened by curejournal open-bundle.",
            )
        return name

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        self._refuse_reader()
        with in_plain_words(self.location), self._writer.begin() as connection:
            yield connection

    def start_batch(self, code: str, name: str, *, at: datetime, by: str, records: Sequence[Record] = ()) -> Batch:
        """Start a batch, with its first records.

        Raises
        ------
        CodeInUse
            If there is a batch of this code.
        EntryRefused
            If code (at most 40 characters), name (120) or `by` (80) are no names, `at` has no offset, or a
            record cannot be kept.
        """
        code, name, by = plain_text(code, "code", 40), plain_text(name, "name", 120), self._signer(by)
        at_utc, offset = instant(at)
        with self._writing() as connection:
            if connection.scalar(select(batch_table.c.id).where(batch_table.c.code == code)):
                raise CodeInUse(f"There is a batch {code} already.", "Give this one another code.")
            row = {"code": code, "name": name, "started_at_utc": at_utc, "started_at_offset_minutes": offset}
            row |= {"author": by, "recorded_at_utc": self._now()}
            batch_id = inserted(connection, batch_table, row)
            entries = [self._append(connection, batch_id, NewEntry(record, at), by) for record in records]
        return as_batch(code, name, tuple(entries))

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

    def history(self, code: str) -> tuple[Entry, ...]:
        """Every entry that a batch ever had, corrected and withdrawn ones too, in the order of recording."""
        with self._reading() as connection:
            found = self._batch(connection, code)
            query = select(entry_table).where(entry_table.c.batch_id == found.id).order_by(entry_table.c.id)
            return tuple(map(as_entry, connection.execute(query)))

    def add(
        self,
        code: str,
        record: Record,
        *,
        at: datetime,
        by: str,
        supersedes: int | None = None,
        photo: str | None = None,
    ) -> Entry:
        """Enter one record; see `add_many`."""
        return self.add_many(code, [NewEntry(record, at, supersedes, photo)], by=by)[0]

    def add_many(self, code: str, items: Sequence[NewEntry], *, by: str) -> tuple[Entry, ...]:
        """Enter records, all of them or none.

        Raises
        ------
        NotInJournal
            If there is no such batch, photo, or entry to correct in this batch.
        StaleEntry
            If an entry to be corrected was corrected or withdrawn in the meantime.
        EntryRefused
            If a record cannot be kept.
        """
        by = self._signer(by)
        with self._writing() as connection:
            batch_id = self._batch(connection, code).id
            return tuple(self._append(connection, batch_id, item, by) for item in items)

    def withdraw(self, entry_id: int, *, why: str, by: str, at: datetime) -> Entry:
        """Take an entry back; it stays in the history. Its record, entered as a correction of this, brings it back."""
        by = self._signer(by)
        with self._writing() as connection:
            batch_id = connection.scalar(select(entry_table.c.batch_id).where(entry_table.c.id == entry_id))
            if batch_id is None:
                raise NotInJournal(f"There is no entry {entry_id}.")
            return self._append(connection, batch_id, NewEntry(Withdrawn(why), at, entry_id), by)

    def undo(self, entry_id: int, *, why: str, by: str, at: datetime) -> tuple[Entry, ...]:
        """Take an entry back and, if it corrected another or took it back, enter that one again as it was."""
        by = self._signer(by)
        with self._writing() as connection:
            entry = select(entry_table)
            undone = connection.execute(entry.where(entry_table.c.id == entry_id)).first()
            if undone is None:
                raise NotInJournal(f"There is no entry {entry_id}.")
            made = [self._append(connection, undone.batch_id, NewEntry(Withdrawn(why), at, entry_id), by)]
            earlier = connection.execute(entry.where(entry_table.c.id == undone.supersedes)).first()
            if earlier is not None and earlier.kind != WITHDRAWN:
                was = as_entry(earlier)
                again = NewEntry(was.record, was.at, made[0].id, was.photo)
                made.append(self._append(connection, undone.batch_id, again, by))
        return tuple(made)

    def _append(self, connection: Connection, batch_id: int, item: NewEntry, by: str) -> Entry:
        kind, text = kind_of(item.record), to_json(item.record)
        at_utc, offset = instant(item.at)
        recorded_at, _ = instant(self._now())
        if item.supersedes is not None:
            self._refuse_wrong_correction(connection, batch_id, kind, item.supersedes)
        elif isinstance(item.record, Withdrawn):
            raise EntryRefused("A withdrawal must name the entry that it takes back.")
        if item.photo is not None and not connection.scalar(kept(item.photo)):
            raise NotInJournal("The photo of this entry is not in the journal.", "Keep the photo first.")
        row = {
            "batch_id": batch_id,
            "kind": kind,
            "at_utc": at_utc,
            "at_offset_minutes": offset,
            "author": by,
        }
        row |= {"recorded_at_utc": recorded_at, "record": text}
        row |= {"supersedes": item.supersedes, "photo_sha256": item.photo}
        entry_id = inserted(connection, entry_table, row)
        return Entry(entry_id, local(at_utc, offset), by, recorded_at, item.record, item.supersedes, item.photo)

    @staticmethod
    def _refuse_wrong_correction(connection: Connection, batch_id: int, kind: str, entry_id: int) -> None:
        earlier = connection.execute(
            select(entry_table.c.kind).where(entry_table.c.id == entry_id, entry_table.c.batch_id == batch_id)
        ).first()
        if earlier is None:
            raise NotInJournal(f"There is no entry {entry_id} in this batch to correct.")
        newer = connection.execute(select(entry_table).where(entry_table.c.supersedes == entry_id)).first()
        if newer is not None:
            act = "withdrew" if newer.kind == WITHDRAWN else "changed"
            raise StaleEntry(
                f"Someone changed this in the meantime: {newer.author} {act} it"
                f" on {newer.recorded_at_utc:%Y-%m-%d at %H:%M} UTC.",
                "Look at the entry as it is now, and correct that one if it is still wrong.",
            )
        if kind != earlier.kind and WITHDRAWN not in {kind, earlier.kind}:
            raise EntryRefused(
                f"A {kind} cannot correct a {earlier.kind}.",
                f"Withdraw the {earlier.kind}, then enter the {kind}.",
            )

    @staticmethod
    def _batch(connection: Connection, code: str) -> Row[Any]:
        code = plain_text(code, "code", 40)
        found = connection.execute(select(batch_table).where(batch_table.c.code == code)).first()
        if found is None:
            raise NotInJournal(f"There is no batch {code}.", "Check the code in the list of batches.")
        return found

    def keep_photo(self, data: bytes, facts: PhotoFacts) -> KeptPhoto:
        """Keep an original photo; the same bytes twice are one photo, with the facts that came first."""
        if not data or min(facts.width, facts.height) < 1:
            raise EntryRefused("An empty photo cannot be kept.")
        self._refuse_reader()
        taken_at, offset = instant(facts.taken_at) if facts.taken_at else (None, None)
        sha256 = self._shelf.put(data, facts.suffix)
        with self._writing() as connection:
            known = connection.execute(kept(sha256)).first()
            if known is None:
                row = {"sha256": sha256, "suffix": facts.suffix, "size": len(data)}
                row |= {"width": facts.width, "height": facts.height, "taken_from": facts.taken_from}
                row |= {"taken_at_utc": taken_at, "taken_at_offset_minutes": offset}
                row |= {"original_name": file_name(facts.original_name), "received_at_utc": self._now()}
                connection.execute(photo_table.insert().values(row))
                known = connection.execute(kept(sha256)).one()
        return as_photo(known)

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

    def unfiled_photos(self) -> tuple[tuple[KeptPhoto, bool], ...]:
        """Photos that no current entry names, in the order in which they came, each with whether one ever did."""
        named = select(entry_table.c.photo_sha256).where(entry_table.c.photo_sha256.is_not(None))
        query = select(photo_table, photo_table.c.sha256.in_(named).label("was_filed"))
        query = query.where(photo_table.c.sha256.not_in(named.where(CURRENT)))
        query = query.order_by(photo_table.c.received_at_utc, photo_table.c.sha256)
        with self._reading() as connection:
            return tuple((as_photo(row), bool(row.was_filed)) for row in connection.execute(query))

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
        by = self._signer(by)
        filed = select(entry_table.c.id).where(entry_table.c.photo_sha256 == sha256, CURRENT).limit(1)
        with self._writing() as connection:
            batch_id = self._batch(connection, code).id
            if connection.scalar(filed) is not None:
                return ()
            return tuple(self._append(connection, batch_id, NewEntry(r, at, photo=sha256), by) for r in records)

    def derived(self, sha256: str, name: str, make: Callable[[], bytes]) -> bytes:
        """A picture made from an original, made once and then read; see `photos.Shelf.derived`."""
        return self._shelf.derived(sha256, name, make)

    def keep_card(self, name: str, toml: str, copy_id: str = "") -> KeptCard:
        """Keep the definition of a card; the latest of a name counts."""
        name = plain_text(name, "name of the card", 80)
        copy_id = plain_text(copy_id, "id of the card", 80) if copy_id else ""
        if "\0" in toml:
            raise EntryRefused("The definition of the card is not text.")
        with self._writing() as connection:
            row = connection.execute(latest(card_table, name)).first()
            if row is None or (row.toml, row.copy_id) != (toml, copy_id):
                values = {"name": name, "copy_id": copy_id, "toml": toml, "added_at_utc": self._now()}
                connection.execute(card_table.insert().values(values))
                row = connection.execute(latest(card_table, name)).one()
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
        name = plain_text(name, "name of the setting", 80)
        try:
            text = json.dumps(value, allow_nan=False, sort_keys=True)
        except (TypeError, ValueError) as error:
            raise EntryRefused(f"The setting {name} cannot be kept: {error}") from error
        with self._writing() as connection:
            row = connection.execute(latest(setting_table, name)).first()
            if row is None or row.value != text:
                values = {"name": name, "value": text, "set_at_utc": self._now()}
                connection.execute(setting_table.insert().values(values))

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
