"""The catalogue of everything the app can say: `python -m tests.texts` writes curejournal/ui/texts/curejournal.pot.

The texts are read out of the code: every string of two words or more, every label handed to the page, and one and
several of what `how_many` counts. What stands in braces in an f-string becomes a gap named after it. To add a
language, copy the file to `LANGUAGE.po` beside it (its ISO 639 code) and fill in each msgstr; gaps keep their names
and may change places.
"""

from __future__ import annotations

import ast
import io
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import get_args, get_type_hints

from babel.messages.catalog import Catalog
from babel.messages.pofile import write_po

from curejournal.base.counting import how_many
from curejournal.batch.records import AlkaliMethod, Event, SurfaceNote, TargetSource, WhyOut
from curejournal.colour.sample import Grade
from curejournal.documents.style import STATES as STATE_SIGNS
from curejournal.ui.components.glossary import CHECK_WORDS, GRADES, STATES, TRADE
from curejournal.ui.components.glossary import SIGNS as SIGNED_WORDS

ROOT = Path(__file__).parents[1] / "curejournal"
POT = ROOT / "ui" / "texts" / "curejournal.pot"
# The terminal's own words and the paper's stay English; nothing else is left out.
ELSEWHERE = ("cli", "journal/migrations", "report/templates")
# Words that stand alone: states, gauges, grades, and what a form offers.
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
_WORDY_WITH_GAPS = re.compile(r"(?=.*\s)(?:^|\s)[(“]?[A-Za-z]{2,}")
_WORDY = re.compile(r"[A-Za-z]{2,}.*\s.*[A-Za-z]|^[A-Z][a-z]+$")


def texts_of(source: str) -> Iterator[tuple[str, int]]:
    """Each text of a module with its line."""
    tree = ast.parse(source)
    skipped: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef)) and ast.get_docstring(node, clean=False):
            skipped.add(id(node.body[0].value))  # type: ignore[attr-defined]
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            skipped.add(id(node.value))
        if isinstance(node, ast.JoinedStr):
            skipped.update(id(part) for part in node.values)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "how_many":
            skipped.add(id(node.args[1]))
            what = ast.literal_eval(node.args[1])
            yield from ((how_many(number, what), node.lineno) for number in (1, "{number}"))
    for node in ast.walk(tree):
        if id(node) in skipped:
            continue
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            text, wordy = node.value.strip(), _WORDY
        elif isinstance(node, ast.JoinedStr):
            text, wordy = _with_gaps(node).strip(), _WORDY_WITH_GAPS
        else:
            continue
        if wordy.search(re.sub(r"\{\w+\}", "", text)) and "<" not in text:
            yield text, node.lineno


def _with_gaps(node: ast.JoinedStr) -> str:
    parts, used = [], set()
    for part in node.values:
        if isinstance(part, ast.Constant):
            parts.append(str(part.value).replace("{", "").replace("}", ""))
            continue
        names = re.findall(r"[A-Za-z_]\w*", ast.unparse(part.value))  # type: ignore[attr-defined]
        name = names[-1] if names else "value"
        while name in used:
            name += "_"
        used.add(name)
        parts.append("{" + name + "}")
    return "".join(parts)


def catalogue() -> Catalog:
    """All texts with where they are said."""
    found = Catalog(project="curejournal", charset="utf-8", creation_date=datetime(2026, 1, 1, tzinfo=UTC))
    for word in sorted(WORDS):
        found.add(word, locations=[("words that stand alone", 1)])
    for path in sorted(ROOT.rglob("*.py")):
        place = path.relative_to(ROOT).as_posix()
        if not place.startswith(ELSEWHERE):
            for text, line in texts_of(path.read_text()):
                found.add(text, locations=[(place, line)])
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
