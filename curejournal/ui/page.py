"""What a page is, what it is given, and how it says that something went wrong."""

from __future__ import annotations

import importlib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any, TypeVar

import streamlit as st

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.journal.store import Journal
from curejournal.ui.i18n import tr

T = TypeVar("T")


@dataclass(frozen=True)
class Desk:
    """What every page is given: the journal, what time it is there, who writes, and the ways to other pages.

    `stands_still` says that the calendar is the demo's. `ways` are Streamlit's pages by slug. `signed_in` says that
    `by` was proved by a passphrase; `reads_only`, that they may enter nothing: the journal then refuses it.
    """

    journal: Journal
    now: datetime
    zone: tzinfo
    by: str
    stands_still: bool
    ways: Mapping[str, Any]
    signed_in: bool = False
    reads_only: bool = False


@dataclass(frozen=True)
class Page:
    """A page of the app, as one part of one of the ten ways in `WAYS`; the first part is what the way opens.

    The module of `ui.pages` that draws it is named as its slug. `tab` names a part beside the others if that is shorter
    than its title. A page that is not `listed` is reached from others alone; one that is not
    `titled` draws its own heading. `writes` says that all of it is for entering, so that nobody who may only read is
    shown it.
    """

    title: str
    slug: str
    way: str
    tab: str = ""
    listed: bool = True
    titled: bool = True
    writes: bool = False

    def load(self) -> Callable[[Desk], None]:
        """Import the page's module, at its first use, and give what draws it."""
        draw: Callable[[Desk], None] = importlib.import_module(f"curejournal.ui.pages.{self.slug}").render
        return draw


WAYS = (
    msg("Today"),
    msg("Batches"),
    msg("Photos"),
    msg("Plan"),
    msg("Compare"),
    msg("Materials"),
    msg("Portfolio"),
    msg("Documents"),
    msg("Settings"),
    msg("Help"),
)
"""The ways through the app, in order; the first `AT_THE_THUMB` are in sight on a phone, the rest one tap away."""
AT_THE_THUMB = 4


def attempt(act: Callable[[], T]) -> T | None:
    """Do something that may be refused; a refusal is shown where it happened, and None comes back."""
    try:
        return act()
    except CureJournalError as error:
        refusal(error)
        return None


def refusal(error: CureJournalError) -> None:
    """Say what was refused, what is safe and what to do."""
    words = "\n\n".join(plain(part) for part in (error.what, error.safe, error.do) if part)
    st.error(tr(words), icon=":material/back_hand:")


def plain(text: str) -> str:
    """Text told, where Streamlit would read it as Markdown: nothing a maker typed becomes a link or a picture."""
    kept = _ADDRESS.sub("\\1\u2060", tr(text))
    return "".join(f"\\{sign}" if sign in _SPEAKING else sign for sign in kept).replace("\n", "  \n")


# Bare addresses become links, escaped or not, unless a word joiner, which does not show, stands in them.
_ADDRESS = re.compile(r"(https?(?=:)|www(?=\.)|@)", re.IGNORECASE)
_SPEAKING = frozenset("\\`*_{}[]()<>#+-.!|~$:^=&")
