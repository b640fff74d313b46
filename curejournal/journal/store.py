"""A journal: a ledger with its photos, cards and settings, none of which is ever changed or removed, and its copies."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import nullcontext
from datetime import datetime
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Self

from sqlalchemy import Engine, func, select

from curejournal.base.messages import msg
from curejournal.batch.records import Entry
from curejournal.journal.changes import NEW_CONTACT, Changes, NewBatch, NewContact, NewEntry, Press
from curejournal.journal.check import Problem, Progress, check
from curejournal.journal.contacts import Contact
from curejournal.journal.copying import copy_rows, snapshot
from curejournal.journal.database import DATABASE, engine_for, migrate, postgresql_url, revision_of, sqlite_url
from curejournal.journal.entering import without_contact
from curejournal.journal.errors import CopyRefused, in_plain_words
from curejournal.journal.files import clear_pieces, make_folder, new_folder
from curejournal.journal.ledger import Ledger, utc_now
from curejournal.journal.opening import open_database
from curejournal.journal.photos import KeptPhoto, PhotoFacts, Shelf
from curejournal.journal.rows import BatchHead, KeptCard, as_photo, latest
from curejournal.journal.seals import put
from curejournal.journal.seen_photos import seen_photos
from curejournal.journal.surroundings import risks_of
from curejournal.journal.tables import card as card_table
from curejournal.journal.tables import metadata
from curejournal.journal.tables import photo as photo_table
from curejournal.journal.text import card_columns, plain_text

if TYPE_CHECKING:
    from curejournal.journal.backup import Backup

__all__ = [
    "NEW_CONTACT",
    "BatchHead",
    "Changes",
    "Contact",
    "Journal",
    "KeptCard",
    "KeptPhoto",
    "NewBatch",
    "NewContact",
    "NewEntry",
    "PhotoFacts",
    "Press",
    "utc_now",
]


class Journal(Ledger):
    """A journal in a folder, with its database there or on a PostgreSQL server.

    Open it with `Journal.open`; it may be used by several threads. What a
    method returns as entered is on the disk. Every method may raise
    `DiskFull`, `JournalBusy`, `JournalNotWritable` or `JournalDamaged`, and has then changed nothing.
    """

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
        clear_pieces(location)
        clear_pieces(location.parent, location.name)
        engine = open_database(location, url, create=create, now=now, patience_s=patience_s)
        journal = cls(engine, Shelf(location), now)
        try:
            with journal._reading() as connection:
                journal._last.refuse_older(connection)
        except BaseException:
            journal.close()
            raise
        return journal

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
            In the order of recording. New numbers are given; each keeps its author and time, and is written down now.
            In an early journal, signatures may have been taken back.
        photos : sequence of (bytes, PhotoFacts)
            Those that it names.
        cards : mapping of name to (definition, copy id)
            Kept unless this journal has one of that name.

        Raises
        ------
        CodeInUse, EntryRefused, SignedByOther
        """
        batch, by = NewBatch(plain_text(code, "code", 40), name, at), self._signer(by)
        signers = {entry.by: self._signer(entry.by) for entry in history}
        rows = [card_columns(card, copy_id, toml) for card, (toml, copy_id) in cards.items()]
        with self._reading() as connection:
            self._refuse_known(connection, batch.code)  # before any photo is on the shelf
        shelved = [(self._on_the_shelf(data, facts), len(data), facts) for data, facts in photos]
        with self._writing() as connection:
            batch_id = self._start(connection, batch, by)
            for sha256, size, facts in shelved:
                self._know_photo(connection, sha256, size, facts)
            for row in rows:
                if connection.execute(latest(card_table, row["name"])).first() is None:
                    put(connection, card_table, {**row, "added_at_utc": self._now()})
            ids: dict[int | None, int | None] = {None: None}
            for entry in history:
                new = NewEntry(without_contact(entry.record), entry.at, ids[entry.supersedes], entry.photo)
                made = self._append(connection, batch_id, new, signers[entry.by], as_it_was=True)
                ids[entry.id] = made.id
        return batch.code

    def check(self, progress: Progress | None = None) -> tuple[Problem, ...]:
        """Look at every hash and reference; see `check.check`.

        One that was cut short is gone on with for a day: photos that it had verified are not read again.
        """
        note = self._shelf.made / "checked"
        with in_plain_words(self.location), nullcontext() if self._reads_only else seen_photos(note) as seen:
            found = check(self._engine, self._shelf, progress, seen)
        return found + tuple(Problem(risk, str(self.location), serious=False) for risk in self.risks())

    def risks(self) -> tuple[str, ...]:
        """What speaks against the place where the journal lies; see `surroundings.risks_of`."""
        return risks_of(self.location)

    def backup(self, to: Path, progress: Progress | None = None) -> Backup:
        """Write the journal into one file, or into a folder under the name of the time; see `backup.write_backup`.

        `backup.restore` makes a journal of it again.
        """
        from curejournal.journal.backup import write_backup

        self._refuse_reader()

        def take(path: Path) -> None:
            with self._engine.connect() as connection:
                snapshot(connection, path)

        with in_plain_words(to):
            return write_backup(take, self._shelf, to, self._now(), progress)

    def export(self, to: Path, progress: Progress | None = None) -> Backup:
        """Write everything as JSON, as tables and as photos into a new folder; `exchange.bring_in` reads it again."""
        from curejournal.journal.exchange import write

        self._refuse_reader()
        with self._reading() as connection:
            return write(connection, self._shelf, to, progress)

    def copy_to(self, location: Path, *, url: str | None = None, progress: Progress | None = None) -> None:
        """Copy everything into a new journal, to or from a PostgreSQL server too, and compare both row by row.

        Parameters
        ----------
        location : Path
            Its folder; this journal's own, if only the database is to move to a server.
        url : str, optional
            A PostgreSQL address for its database.
        progress : callable, optional
            Told how many of the photos were copied.

        Raises
        ------
        FolderInUse, CopyRefused
            If there is something in that folder or database already.
        JournalDamaged
            If a photo or row is not the same.
        """
        self._refuse_reader()
        location = location.expanduser().absolute()
        with in_plain_words(location):
            if url is None:
                with new_folder(location) as folder:
                    self._copy_into(engine_for(sqlite_url(folder / DATABASE), wal=False), Shelf(folder), progress)
            else:
                make_folder(location)
                self._copy_into(engine_for(postgresql_url(url)), Shelf(location), progress)

    def _copy_into(self, engine: Engine, shelf: Shelf, progress: Progress | None) -> None:
        # One transaction, the tables in it too: a copy that was cut short is no journal at all.
        try:
            with self._reading() as source, engine.execution_options(writes=True).begin() as into:
                if revision_of(into, shelf.folder) is None:
                    migrate(into)
                elif any(into.scalar(select(func.count()).select_from(table)) for table in metadata.sorted_tables):
                    raise CopyRefused(
                        msg("The journal to copy into is not empty."), msg("Choose a new folder or database.")
                    )
                total = source.scalar(select(func.count()).select_from(photo_table)) or 0
                rows = source.execute(select(photo_table).execution_options(yield_per=1000))
                for done, photo in enumerate(map(as_photo, rows), start=1):
                    if not shelf.take_up(photo.sha256, photo.facts.suffix):
                        shelf.put(self._shelf.get(photo.sha256, photo.facts.suffix), photo.facts.suffix)
                    if progress:
                        progress(done, total)
                copy_rows(source, into)
        finally:
            engine.dispose()
