"""The one base of every error that a maker may see."""

from __future__ import annotations

from typing import Self

from curejournal.base.messages import join


class CureJournalError(Exception):
    """Something that a maker can understand and act on.

    Concrete classes live beside the code that raises them. Faces catch this
    base in one place; anything else is a fault of ours and crashes loudly.

    Parameters
    ----------
    what : str
        What happened, in a plain sentence.
    do : str
        What to do next, in a plain sentence.
    safe : str
        What is safe: by default, that nothing in the journal was changed.
    """

    def __init__(self, what: str, do: str = "", safe: str = "Nothing in the journal was changed.") -> None:
        self.what, self.do, self.safe = what, do, safe
        super().__init__(join(" ", (part for part in (what, safe, do) if part)))

    def after(self, safe: str) -> Self:
        """The same refusal where something was kept before it: `safe` says what."""
        return type(self)(self.what, self.do, safe)
