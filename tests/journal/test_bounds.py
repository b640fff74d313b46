"""Characters that act on a terminal, and small files that would exhaust, are refused with a sentence, soon."""

from __future__ import annotations

import io
import json
import re
import resource
import time
import zipfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from curejournal.base import bounds
from curejournal.base.errors import CureJournalError
from curejournal.base.strings import escaped, visible
from curejournal.batch.records import Decision, Event, SurfaceNote, Weighing
from curejournal.journal.bundle import DATA, read_bundle, take_bundle, write_bundle
from curejournal.journal.errors import DataRefused, EntryRefused
from curejournal.journal.exchange import bring_in
from curejournal.journal.store import Journal, PhotoFacts
from curejournal.workflow.documents.sharing import recipe_in

AT = datetime(2026, 5, 1, 12, tzinfo=UTC)
ROOT = Path(__file__).resolve().parents[2]
HOSTILE = [
    "\x1b[2J",
    "\x1b]0;title\x07",
    "a\x00b",
    "\u202egnp.exe",
    "\u2066x\u2069",
    "\x9b31m",
    "line\u2028break",
    "\x7f",
]
# Seconds and bytes within which a refusal has to come.
SECONDS, MEMORY = 2.0, 300_000_000


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[Journal]:
    with Journal.open(tmp_path / "journal") as journal:
        journal.start_batch("B-1", "Oat", at=AT, by="Ana", records=[Event("poured")])
        yield journal


@pytest.mark.parametrize("text", HOSTILE)
def test_a_text_that_acts_on_a_terminal_is_not_kept(kept: Journal, text: str) -> None:
    head = kept.head()
    for record in (Event("note", note=text), SurfaceNote("ash", note=text), Weighing(text, 1.0)):
        with pytest.raises(EntryRefused, match="cannot be seen"):
            kept.add("B-1", record, at=AT, by="Ana")
    with pytest.raises(EntryRefused):
        kept.add("B-1", Event("cut"), at=AT, by=f"Ana{text}")
    with pytest.raises(EntryRefused):
        kept.keep_card("mine", f"size = 1 # {text}")
    assert kept.head() == head
    photo = kept.keep_photo(b"a picture", PhotoFacts(".jpg", 4, 3, AT, "exif", f"{text}.jpg"))
    assert visible(photo.facts.original_name) == photo.facts.original_name
    assert kept.add("B-1", Event("note", note="two\nlines\tand a tab"), at=AT, by="Ana")


@pytest.mark.parametrize("text", HOSTILE)
def test_what_is_printed_does_nothing_to_a_terminal(text: str) -> None:
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u202a-\u202e\u2066-\u2069]", visible(text))
    said = json.dumps({"name": text}, ensure_ascii=False)
    assert json.loads(escaped(said)) == {"name": text}
    assert visible("Овсяное 🧼 “oat”\n\tsoap") == "Овсяное 🧼 “oat”\n\tsoap"


@pytest.mark.parametrize(
    "record",
    [
        Event("note", note="a" * 20_001),
        Weighing("bar 1", 1e308),
        Weighing("bar 1", -1e13),
        Decision("hold", "Ana", "s", "2-x", "e" * 2_000_001),
    ],
    ids=["a long note", "a huge weight", "a negative one", "huge evidence"],
)
def test_texts_and_numbers_are_bounded(kept: Journal, record: object) -> None:
    with pytest.raises(EntryRefused, match="the most is"):
        kept.add("B-1", record, at=AT, by="Ana")


def test_the_bounds_stand_on_a_page() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    for name, value in vars(bounds).items():
        if name.isupper():
            assert f"`{name}`" in page and f"{value:,.0f}".replace(",", " ") in page, name


# --- small files that exhaust --------------------------------------------------------------


