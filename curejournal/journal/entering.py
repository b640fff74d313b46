"""What the ledger asks of an entry before it is kept."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, cast

from sqlalchemy import Connection, select

from curejournal.base.messages import day_and_time, msg
from curejournal.batch.records import WITHOUT_BATCH, Record
from curejournal.batch.workshop import WORKSHOP_RECORDS
from curejournal.journal.changes import NEW_CONTACT
from curejournal.journal.errors import EntryRefused, NotInJournal, SignatureStays, StaleEntry
from curejournal.journal.rows import SIGNED, WITHDRAWN
from curejournal.journal.tables import entry as entry_table


def refuse_wrong_correction(
    connection: Connection, batch_id: int | None, kind: str, entry_id: int, as_it_was: bool
) -> None:
    """Refuse to correct an entry that is not there, was corrected already, is signed, or is of another kind.

    Raises
    ------
    NotInJournal, StaleEntry, SignatureStays, EntryRefused
    """
    earlier = connection.execute(
        select(entry_table.c.kind, entry_table.c.author).where(
            entry_table.c.id == entry_id, entry_table.c.batch_id.is_not_distinct_from(batch_id)
        )
    ).first()
    if earlier is None:
        raise NotInJournal(msg("There is no entry {entry_id} in this batch to correct.", entry_id=entry_id))
    newer = connection.execute(select(entry_table).where(entry_table.c.supersedes == entry_id)).first()
    if newer is not None:
        act = "withdrew" if newer.kind == WITHDRAWN else "changed"
        raise StaleEntry(
            msg(
                "Someone changed this in the meantime: {author} {act} it on {recorded_at_utc} UTC.",
                author=newer.author,
                act=act,
                recorded_at_utc=day_and_time(newer.recorded_at_utc),
            ),
            msg("Look at the entry as it is now, and correct that one if it is still wrong."),
        )
    if SIGNED in {kind, earlier.kind} and not as_it_was:
        # What was signed is answered by the next signature, with its name, and by nothing else.
        raise SignatureStays(
            msg(
                "Entry {entry_id} is an act that {author} signed: it is not corrected or taken back.",
                entry_id=entry_id,
                author=earlier.author,
            )
            if earlier.kind == SIGNED
            else msg("A signed act is not brought back: sign it again."),
            msg(
                "Sign what holds now: a hold or a withdrawal answers a release, a lifted hold answers a hold, "
                "and a new release answers a withdrawal."
            ),
        )
    if kind != earlier.kind and WITHDRAWN not in {kind, earlier.kind}:
        raise EntryRefused(
            msg("A {kind} cannot correct a {corrected}.", kind=kind, corrected=earlier.kind),
            msg("Withdraw the {corrected}, then enter the {kind}.", corrected=earlier.kind, kind=kind),
        )


def with_contact(record: Record, contact: int | None) -> Record:
    """A record in which the contact that is kept with it has its number."""
    if getattr(record, "contact", None) != NEW_CONTACT:
        return record
    if contact is None:
        raise EntryRefused(msg("An entry names a new customer, and none is kept with it."))
    changed: Any = record
    return cast(Record, replace(changed, contact=contact))


def refuse_misplaced(kind: str, record: Record, batch_id: int | None) -> None:
    """Refuse a record of a batch without one, and one of the workshop in a batch.

    Raises
    ------
    EntryRefused
    """
    if batch_id is None and type(record) not in WITHOUT_BATCH:
        raise EntryRefused(
            msg("The {kind} belongs to a batch, and none is named.", kind=kind), msg("Choose the batch.")
        )
    if batch_id is not None and kind in WORKSHOP_RECORDS:
        raise EntryRefused(msg("The {kind} belongs to the workshop, not to a batch.", kind=kind))


def without_contact(record: Record) -> Record:
    """A record as another journal may have it: whom it concerns is known by number in its own journal alone."""
    changed: Any = record
    return record if getattr(record, "contact", None) is None else cast(Record, replace(changed, contact=None))
