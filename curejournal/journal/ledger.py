"""The ledger: what is entered into a journal, signed, of which nothing is ever changed or removed."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from copy import copy
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any, Self, cast

from sqlalchemy import Connection, Engine, select

from curejournal.base.messages import msg
from curejournal.batch.records import Batch, Entry, Record, Withdrawn, same_code
from curejournal.batch.workshop import ContactErased
from curejournal.journal import contacts
from curejournal.journal.changes import Changes, NewBatch, NewContact, NewEntry, Press
from curejournal.journal.contacts import Contact
from curejournal.journal.entering import refuse_misplaced, refuse_wrong_correction, with_contact
from curejournal.journal.errors import (
    CodeInUse,
    EntryRefused,
    NotInJournal,
    OnlyToRead,
    SignedByOther,
    in_plain_words,
)
from curejournal.journal.last import LastKept
from curejournal.journal.photos import KeptPhoto, PhotoFacts, Shelf
from curejournal.journal.reader import Reader
from curejournal.journal.record_json import columns_of_record, kind_of, to_json
from curejournal.journal.rows import (
    CURRENT,
    OF_A_BATCH,
    WITHDRAWN,
    KeptCard,
    as_batch,
    as_card,
    as_entry,
    as_photo,
    kept,
    latest,
)
from curejournal.journal.seals import put
from curejournal.journal.tables import batch as batch_table
from curejournal.journal.tables import card as card_table
from curejournal.journal.tables import entry as entry_table
from curejournal.journal.tables import photo as photo_table
from curejournal.journal.tables import setting as setting_table
from curejournal.journal.text import (
    card_columns,
    contact_columns,
    file_name,
    instant,
    local,
    plain_text,
    setting_columns,
)


def utc_now() -> datetime:
    """The clock, in UTC."""
    return datetime.now(UTC)


class Ledger(Reader):
    """A journal, to read and to enter into. What a method returns as entered is on the disk.

    Every method that writes may raise `DiskFull`, `JournalBusy` or `JournalNotWritable` too, and has then changed
    nothing.
    """

    def __init__(self, engine: Engine, shelf: Shelf, now: Callable[[], datetime]) -> None:
        super().__init__(engine, shelf, now)
        self._writer = engine.execution_options(writes=True)
        self._person, self._reads_only = "", False
        self._last = LastKept(shelf.folder, engine)

    def of(self, person: str, *, reads_only: bool = False) -> Self:
        """The same journal as one person may use it: they sign what they enter, in no other name.

        Every method that writes, here or into another folder of this computer, raises `SignedByOther` for another's
        name, and `OnlyToRead` if they may only read. Pictures that can be made again are still put by.
        """
        theirs = copy(self)
        theirs._person, theirs._reads_only = person, reads_only
        return theirs

    @property
    def person(self) -> str:
        """Who uses this journal, if it was handed to somebody by `of`; else empty."""
        return self._person

    def _refuse_reader(self) -> None:
        if self._reads_only:
            raise OnlyToRead(
                msg("{person} may read this journal, not write in it.", person=self._person),
                msg("Ask the person who keeps it to enter this, or for the right to write (curejournal people add)."),
            )

    def _signer(self, by: str) -> str:
        name = plain_text(by, "person", 80)
        if self._person and name != self._person:
            raise SignedByOther(
                msg(
                    "{person} is signed in and cannot enter anything in the name of {name}.",
                    person=self._person,
                    name=name,
                ),
                msg(
                    "Enter it as {person}. A bundle with others' entries is opened by curejournal batch import.",
                    person=self._person,
                ),
            )
        return name

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        self._refuse_reader()
        with in_plain_words(self.location), self._writer.begin() as connection:
            yield connection
            last = self._last.read(connection)
        self._last.note(last)

    # --- everything at once ----------------------------------------------------------------

    def commit(self, changes: Changes, *, by: str) -> tuple[Entry, ...]:
        """Keep all that one press says, in one transaction, and return its entries.

        A press that came already is not kept again: what it, or the one that it repeats, made then is returned.

        Raises
        ------
        NotInJournal
            If there is no such batch, photo or contact, or no entry to correct where it is named.
        StaleEntry
            If an entry to be corrected was corrected or withdrawn in the meantime.
        SignatureStays
            If a signed act would be corrected, withdrawn or signed again in another's name.
        CodeInUse
            If there is a batch of the new one's code, or of one that differs in case alone.
        EntryRefused
            If a name is none, a time has no offset, or a record cannot be kept.
        """
        by = self._signer(by)
        press = changes.press and replace(changes.press, key=plain_text(changes.press.key, "key of the press", 80))
        changes = replace(changes, press=press)
        shelved = [(self._on_the_shelf(data, facts), len(data), facts) for data, facts in changes.photos]
        with self._writing() as connection:
            if already := self._already(connection, changes):
                return already
            self._set(connection, changes.settings)
            if changes.start is not None:
                self._start(connection, changes.start, by)
            for sha256, size, facts in shelved:
                self._know_photo(connection, sha256, size, facts)
            contact = self._add_contact(connection, changes.contact, by) if changes.contact else None
            items = changes.entries
            if changes.unless_filed and self._is_filed(connection, changes.unless_filed):
                items = [item for item in items if not item.batch]
            made = []
            for part, item in enumerate(items):
                batch_id = self._batch(connection, item.batch).id if item.batch else None
                new = replace(item, record=with_contact(item.record, contact))
                made.append(self._append(connection, batch_id, new, by, press=press, part=part))
            return tuple(made)

    @staticmethod
    def _is_filed(connection: Connection, sha256: str) -> bool:
        filed = select(entry_table.c.id).where(entry_table.c.photo_sha256 == sha256, CURRENT, OF_A_BATCH).limit(1)
        return connection.scalar(filed) is not None

    # --- batches and entries ---------------------------------------------------------------

    def start_batch(self, code: str, name: str, *, at: datetime, by: str, records: Sequence[Record] = ()) -> Batch:
        """Start a batch, with its first records; see `commit`."""
        entries = [NewEntry(record, at, batch=code) for record in records]
        made = self.commit(Changes(entries, start=NewBatch(code, name, at)), by=by)
        return as_batch(plain_text(code, "code", 40), plain_text(name, "name", 120), made)

    def _start(self, connection: Connection, batch: NewBatch, by: str) -> int:
        code, name = plain_text(batch.code, "code", 40), plain_text(batch.name, "name", 120)
        self._refuse_known(connection, code)
        at_utc, offset = instant(batch.at)
        row = {"code": code, "name": name, "started_at_utc": at_utc, "started_at_offset_minutes": offset}
        return cast(int, put(connection, batch_table, row | {"author": by, "recorded_at_utc": self._now()}))

    @staticmethod
    def _refuse_known(connection: Connection, code: str) -> None:
        # Pieces and lots name batches by their code, whose case does not count there.
        codes = connection.scalars(select(batch_table.c.code))
        alike = next((known for known in codes if same_code(known, code)), None)
        if alike is not None:
            raise CodeInUse(msg("There is a batch {alike} already.", alike=alike), msg("Give this one another code."))

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
        """Enter one record of a batch, or of the workshop if the code is empty; see `commit`."""
        return self.commit(Changes([NewEntry(record, at, supersedes, photo, code)]), by=by)[0]

    def add_many(self, code: str, items: Sequence[NewEntry], *, by: str) -> tuple[Entry, ...]:
        """Enter records of one batch, all of them or none; see `commit`."""
        return self.commit(Changes([replace(item, batch=code) for item in items]), by=by)

    def file_photo(
        self, code: str, sha256: str, records: Sequence[Record], *, at: datetime, by: str
    ) -> tuple[Entry, ...]:
        """Enter a photo's records, all of them, or none if a current entry names it already; see `commit`."""
        entries = [NewEntry(record, at, photo=sha256, batch=code) for record in records]
        return self.commit(Changes(entries, unless_filed=sha256), by=by)

    def withdraw(self, entry_id: int, *, why: str, by: str, at: datetime) -> Entry:
        """Take an entry back; it stays in the history. Its record, entered as a correction of this, brings it back."""
        by = self._signer(by)
        with self._writing() as connection:
            batch_id = self._entry(connection, entry_id).batch_id
            return self._append(connection, batch_id, NewEntry(Withdrawn(why), at, entry_id), by)

    def undo(self, *entry_ids: int, why: str, by: str, at: datetime) -> tuple[Entry, ...]:
        """Take entries back, the last first, and enter again what each of them corrected or took back, as it was."""
        by = self._signer(by)
        made = []
        with self._writing() as connection:
            for entry_id in sorted(entry_ids, reverse=True):
                undone = self._entry(connection, entry_id)
                withdrawn = NewEntry(Withdrawn(why), at, entry_id)
                made.append(self._append(connection, undone.batch_id, withdrawn, by))
                earlier = select(entry_table).where(entry_table.c.id == undone.supersedes)
                found = connection.execute(earlier).first()
                if found is not None and found.kind != WITHDRAWN:
                    was = as_entry(found)
                    again = NewEntry(was.record, was.at, made[-1].id, was.photo)
                    made.append(self._append(connection, undone.batch_id, again, by))
        return tuple(made)

    @staticmethod
    def _entry(connection: Connection, entry_id: int) -> Any:
        found = connection.execute(select(entry_table).where(entry_table.c.id == entry_id)).first()
        if found is None:
            raise NotInJournal(msg("There is no entry {entry_id}.", entry_id=entry_id))
        return found

    def _append(
        self,
        connection: Connection,
        batch_id: int | None,
        item: NewEntry,
        by: str,
        *,
        as_it_was: bool = False,
        press: Press | None = None,
        part: int = 0,
    ) -> Entry:
        kind, text = kind_of(item.record), to_json(item.record)
        at_utc, offset = instant(item.at)
        recorded_at, _ = instant(self._now())
        refuse_misplaced(kind, item.record, batch_id)
        if item.supersedes is not None:
            refuse_wrong_correction(connection, batch_id, kind, item.supersedes, as_it_was)
        elif isinstance(item.record, Withdrawn):
            raise EntryRefused(msg("A withdrawal must name the entry that it takes back."))
        if item.photo is not None and not connection.scalar(kept(item.photo)):
            raise NotInJournal(msg("The photo of this entry is not in the journal."), msg("Add the photo first."))
        row: dict[str, Any] = {
            "batch_id": batch_id,
            "kind": kind,
            "at_utc": at_utc,
            "at_offset_minutes": offset,
            "author": by,
        }
        row |= {"recorded_at_utc": recorded_at, "record": text, **columns_of_record(item.record)}
        row |= {"supersedes": item.supersedes, "photo_sha256": item.photo}
        if row["contact_id"] is not None:
            contacts.find_contact(connection, row["contact_id"])
        if press is not None:
            pressed_at, pressed_offset = instant(press.at)
            row |= {"press_key": press.key, "press_part": part}
            row |= {"pressed_at_utc": pressed_at, "pressed_at_offset_minutes": pressed_offset}
        entry_id = put(connection, entry_table, row)
        return Entry(
            entry_id,
            local(at_utc, offset),
            by,
            recorded_at,
            item.record,
            item.supersedes,
            item.photo,
            press.key if press else None,
            press.at if press else None,
        )

    # --- photos ----------------------------------------------------------------------------

    def keep_photo(self, data: bytes, facts: PhotoFacts) -> KeptPhoto:
        """Keep an original photo; the same bytes twice are one photo, with the facts that came first."""
        sha256 = self._on_the_shelf(data, facts)
        with self._writing() as connection:
            return self._know_photo(connection, sha256, len(data), facts)

    def keep_filed(
        self, code: str, data: bytes, facts: PhotoFacts, records: Sequence[Record], *, at: datetime, by: str
    ) -> tuple[KeptPhoto, tuple[Entry, ...]]:
        """Keep an original photo and enter its records, all of it or nothing; see `keep_photo` and `commit`."""
        sha256 = Shelf.hash_of(data)
        entries = [NewEntry(record, at, photo=sha256, batch=code) for record in records]
        made = self.commit(Changes(entries, [(data, facts)]), by=by)
        return self.photo(sha256), made

    def _on_the_shelf(self, data: bytes, facts: PhotoFacts) -> str:
        if not data or min(facts.width, facts.height) < 1:
            raise EntryRefused(msg("An empty photo cannot be kept."))
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
            put(connection, photo_table, row)
            known = connection.execute(kept(sha256)).one()
        return as_photo(known)

    # --- contacts --------------------------------------------------------------------------

    def keep_contact(self, contact: NewContact, *, by: str) -> Contact:
        """Keep how somebody is called and reached, whom entries then name by number."""
        by = self._signer(by)
        with self._writing() as connection:
            return contacts.find_contact(connection, self._add_contact(connection, contact, by))

    def _add_contact(self, connection: Connection, contact: NewContact, by: str) -> int:
        row = contacts.contact_row(**contact_columns(contact.name, contact.details))
        about = {"author": by, "recorded_at_utc": self._now()}
        return contacts.add_contact(connection, row | about, contact.corrects)

    def erase_contact(self, number: int, *, why: str, by: str, at: datetime) -> Entry:
        """Erase all words that were ever kept of somebody, as they may ask for; entries that name the number stay.

        They stay in backups and exports that were made before: those have to be deleted by hand.
        """
        by = self._signer(by)
        with self._writing() as connection:
            contacts.find_contact(connection, number)
            contacts.blank(connection, number)
            entry = self._append(connection, None, NewEntry(ContactErased(number, why), at), by)
        with in_plain_words(self.location):
            contacts.forget(self._engine.connect)
        return entry

    # --- cards and settings ----------------------------------------------------------------

    def keep_card(self, name: str, toml: str, copy_id: str = "") -> KeptCard:
        """Keep the definition of a card; the latest of a name counts."""
        values = card_columns(name, copy_id, toml)
        of_name = latest(card_table, values["name"])
        with self._writing() as connection:
            row = connection.execute(of_name).first()
            if row is None or (row.toml, row.copy_id) != (toml, values["copy_id"]):
                put(connection, card_table, {**values, "added_at_utc": self._now()})
                row = connection.execute(of_name).one()
            return as_card(row)

    def set_setting(self, name: str, value: Any) -> None:
        """Set a setting to a value that JSON can hold; earlier values stay in the history."""
        self.set_settings({name: value})

    def set_in(self, name: str, key: str, value: Any) -> None:
        """Set one key of a setting that maps keys to values; what another window sets meanwhile stays."""
        with self._writing() as connection:
            row = connection.execute(latest(setting_table, name)).first()
            self._set(connection, {name: {**(json.loads(row.value) if row else {}), key: value}})

    def set_settings(self, settings: Mapping[str, Any]) -> None:
        """Set settings, all of them or none; see `set_setting`."""
        with self._writing() as connection:
            self._set(connection, settings)

    def _set(self, connection: Connection, settings: Mapping[str, Any]) -> None:
        for values in [setting_columns(name, value) for name, value in settings.items()]:
            row = connection.execute(latest(setting_table, values["name"])).first()
            if row is None or row.value != values["value"]:
                put(connection, setting_table, {**values, "set_at_utc": self._now()})