def _bundle(change: Callable[[dict], object], *more: tuple[str, bytes, int]) -> Callable[[Journal, Path], None]:
    def make(journal: Journal, folder: Path) -> None:
        with zipfile.ZipFile(io.BytesIO(write_bundle(journal, "B-1", "test"))) as file:
            data = json.loads(file.read(DATA))
        change(data)
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as file:
            file.writestr(DATA, json.dumps(data), zipfile.ZIP_DEFLATED)
            for name, content, how in more:
                file.writestr(name, content, how)
        take_bundle(journal, read_bundle(out.getvalue()), code="B-2", by="Ana", now=AT)

    return make


PHOTO = {"sha256": "0" * 64, "suffix": ".jpg", "width": 1, "height": 1, "taken_at": None, "taken_from": None}
PHOTO |= {"original_name": "a.jpg"}
NAME = f"photos/{'0' * 64}.jpg"


def _import(text: Callable[[], str]) -> Callable[[Journal, Path], None]:
    def make(journal: Journal, folder: Path) -> None:
        (folder / "journal.json").write_text(text())
        bring_in(folder / "journal.json", folder / "new", lambda: AT)

    return make


def _many(rows: str) -> str:
    rest = '"photos": [], "cards": [], "settings": []'
    return f'{{"format": "curejournal data 2", "batches": [{rows}], "entries": [], {rest}}}'


def _recipe(text: Callable[[], str], form: str = "json") -> Callable[[Journal, Path], None]:
    return lambda journal, folder: recipe_in(text(), form)  # type: ignore[arg-type]


OIL = '{"key": "olive", "grams": 1}'
EXHAUSTING: dict[str, Callable[[Journal, Path], None]] = {
    "a bundle with 500 MB of zeros inside": _bundle(
        lambda data: data["photos"].append(PHOTO), (NAME, bytes(500_000_000), zipfile.ZIP_DEFLATED)
    ),
    "a bundle that names a photo 50,000 times": _bundle(
        lambda data: data["photos"].extend([PHOTO] * 50_000), (NAME, b"x", zipfile.ZIP_STORED)
    ),
    "a bundle whose data are 100 MB": _bundle(lambda data: data.update(software="a" * 100_000_000)),
    "a bundle of 6,000 files": _bundle(lambda data: None, *((f"photos/{k}", b"", 0) for k in range(6000))),
    "a bundle with an escape in a name": _bundle(lambda data: data.update(name="\x1b[2J")),
    "a bundle with an escape in a note": _bundle(lambda data: data["entries"][0]["record"].update(note="\x1b[2J")),
    "an import of five million empty objects": _import(lambda: _many(",".join(["{}"] * 5_000_000))),
    "an import of deep lists": _import(lambda: _many("[" * 100_000 + "]" * 100_000)),
    "a recipe of 200,000 oils": _recipe(lambda: f'{{"oils": [{",".join([OIL] * 200_000)}]}}'),
    "a recipe of 600 oils": _recipe(lambda: f'{{"oils": [{",".join([OIL] * 600)}], "alkalis": [], "liquids": []}}'),
    "a table of 30,000 oils": _recipe(lambda: "what,name,grams\n" + "oil,olive,1\n" * 30_000, "csv"),
    "a recipe of deep lists": _recipe(lambda: '{"oils": ' + "[" * 100_000 + "]" * 100_000 + "}"),
}


@pytest.mark.parametrize("make", EXHAUSTING.values(), ids=EXHAUSTING)
def test_a_small_file_that_would_exhaust_is_refused_soon(
    kept: Journal, tmp_path: Path, make: Callable[[Journal, Path], None]
) -> None:
    head, before = kept.head(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    began = time.process_time()
    with pytest.raises(CureJournalError) as refused:
        make(kept, tmp_path)
    assert isinstance(refused.value, (DataRefused, EntryRefused)) and refused.value.do
    assert kept.head() == head and not (tmp_path / "new").exists()
    # The making of the file is in these figures too.
    assert time.process_time() - began < 4 * SECONDS
    assert (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) * 1024 < 3 * MEMORY
