"""A journal: batches, entries, photos, cards and settings, none of which is ever changed or removed."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from sqlalchemy import Connection, Engine, Row, Select, Table, and_, exists, func, select

from curejournal.cure.records import Batch, Entry, Record, Withdrawn
from curejournal.journal import tables
from curejournal.journal.faults import CodeInUse, EntryRefused, NotInJournal, StaleEntry, in_plain_words
from curejournal.journal.opening import open_database
from curejournal.journal.photos import KeptPhoto, PhotoFacts, Shelf
from curejournal.journal.record_json import from_json, kind_of, to_json
from curejournal.journal.words import file_name, instant, local, plain_text


@dataclass(frozen=True)
class NewEntry:
    """A record to be entered: when it happened, which entry it corrects, which photo it came from."""

    record: Record
    at: datetime
    supersedes: int | None = None
    photo: str | None = None


@dataclass(frozen=True)
class BatchHead:
    """A batch without its entries: how many are current, over how many photos, and when the latest was."""

    code: str
    name: str
    started_at: datetime
    started_by: str
    last_entry_at: datetime | None
    entries: int
    photos: int


@dataclass(frozen=True)
class KeptCard:
    """The definition of a card as it was kept last."""

    name: str
    copy_id: str
    toml: str
    added_at: datetime


def utc_now() -> datetime:
    """The clock, in UTC."""
    return datetime.now(UTC)


_batch, _entry, _photo, _card, _setting = (
    tables.batch,
    tables.entry,
    tables.photo,
    tables.card,
    tables.setting,
)
_later = _entry.alias("later")
_CURRENT = and_(_entry.c.kind != kind_of(Withdrawn("")), ~exists().where(_later.c.supersedes == _entry.c.id))
_IN_TIME = (_entry.c.at_utc, _entry.c.id)


class Journal:
    """A journal in a folder, with its database there or on a PostgreSQL server.

    Open it with `Journal.open`; it may be used by several threads. What a
    method returns as entered is on the disk. Every method may raise
    `DiskFull`, `JournalBusy`, `JournalNotWritable` or `JournalDamaged`, and has then changed nothing.
    """

    def __init__(self, engine: Engine, shelf: Shelf, now: Callable[[], datetime]) -> None:
        self._engine, self._writer = engine, engine.execution_options(writes=True)
        self._shelf, self._now = shelf, now
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

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        with in_plain_words(self.location), self._writer.begin() as connection:
            yield connection

    def start_batch(
        self, code: str, name: str, *, at: datetime, by: str, records: Sequence[Record] = ()
    ) -> Batch:
        """Start a batch, with its first records.

        Raises
        ------
        CodeInUse
            If there is a batch of this code.
        EntryRefused
            If code (at most 40 characters), name (120) or `by` (80) are no names, `at` has no offset, or a
            record cannot be kept.
        """
        code, name, by = (
            plain_text(code, "code", 40),
            plain_text(name, "name", 120),
            plain_text(by, "person", 80),
        )
        at_utc, offset = instant(at)
        with self._writing() as connection:
            if connection.scalar(select(_batch.c.id).where(_batch.c.code == code)):
                raise CodeInUse(f"There is a batch {code} already.", "Give this one another code.")
            row = {"code": code, "name": name, "started_at_utc": at_utc, "started_at_offset_minutes": offset}
            row |= {"author": by, "recorded_at_utc": self._now()}
            batch_id = _inserted(connection, _batch, row)
            entries = [self._append(connection, batch_id, NewEntry(record, at), by) for record in records]
        return Batch(code, name, tuple(entries))

    def batches(self) -> tuple[BatchHead, ...]:
        """Every batch without its entries, the latest started first."""
        current = _entry.alias("current")
        last = (
            select(_entry.c.id)
            .where(_entry.c.batch_id == _batch.c.id, _CURRENT)
            .order_by(_entry.c.at_utc.desc(), _entry.c.at_offset_minutes.desc())
            .limit(1)
            .correlate(_batch)
            .scalar_subquery()
        )
        counts = (
            select(
                _entry.c.batch_id,
                func.count().label("entries"),
                func.count(_entry.c.photo_sha256.distinct()).label("photos"),
            )
            .where(_CURRENT)
            .group_by(_entry.c.batch_id)
            .subquery()
        )
        query = (
            select(_batch, current.c.at_utc, current.c.at_offset_minutes, counts.c.entries, counts.c.photos)
            .select_from(_batch)
            .outerjoin(current, current.c.id == last)
            .outerjoin(counts, counts.c.batch_id == _batch.c.id)
            .order_by(_batch.c.started_at_utc.desc(), _batch.c.id.desc())
        )
        with self._reading() as connection:
            rows = connection.execute(query).all()
        return tuple(
            BatchHead(
                row.code,
                row.name,
                local(row.started_at_utc, row.started_at_offset_minutes),
                row.author,
                local(row.at_utc, row.at_offset_minutes) if row.at_utc else None,
                row.entries or 0,
                row.photos or 0,
            )
            for row in rows
        )

    def batch(self, code: str) -> Batch:
        """A batch with its current entries, in order of time."""
        with self._reading() as connection:
            found = self._batch(connection, code)
            rows = connection.execute(
                select(_entry).where(_entry.c.batch_id == found.id, _CURRENT).order_by(*_IN_TIME)
            ).all()
        return Batch(found.code, found.name, tuple(map(_as_entry, rows)))

    def all_batches(self) -> tuple[Batch, ...]:
        """Every batch with its current entries, in the order in which they were started."""
        with self._reading() as connection:
            batches = connection.execute(select(_batch).order_by(_batch.c.started_at_utc, _batch.c.id)).all()
            entries: dict[int, list[Entry]] = {row.id: [] for row in batches}
            for row in connection.execute(select(_entry).where(_CURRENT).order_by(*_IN_TIME)):
                entries[row.batch_id].append(_as_entry(row))
        return tuple(Batch(row.code, row.name, tuple(entries[row.id])) for row in batches)

    def history(self, code: str) -> tuple[Entry, ...]:
        """Every entry that a batch ever had, corrected and withdrawn ones too, in the order of recording."""
        with self._reading() as connection:
            found = self._batch(connection, code)
            query = select(_entry).where(_entry.c.batch_id == found.id).order_by(_entry.c.id)
            return tuple(map(_as_entry, connection.execute(query)))

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
        by = plain_text(by, "person", 80)
        with self._writing() as connection:
            batch_id = self._batch(connection, code).id
            return tuple(self._append(connection, batch_id, item, by) for item in items)

    def withdraw(self, entry_id: int, *, why: str, by: str, at: datetime) -> Entry:
        """Take an entry back; it stays in the history. Its record, entered as a correction of this, brings it back."""
        by = plain_text(by, "person", 80)
        with self._writing() as connection:
            batch_id = connection.scalar(select(_entry.c.batch_id).where(_entry.c.id == entry_id))
            if batch_id is None:
                raise NotInJournal(f"There is no entry {entry_id}.")
            return self._append(connection, batch_id, NewEntry(Withdrawn(why), at, entry_id), by)

    def _append(self, connection: Connection, batch_id: int, item: NewEntry, by: str) -> Entry:
        kind, text = kind_of(item.record), to_json(item.record)
        at_utc, offset = instant(item.at)
        recorded_at, _ = instant(self._now())
        if item.supersedes is not None:
            self._refuse_wrong_correction(connection, batch_id, kind, item.supersedes)
        elif isinstance(item.record, Withdrawn):
            raise EntryRefused("A withdrawal must name the entry that it takes back.")
        if item.photo is not None and not connection.scalar(_kept(item.photo)):
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
        entry_id = _inserted(connection, _entry, row)
        return Entry(
            entry_id, local(at_utc, offset), by, recorded_at, item.record, item.supersedes, item.photo
        )

    @staticmethod
    def _refuse_wrong_correction(connection: Connection, batch_id: int, kind: str, entry_id: int) -> None:
        withdrawn = kind_of(Withdrawn(""))
        earlier = connection.execute(
            select(_entry.c.kind).where(_entry.c.id == entry_id, _entry.c.batch_id == batch_id)
        ).first()
        if earlier is None:
            raise NotInJournal(f"There is no entry {entry_id} in this batch to correct.")
        newer = connection.execute(select(_entry).where(_entry.c.supersedes == entry_id)).first()
        if newer is not None:
            act = "withdrew" if newer.kind == withdrawn else "changed"
            raise StaleEntry(
                f"Someone changed this in the meantime: {newer.author} {act} it"
                f" on {newer.recorded_at_utc:%Y-%m-%d at %H:%M} UTC.",
                "Look at the entry as it is now, and correct that one if it is still wrong.",
            )
        if kind != earlier.kind and withdrawn not in {kind, earlier.kind}:
            raise EntryRefused(
                f"A {kind} cannot correct a {earlier.kind}.",
                f"Withdraw the {earlier.kind}, then enter the {kind}.",
            )

    @staticmethod
    def _batch(connection: Connection, code: str) -> Row[Any]:
        code = plain_text(code, "code", 40)
        found = connection.execute(select(_batch).where(_batch.c.code == code)).first()
        if found is None:
            raise NotInJournal(f"There is no batch {code}.", "Check the code in the list of batches.")
        return found

    def keep_photo(self, data: bytes, facts: PhotoFacts) -> KeptPhoto:
        """Keep an original photo; the same bytes twice are one photo, with the facts that came first."""
        if not data or min(facts.width, facts.height) < 1:
            raise EntryRefused("An empty photo cannot be kept.")
        taken_at, offset = instant(facts.taken_at) if facts.taken_at else (None, None)
        sha256 = self._shelf.put(data, facts.suffix)
        with self._writing() as connection:
            known = connection.execute(_kept(sha256)).first()
            if known is None:
                row = {"sha256": sha256, "suffix": facts.suffix, "size": len(data)}
                row |= {"width": facts.width, "height": facts.height, "taken_from": facts.taken_from}
                row |= {"taken_at_utc": taken_at, "taken_at_offset_minutes": offset}
                row |= {"original_name": file_name(facts.original_name), "received_at_utc": self._now()}
                connection.execute(_photo.insert().values(row))
                known = connection.execute(_kept(sha256)).one()
        return _as_photo(known)

    def find_photo(self, sha256: str) -> KeptPhoto | None:
        """A photo by its hash, if it is in the journal."""
        with self._reading() as connection:
            row = connection.execute(_kept(sha256)).first()
        return _as_photo(row) if row else None

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
            current = select(_entry.c.photo_sha256).where(_entry.c.batch_id == found.id, _CURRENT)
            query = select(_photo).where(_photo.c.sha256.in_(current))
            photos = [_as_photo(row) for row in connection.execute(query)]
        return tuple(
            sorted(photos, key=lambda photo: (photo.facts.taken_at or photo.received_at, photo.sha256))
        )

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
            row = connection.execute(_latest(_card).where(_card.c.name == name)).first()
            if row is None or (row.toml, row.copy_id) != (toml, copy_id):
                values = {"name": name, "copy_id": copy_id, "toml": toml, "added_at_utc": self._now()}
                connection.execute(_card.insert().values(values))
                row = connection.execute(_latest(_card).where(_card.c.name == name)).one()
        return KeptCard(row.name, row.copy_id, row.toml, row.added_at_utc)

    def cards(self) -> tuple[KeptCard, ...]:
        """The latest definition of each card, by name."""
        with self._reading() as connection:
            rows = connection.execute(_latest(_card).order_by(_card.c.name)).all()
        return tuple(KeptCard(row.name, row.copy_id, row.toml, row.added_at_utc) for row in rows)

    def card_text(self, name: str) -> str:
        """The latest definition of a card."""
        for card in self.cards():
            if card.name == name:
                return card.toml
        raise NotInJournal(f"The journal has no card {name}.")

    def setting(self, name: str, default: Any = None) -> Any:
        """The latest value of a setting, or `default`."""
        with self._reading() as connection:
            text = connection.scalar(
                _latest(_setting).with_only_columns(_setting.c.value).where(_setting.c.name == name)
            )
        return default if text is None else json.loads(text)

    def set_setting(self, name: str, value: Any) -> None:
        """Set a setting to a value that JSON can hold; earlier values stay in the history."""
        name = plain_text(name, "name of the setting", 80)
        try:
            text = json.dumps(value, allow_nan=False, sort_keys=True)
        except (TypeError, ValueError) as error:
            raise EntryRefused(f"The setting {name} cannot be kept: {error}") from error
        with self._writing() as connection:
            known = _latest(_setting).with_only_columns(_setting.c.value).where(_setting.c.name == name)
            if connection.scalar(known) != text:
                connection.execute(_setting.insert().values(name=name, value=text, set_at_utc=self._now()))


def _inserted(connection: Connection, table: Table, row: dict[str, Any]) -> int:
    return int(connection.execute(table.insert().values(row).returning(table.c.id)).scalar_one())


def _kept(sha256: str) -> Select[Any]:
    return select(_photo).where(_photo.c.sha256 == sha256)


def _latest(table: Table) -> Select[Any]:
    newer = table.alias("newer")
    return select(table).where(~exists().where(newer.c.name == table.c.name, newer.c.id > table.c.id))


def _as_entry(row: Row[Any]) -> Entry:
    return Entry(
        row.id,
        local(row.at_utc, row.at_offset_minutes),
        row.author,
        row.recorded_at_utc,
        from_json(row.kind, row.record),
        row.supersedes,
        row.photo_sha256,
    )


def _as_photo(row: Row[Any]) -> KeptPhoto:
    taken_at = local(row.taken_at_utc, row.taken_at_offset_minutes) if row.taken_at_utc else None
    facts = PhotoFacts(row.suffix, row.width, row.height, taken_at, row.taken_from, row.original_name)
    return KeptPhoto(row.sha256, row.size, facts, row.received_at_utc)
