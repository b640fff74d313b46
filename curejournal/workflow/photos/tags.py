"""Batch tags: the id of a journal in them, and what is written in one."""

from __future__ import annotations

import base64
import secrets

from curejournal.batch.workshop import TagId
from curejournal.journal.former_settings import TAG_PRESS
from curejournal.journal.store import Changes, Journal, NewEntry, Press
from curejournal.photo.find.tag import payload
from curejournal.workflow.software import SOFTWARE


def journal_id(journal: Journal) -> str:
    """The id of this journal in its tags; made once, and the same in its copies and backups."""
    known = kept_journal_id(journal)
    if known is None:
        now = journal.clock()
        made = TagId(base64.b32encode(secrets.token_bytes(5)).decode()[:6])
        # Of two at once, the press that came first counts.
        changes = Changes([NewEntry(made, now)], press=Press(TAG_PRESS, now))
        journal.commit(changes, by=journal.person or SOFTWARE)
        known = kept_journal_id(journal)
    return str(known)


def kept_journal_id(journal: Journal) -> str | None:
    """The id of this journal in its tags; None if none was made yet."""
    made = journal.of_workshop(TagId)
    return made[0].record.written if made else None


def tag_text(journal: Journal, code: str) -> str:
    """What is written in a batch's tag.

    Raises
    ------
    NotInJournal
    """
    return payload(journal_id(journal), journal.batch(code).code)
