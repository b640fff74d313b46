"""People whom entries name by number: their words are apart from the ledger, so that they can be erased on request."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, func, select, text

from curejournal.base.messages import msg
from curejournal.journal.errors import NotInJournal
from curejournal.journal.seals import put
from curejournal.journal.tables import contact as table

_FIRST: Any = func.coalesce(table.c.first_id, table.c.id)


@dataclass(frozen=True)
class Contact:
    """Somebody by number: name and how to reach them; both are empty once they were erased."""

    id: int
    name: str
    details: str

    @property
    def erased(self) -> bool:
        """Whether the words were erased on request."""
        return not self.name


def words_hash(salt: str, name: str, details: str) -> str:
    """The hash that stays when the words are erased; without the salt nobody can try out names on it."""
    return hashlib.sha256("\0".join((salt, name, details)).encode("utf-8", "surrogatepass")).hexdigest()


def contact_row(name: str, details: str) -> dict[str, str]:
    """The columns of a contact's words."""
    salt = secrets.token_hex(16)
    return {"name": name, "details": details, "salt": salt, "words_hash": words_hash(salt, name, details)}


def add_contact(connection: Connection, row: dict[str, Any], corrects: int | None) -> int:
    """Add a row of `contact_row`, with its author and time, and return the number of whom it is about."""
    first = None if corrects is None else find_contact(connection, corrects).id
    number: int = put(connection, table, {**row, "first_id": first})
    return first or number


def contacts(connection: Connection) -> tuple[Contact, ...]:
    """Everybody, as they were written down last, by number."""
    latest = select(func.max(table.c.id)).group_by(_FIRST)
    rows = connection.execute(select(table).where(table.c.id.in_(latest)).order_by(_FIRST))
    return tuple(map(_as_contact, rows))


def find_contact(connection: Connection, number: int) -> Contact:
    """Somebody by number, as they were written down last.

    Raises
    ------
    NotInJournal
    """
    query = select(table).where(number == _FIRST).order_by(table.c.id.desc()).limit(1)
    row = connection.execute(query).first()
    if row is None:
        raise NotInJournal(
            msg("There is no customer {the_number}.", the_number=number),
            msg("Check the number in the list of customers."),
        )
    return _as_contact(row)


def blank(connection: Connection, number: int) -> None:
    """Erase all words that were ever kept of somebody."""
    if connection.dialect.name == "sqlite":
        # What is deleted is overwritten, not only given free.
        connection.execute(text("PRAGMA secure_delete=ON"))
    connection.execute(table.update().where(number == _FIRST).values(name="", details="", salt=""))


def forget(connect: Callable[[], Connection]) -> None:
    """After words were erased: take their last traces out of the write-ahead log, or out of a server's table."""
    with connect() as connection:
        if connection.dialect.name == "sqlite":
            driver: Any = connection.connection.driver_connection
            driver.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        else:
            connection.execution_options(isolation_level="AUTOCOMMIT").execute(text("VACUUM contact"))


def _as_contact(row: Row[Any]) -> Contact:
    return Contact(row.first_id or row.id, row.name, row.details)
