"""Opening a journal's database: made if new, upgraded if old, refused if it is something else."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Connection, Engine

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.journal.copying import snapshot
from curejournal.journal.database import (
    DATABASE,
    TODAY,
    Schema,
    engine_for,
    known_revisions,
    migrate,
    postgresql_url,
    revision_of,
    sqlite_url,
)
from curejournal.journal.errors import (
    JournalDamaged,
    JournalNewer,
    JournalNotFound,
    UpgradeFailed,
    in_plain_words,
)
from curejournal.journal.files import make_folder


def open_database(
    folder: Path,
    url: str | None,
    *,
    create: bool,
    now: Callable[[], datetime],
    patience_s: float = 10.0,
    schema: Schema = TODAY,
) -> Engine:
    """The engine of a journal whose tables are those of today.

    Parameters
    ----------
    folder : Path
        The journal's folder.
    url : str or None
        A PostgreSQL address; None for the SQLite database in the folder.
    create : bool
        Whether to make the journal if there is none.
    now : callable
        The clock: the copy that is made before an upgrade has the time in its name.
    patience_s : float
        Seconds to wait for another writer.
    schema : Schema
        The version to upgrade to.
    """
    target = sqlite_url(folder / DATABASE) if url is None else postgresql_url(url)
    place = folder if url is None else target.render_as_string(hide_password=True)
    with in_plain_words(place):
        if url is None and not (folder / DATABASE).is_file():
            _refuse_absent(folder, create)
        if create:
            make_folder(folder)
        engine = engine_for(target, patience_s)
        try:
            with engine.begin() as connection:
                revision = revision_of(connection, place)
            if revision != schema.head:
                _bring_up_to_date(engine, folder, place, create=create, now=now, schema=schema)
        except BaseException:
            engine.dispose()
            raise
    return engine


def _refuse_absent(folder: Path, create: bool) -> None:
    if (folder / "photos").is_dir():
        raise JournalDamaged(
            msg(
                "The folder {folder} holds the photos of a journal, but its database {database} is missing.",
                folder=folder,
                database=DATABASE,
            ),
            msg(
                "Put {database} back into the folder, or restore the latest backup into a new folder.",
                database=DATABASE,
            ),
            msg("The photos were not touched."),
        )
    if not create:
        raise JournalNotFound(
            msg("There is no journal in {folder}.", folder=folder), msg("Check the folder, or start a journal there.")
        )


def _bring_up_to_date(
    engine: Engine, folder: Path, place: object, *, create: bool, now: Callable[[], datetime], schema: Schema
) -> None:
    with engine.connect() as connection:
        if engine.dialect.name == "sqlite":
            # A step may copy a table and drop the old one; keys are checked as a whole below.
            driver = connection.connection.driver_connection
            assert driver is not None
            driver.execute("PRAGMA foreign_keys=OFF")
        try:
            writer = connection.execution_options(writes=True)
            with writer.begin():
                # Read again: while this one waited for the lock, another may have done the work.
                revision = revision_of(writer, place)
                if revision is None and not create:
                    raise JournalNotFound(
                        msg("There is no journal at {place}.", place=place), msg("Start one there first.")
                    )
                if revision not in known_revisions(schema) | {None}:
                    raise JournalNewer(
                        msg("The journal at {place} was written by a newer version of this program.", place=place),
                        msg("Install the newer version to open it."),
                    )
                if revision is not None and revision != schema.head:
                    time = now().astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")
                    snapshot(writer, folder / f"journal-before-{schema.head}-{time}.sqlite", schema)
                if revision != schema.head:
                    _migrate(writer, place, schema)
        finally:
            # Its settings differ from those of the pool's other connections.
            connection.invalidate()


def _migrate(connection: Connection, place: object, schema: Schema) -> None:
    try:
        with in_plain_words(place):
            migrate(connection, schema)
        lost = connection.dialect.name == "sqlite" and connection.exec_driver_sql("PRAGMA foreign_key_check").first()
    except (CureJournalError, OSError):
        raise
    except Exception as error:
        raise _broken(str(error)) from error
    if lost:
        raise _broken(msg("a reference was lost"))


def _broken(why: str) -> UpgradeFailed:
    return UpgradeFailed(
        msg("The journal could not be upgraded: {why}", why=why),
        msg("Go on with the version of the program used so far, and report this."),
        msg("The journal is as it was before; a copy of its database lies beside it in its folder."),
    )
