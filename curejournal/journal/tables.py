"""The journal's tables. Rows never leave this room.

Every table only grows, save that the words of a contact may be blanked. A change here needs a step in
`migrations/versions` and a new `HEAD`; a test compares both.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    BigInteger,
    Column,
    DateTime,
    Dialect,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
)

HEAD = "0002"
"""The schema that this version of the program reads and writes."""


class UtcDateTime(TypeDecorator[datetime]):
    """An instant, kept as UTC. SQLite would drop an offset silently, so it is kept in a column beside."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """To UTC without offset, as both databases keep it."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time without an offset reached the database")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: Any | None, dialect: Dialect) -> datetime | None:
        """Back to an instant in UTC."""
        return None if value is None else value.replace(tzinfo=UTC)


metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)

batch = Table(
    "batch",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("code", String(40), nullable=False, unique=True),
    Column("name", String(120), nullable=False),
    Column("started_at_utc", UtcDateTime, nullable=False),
    Column("started_at_offset_minutes", Integer, nullable=False),
    Column("author", String(80), nullable=False),
    Column("recorded_at_utc", UtcDateTime, nullable=False),
    sqlite_autoincrement=True,
)

photo = Table(
    "photo",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("suffix", String(8), nullable=False),
    Column("size", BigInteger, nullable=False),
    Column("width", Integer, nullable=False),
    Column("height", Integer, nullable=False),
    Column("taken_at_utc", UtcDateTime),
    Column("taken_at_offset_minutes", Integer),
    Column("taken_from", String(20)),
    Column("original_name", Text, nullable=False),
    Column("received_at_utc", UtcDateTime, nullable=False),
)

contact = Table(
    "contact",
    metadata,
    Column("id", Integer, primary_key=True),
    # The first row of the same person, if this one corrects it.
    Column("first_id", Integer, ForeignKey("contact.id"), index=True),
    Column("name", Text, nullable=False),
    Column("details", Text, nullable=False),
    # The words' hash with a salt that is blanked with them: who has only the hash cannot try out names.
    Column("salt", String(64), nullable=False),
    Column("words_hash", String(64), nullable=False),
    Column("author", String(80), nullable=False),
    Column("recorded_at_utc", UtcDateTime, nullable=False),
    sqlite_autoincrement=True,
)

entry = Table(
    "entry",
    metadata,
    Column("id", Integer, primary_key=True),
    # None: an entry of the workshop itself, such as the key of its pH strips.
    Column("batch_id", Integer, ForeignKey("batch.id")),
    Column("kind", String(40), nullable=False),
    Column("at_utc", UtcDateTime, nullable=False),
    Column("at_offset_minutes", Integer, nullable=False),
    Column("author", String(80), nullable=False),
    Column("recorded_at_utc", UtcDateTime, nullable=False),
    Column("record", Text, nullable=False),
    # Unique: an entry is corrected once, and the second of two who try is told so.
    Column("supersedes", Integer, ForeignKey("entry.id"), unique=True),
    Column("photo_sha256", String(64), ForeignKey("photo.sha256"), index=True),
    # Of a signed act: what it is, and the edition of the rules it was signed under; both are in the record too.
    Column("act", String(20)),
    Column("edition", String(80)),
    # Whom the record concerns: in the record too.
    Column("contact_id", Integer, ForeignKey("contact.id"), index=True),
    # The press on a phone or screen that made it, by a key of its own; `press_part` counts the entries of one press.
    Column("press_key", String(80)),
    Column("press_part", Integer),
    Column("pressed_at_utc", UtcDateTime),
    Column("pressed_at_offset_minutes", Integer),
    UniqueConstraint("press_key", "press_part"),
    Index("ix_entry_batch_id_kind_at_utc", "batch_id", "kind", "at_utc"),
    # With the offset in it, the latest time of each batch is read from the index alone.
    Index("ix_entry_batch_id_at_utc_at_offset_minutes", "batch_id", "at_utc", "at_offset_minutes"),
    sqlite_autoincrement=True,
)

card = Table(
    "card",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(80), nullable=False),
    Column("copy_id", String(80), nullable=False),
    Column("toml", Text, nullable=False),
    Column("added_at_utc", UtcDateTime, nullable=False),
    Index("ix_card_name_id", "name", "id"),
    sqlite_autoincrement=True,
)

setting = Table(
    "setting",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(80), nullable=False),
    Column("value", Text, nullable=False),
    Column("set_at_utc", UtcDateTime, nullable=False),
    Index("ix_setting_name_id", "name", "id"),
    sqlite_autoincrement=True,
)

seal = Table(
    "seal",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("table_name", String(20), nullable=False),
    Column("row_key", String(64), nullable=False),
    Column("row_hash", String(64), nullable=False),
    Column("chain", String(64), nullable=False),
    UniqueConstraint("table_name", "row_key"),
    sqlite_autoincrement=True,
)
"""One row for each row of the other tables: its hash, and the chain of all hashes up to it (see `seals`)."""

SEALED = (batch, photo, contact, entry, card, setting)
"""The tables whose rows are sealed, those referred to first."""
