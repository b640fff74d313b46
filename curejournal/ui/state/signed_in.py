"""Who is signed in, where the app is served to others."""

from __future__ import annotations

import os
from dataclasses import dataclass
from urllib.parse import unquote

import streamlit as st

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg

BEHIND_GATE = "CUREJOURNAL_BEHIND_GATE"
"""Set in a server that has the gate before it; in no other is a browser believed who it says to be."""


class NotSignedIn(CureJournalError):
    """A page was asked for past the gate."""


@dataclass(frozen=True)
class SignedIn:
    """A person as the gate knows them."""

    name: str
    reads_only: bool


def behind_gate() -> bool:
    """Whether this server gives nothing to anybody who is not signed in."""
    return bool(os.environ.get(BEHIND_GATE))


def signed_in() -> SignedIn | None:
    """Who looks at this page; None in an app that serves this computer alone.

    Raises
    ------
    NotSignedIn
    """
    if not behind_gate():
        return None
    from curejournal.auth.gate import NAME_HEADER, READS, RIGHTS_HEADER  # the server that has a gate has it loaded

    told = st.context.headers
    if NAME_HEADER not in told:
        raise NotSignedIn(msg("Nobody is signed in."), msg("Load the page again."))
    return SignedIn(unquote(told[NAME_HEADER]), told.get(RIGHTS_HEADER) == READS)
