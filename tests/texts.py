"""The catalogue of everything that we say: `python -m tests.texts` writes curejournal/workflow/texts/curejournal.pot.

Babel extracts it: the templates of `msg`, `msg_n` and `_`, in code and in pages for the web. Words that stand
alone, such as states, grades and what a form offers, are added from the values themselves. To add a language, copy
the file to `LANGUAGE.po` beside it (its ISO 639 code) and fill in each msgstr; gaps keep their names and may change
places.
"""

from __future__ import annotations

import io
from datetime import UTC, datetime
from pathlib import Path
from typing import get_args, get_type_hints

from babel.messages.catalog import Catalog
from babel.messages.extract import extract
from babel.messages.pofile import write_po
from jinja2.ext import babel_extract

from curejournal.batch.records import AlkaliMethod, Event, SurfaceNote, TargetSource, WhyOut
from curejournal.colour.sample import Grade
from curejournal.documents.style import STATES as STATE_SIGNS
from curejournal.ui.components.glossary import CHECK_WORDS, GRADES, STATES, TRADE
from curejournal.ui.components.glossary import SIGNS as SIGNED_WORDS

ROOT = Path(__file__).parents[1] / "curejournal"
POT = ROOT / "workflow" / "texts" / "curejournal.pot"
KEYWORDS = {"msg": None, "_": None, "msg_n": (1, 2)}
# Words that stand alone: states, checks, grades, and what a form offers.
WORDS = {
    *STATE_SIGNS,
    *SIGNED_WORDS,
    *(word for words in (CHECK_WORDS, STATES, GRADES, TRADE) for word in words),
    *("superfat", "today", "now"),
    *(grade.value for grade in Grade),
    *(choice for kind in (AlkaliMethod, WhyOut, TargetSource) for choice in get_args(kind)),
    *get_args(get_type_hints(SurfaceNote)["look"]),
    *get_args(get_type_hints(Event)["kind"]),
}


def catalogue() -> Catalog:
    """All texts with where they are said."""
    found = Catalog(project="curejournal", charset="utf-8", creation_date=datetime(2026, 1, 1, tzinfo=UTC))
    for word in sorted(WORDS):
        found.add(word, locations=[("words that stand alone", 1)])
    for path in sorted(ROOT.rglob("*.py")):
        with path.open("rb") as file:
            for line, text, _comments, _context in extract("python", file, keywords=KEYWORDS):
                found.add(text, locations=[(path.relative_to(ROOT).as_posix(), line)])
    for path in sorted(ROOT.rglob("*.html")):
        with path.open("rb") as file:
            for line, text, _comments, _context in extract(babel_extract, file, keywords={"_": None}):
                found.add(text, locations=[(path.relative_to(ROOT).as_posix(), line)])
    return found


def as_pot(found: Catalog) -> bytes:
    """The catalogue as a file, without lines, so that it changes only with the words."""
    file = io.BytesIO()
    write_po(file, found, include_lineno=False, omit_header=False, sort_by_file=True, width=120)
    return file.getvalue()


if __name__ == "__main__":
    POT.parent.mkdir(exist_ok=True)
    POT.write_bytes(as_pot(catalogue()))
    print(f"{len(catalogue())} texts in {POT.name}")
