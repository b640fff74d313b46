"""Whether a database has the very tables, indexes and guards that the steps make."""

from __future__ import annotations

from functools import cache

from sqlalchemy import URL, Connection, text

from curejournal.journal.database import TODAY, Schema, engine_for, migrate
from curejournal.journal.tables import metadata


def strangers(connection: Connection, revision: str, schema: Schema = TODAY) -> tuple[str, ...]:
    """Names of what is missing in a database, or is there and should not be: a guard taken away, a trigger put in.

    Parameters
    ----------
    connection : Connection
        The database.
    revision : str
        The version that it says it has.
    schema : Schema
        The steps to compare with.
    """
    if connection.dialect.name == "postgresql":
        guards = text(
            "SELECT tgname FROM pg_trigger"
            " WHERE NOT tgisinternal AND tgenabled <> 'D' AND tgrelid = to_regclass(:table)"
        )
        found = {name for table in metadata.tables for name in connection.scalars(guards, {"table": table})}
        return tuple(sorted(found ^ {f"{table}_keeps" for table in metadata.tables} ^ {"contact_keeps_words"}))
    return tuple(sorted({name for name, _ in _objects(connection) ^ _made_by_steps(revision, schema)}))


@cache
def _made_by_steps(revision: str, schema: Schema) -> frozenset[tuple[str, tuple[str, ...]]]:
    engine = engine_for(URL.create("sqlite"))
    try:
        with engine.execution_options(writes=True).begin() as fresh:
            migrate(fresh, schema, revision)
            return _objects(fresh)
    finally:
        engine.dispose()


def _objects(connection: Connection) -> frozenset[tuple[str, tuple[str, ...]]]:
    rows = connection.execute(text("SELECT name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_stat%'"))
    return frozenset((name, _pieces(sql or "")) for name, sql in rows)


def _pieces(sql: str) -> tuple[str, ...]:
    # When a step has copied a table, the order of its constraints and SQLite's quotes and spaces are chance.
    bare = "".join(sql.replace('"', "").split())
    return tuple(sorted(piece.strip("()") for piece in bare.split(",")))
