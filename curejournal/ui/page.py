"""What a page is, what it is given, and how it says that something went wrong."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any, TypeVar

from curejournal.base.errors import CureJournalError
from curejournal.journal.store import Journal
from curejournal.ui.i18n import st, worded

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
    """A page of the app. `main` ones are always in sight, the others under *More*; `order` sorts both.

    `writes` says that all of it is for entering, so that nobody who may only read is shown it.
    """

    title: str
    slug: str
    order: int
    render: Callable[[Desk], None]
    icon: str = ""
    main: bool = False
    listed: bool = True
    writes: bool = False


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
    st.error(words, icon=":material/back_hand:")


def plain(text: str) -> str:
    """Text told, where Streamlit would read it as Markdown: nothing a maker typed becomes a link or a picture."""
    return "".join(f"\\{sign}" if sign in _SPEAKING else sign for sign in worded(text)).replace("\n", "  \n")


_SPEAKING = frozenset("\\`*_{}[]()<>#+-.!|~$:^=&")
