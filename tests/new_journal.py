"""A new journal's tables, made by the migrations' steps once a process, and then by what these told the database.

The steps look at the tables that the ones before them made, which takes ten times as long; most tests want a new
journal and ask nothing of how it came about. `journal/test_opening.py` has the steps themselves.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from sqlalchemy import Connection, event

from curejournal.journal import opening
from curejournal.journal.database import TODAY, Schema, migrate

_TOLD: dict[str, list[str]] = {}
"""By the name of the database's kind: each statement that changed something, in order."""
_LOOKS = ("SELECT", "PRAGMA", "WITH")


def _made(connection: Connection, schema: Schema = TODAY) -> None:
    kind = connection.dialect.name
    if schema is not TODAY or opening.revision_of(connection, "") is not None:
        migrate(connection, schema)
    elif kind not in _TOLD:
        _TOLD[kind] = []
        with _listening(connection, _TOLD[kind]):
            migrate(connection, schema)
    elif kind == "postgresql":
        connection.exec_driver_sql(";\n".join(_TOLD[kind]))
    else:
        for statement in _TOLD[kind]:
            connection.exec_driver_sql(statement)


@contextmanager
def _listening(connection: Connection, told: list[str]) -> Iterator[None]:
    def hear(_connection: object, _cursor: object, statement: str, parameters: object, *_: object) -> None:
        if not statement.lstrip().startswith(_LOOKS):
            assert not parameters, statement
            told.append(statement)

    event.listen(connection, "before_cursor_execute", hear)
    yield
    event.remove(connection, "before_cursor_execute", hear)


@contextmanager
def made_once() -> Iterator[None]:
    """New journals of this process are made so."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(opening, "migrate", _made)
        yield
