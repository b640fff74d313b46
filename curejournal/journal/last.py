"""A note beside an SQLite database of what was kept last: with an older write-ahead log, or none, it is found out.

SQLite keeps what is new in a file of its own, `journal.sqlite-wal`, until it is moved into the database. A folder
copied without that file opens without a word, and what was entered last is gone. The note is written after each
commit; it may lag behind the database, since nothing waits for it to be on the disk, but it is never ahead.
"""

from __future__ import annotations

import re
from contextlib import suppress
from pathlib import Path

from sqlalchemy import Connection, Engine, select

from curejournal.base.messages import msg
from curejournal.journal.errors import JournalDamaged
from curejournal.journal.tables import seal

NOTE = "journal.last"
_FORM = re.compile(rb"curejournal last (\d{1,18}) ([0-9a-f]{64}) *\n")
_LENGTH = 128
Last = tuple[int, str]


class LastKept:
    """The note in a journal's folder; there is none for a database on a server."""

    def __init__(self, folder: Path, engine: Engine) -> None:
        self._path = folder / NOTE if engine.dialect.name == "sqlite" else None

    @staticmethod
    def read(connection: Connection) -> Last | None:
        """The number and chain of the last row that was sealed."""
        last = connection.execute(select(seal.c.id, seal.c.chain).order_by(seal.c.id.desc()).limit(1)).first()
        return None if last is None else (last.id, last.chain)

    def note(self, last: Last | None) -> None:
        """Write down what was kept last, once it is on the disk."""
        if self._path is None or last is None:
            return
        text = f"curejournal last {last[0]} {last[1]}".encode().ljust(_LENGTH - 1) + b"\n"
        how = "r+b" if self._path.exists() else "wb"
        # Whole in one sector; what cannot be noted is only not watched over.
        with suppress(OSError), self._path.open(how, buffering=0) as file:
            file.write(text)

    def refuse_older(self, connection: Connection) -> None:
        """Refuse a database that lacks what was kept last.

        Raises
        ------
        JournalDamaged
        """
        noted = self._noted()
        if noted is None or connection.scalar(select(seal.c.chain).where(seal.c.id == noted[0])) == noted[1]:
            return
        last = self.read(connection)
        raise JournalDamaged(
            msg(
                "The database of this journal is older than its last entry: it has {last} rows of "
                "{noted} that were kept.",
                last=last[0] if last else 0,
                noted=noted[0],
            ),
            msg(
                "If the folder was copied or put back, bring over journal.sqlite and journal.sqlite-wal of the same "
                "moment, with the program closed. To go on with what is here, if there is no other copy, delete the "
                "file "
                "{note} in the journal's folder.",
                note=NOTE,
            ),
            msg("Nothing was changed."),
        )

    def _noted(self) -> Last | None:
        try:
            found = _FORM.fullmatch(self._path.read_bytes()) if self._path else None
        except OSError:
            return None
        return None if found is None else (int(found[1]), found[2].decode())
