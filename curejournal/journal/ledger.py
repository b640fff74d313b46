"""The ledger: batches and their entries, signed, of which none is ever changed or removed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from copy import copy
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from sqlalchemy import Connection, Engine, Row, select

from curejournal.batch.records import Batch, Entry, Record, Withdrawn, same_code
from curejournal.journal.current import CurrentBatches
from curejournal.journal.errors import (
    CodeInUse,
    EntryRefused,
    NotInJournal,
    OnlyToRead,
    SignatureStays,
    SignedByOther,
    StaleEntry,
    in_plain_words,
)
from curejournal.journal.record_json import kind_of, to_json
from curejournal.journal.rows import (
    CURRENT,
    HEADS,
    IN_TIME,
    SIGNED,
    WITHDRAWN,
    BatchHead,
    as_batch,
    as_entry,
    as_head,
    inserted,
    kept,
    new_names,
)
from curejournal.journal.tables import batch as batch_table
from curejournal.journal.tables import entry as entry_table
from curejournal.journal.text import instant, local, plain_text
from curejournal.journal.underway import Touched, Underway


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


class Ledger:
    """The batches and entries of a journal's database, read and written within its transactions."""

    def __init__(self, engine: Engine, location: Path, now: Callable[[], datetime]) -> None:
        self._engine, self._writer = engine, engine.execution_options(writes=True)
        self._now, self._current, self._underway = now, CurrentBatches(), Underway()
        self._person, self._reads_only = "", False
        self.location = location

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
            If there is a batch of this code, or of one that differs in case alone.
        EntryRefused
            If code (at most 40 characters), name (120) or `by` (80) are no names, `at` has no offset, or a
            record cannot be kept.
        """
        code, name, by = plain_text(code, "code", 40), plain_text(name, "name", 120), self._signer(by)
        with self._writing() as connection:
            batch_id = self._start(connection, code, name, at, by)
            entries = [self._append(connection, batch_id, NewEntry(record, at), by) for record in records]
        return as_batch(code, name, tuple(entries))

    def _start(self, connection: Connection, code: str, name: str, at: datetime, by: str) -> int:
        self._refuse_known(connection, code)
        at_utc, offset = instant(at)
        row = {"code": code, "name": name, "started_at_utc": at_utc, "started_at_offset_minutes": offset}
        row |= {"author": by, "recorded_at_utc": self._now()}
        return inserted(connection, batch_table, row)

    @staticmethod
    def _refuse_known(connection: Connection, code: str) -> None:
        # Pieces and lots name batches by their code, whose case does not count there.
        codes = connection.scalars(select(batch_table.c.code))
        alike = next((known for known in codes if same_code(known, code)), None)
        if alike is not None:
            raise CodeInUse(f"There is a batch {alike} already.", "Give this one another code.")

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
        SignatureStays
            If a signed act would be corrected, withdrawn or signed again in another's name.
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

    def _append(self, connection: Connection, batch_id: int, item: NewEntry, by: str, as_it_was: bool = False) -> Entry:
        kind, text = kind_of(item.record), to_json(item.record)
        at_utc, offset = instant(item.at)
        recorded_at, _ = instant(self._now())
        if item.supersedes is not None:
            self._refuse_wrong_correction(connection, batch_id, kind, item.supersedes, as_it_was)
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
    def _refuse_wrong_correction(
        connection: Connection, batch_id: int, kind: str, entry_id: int, as_it_was: bool
    ) -> None:
        earlier = connection.execute(
            select(entry_table.c.kind, entry_table.c.author).where(
                entry_table.c.id == entry_id, entry_table.c.batch_id == batch_id
            )
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
        if SIGNED in {kind, earlier.kind} and not as_it_was:
            # What was signed is answered by the next signature, with its name, and by nothing else.
            raise SignatureStays(
                f"Entry {entry_id} is an act that {earlier.author} signed: it is not corrected or taken back."
                if earlier.kind == SIGNED
                else "A signed act is not brought back: it is signed anew.",
                "Sign what holds now: a hold or a withdrawal answers a release, a lifted hold answers a hold, "
                "and a new release answers a withdrawal.",
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
