"""Batch tags: the id of a journal in them, and what is written in one."""

from __future__ import annotations

import base64
import secrets

from curejournal.journal.store import Journal
from curejournal.photo.find.tag import payload

TAG_ID = "tag id"


def journal_id(journal: Journal) -> str:
    """The id of this journal in its tags; made once, and the same in its copies and backups."""
    known = journal.setting(TAG_ID)
    if known is None:
        journal.set_setting(TAG_ID, base64.b32encode(secrets.token_bytes(5)).decode()[:6])
        known = journal.setting(TAG_ID)
    return str(known)


def tag_text(journal: Journal, code: str) -> str:
    """What is written in a batch's tag.

    Raises
    ------
    NotInJournal
    """
    return payload(journal_id(journal), journal.batch(code).code)
