"""Characters that act on a terminal, and small files that would exhaust, are refused with a sentence, soon."""

from __future__ import annotations

import io
import json
import re
import zipfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from curejournal.base import bounds
from curejournal.base.strings import escaped, visible
from curejournal.batch.records import Decision, Event, SurfaceNote, Weighing
from curejournal.journal.bundle import DATA, write_bundle
from curejournal.journal.errors import EntryRefused
from curejournal.journal.store import Journal, PhotoFacts
from tests.journal.refusing import brought_in

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
# Seconds of the processor and bytes within which a refusal has to come.
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


def _bundle(change: Callable[[dict], object], *more: tuple[str, int, int]) -> Callable[[Journal, Path], Path]:
    """A bundle whose data were changed, with more files of so many zeros, stored or packed."""

    def make(journal: Journal, folder: Path) -> Path:
        with zipfile.ZipFile(io.BytesIO(write_bundle(journal, "B-1", "test"))) as file:
            data = json.loads(file.read(DATA))
        change(data)
        with zipfile.ZipFile(folder / "b.zip", "w") as file:
            file.writestr(DATA, json.dumps(data), zipfile.ZIP_DEFLATED, 1)
            for name, zeros, how in more:
                info = zipfile.ZipInfo(name)
                info.compress_type = how
                with file.open(info, "w", force_zip64=True) as part:
                    for start in range(0, zeros, 1 << 20):
                        part.write(bytes(min(1 << 20, zeros - start)))
        return folder / "b.zip"

    return make


PHOTO = {"sha256": "0" * 64, "suffix": ".jpg", "width": 1, "height": 1, "taken_at": None, "taken_from": None}
PHOTO |= {"original_name": "a.jpg"}
NAME = f"photos/{'0' * 64}.jpg"
ROW = '{"name": "a", "value": 1, "set_at": "2026-05-01T12:00:00Z", "id": %d}'
OF_THE_SHOP = (
    '{"batch": "", "kind": "event", "at": "2026-05-01T12:00:00Z", "by": "Ana", "supersedes": null, "photo": null, '
    '"recorded_at": "2026-05-01T12:00:00Z", "record": {"kind": "poured"}, "id": %d}'
)


def _import(text: Callable[[], str]) -> Callable[[Journal, Path], Path]:
    def make(journal: Journal, folder: Path) -> Path:
        (folder / "journal.json").write_text(text())
        return folder / "journal.json"

    return make


def _many(rows: str, of: str = "batches", edition: int = 2) -> str:
    tables = {"batches": "", "entries": "", "photos": "", "cards": "", "settings": ""} | {of: rows}
    parts = [f'"{name}": [{some}]' for name, some in tables.items()]
    return f'{{"format": "curejournal data {edition}", {", ".join(parts)}}}'


def _rows(row: str, numbers: range) -> str:
    return ",".join(row % number for number in numbers)


def _tables(name: str, text: Callable[[], str]) -> Callable[[Journal, Path], Path]:
    def make(journal: Journal, folder: Path) -> Path:
        journal.export(folder / "out")
        with (folder / "out" / name).open("a", encoding="utf-8") as file:
            file.write(text())
        return folder / "out"

    return make


def _recipe(text: Callable[[], str]) -> Callable[[Journal, Path], Path]:
    def make(journal: Journal, folder: Path) -> Path:
        (folder / "recipe").write_text(text())
        return folder / "recipe"

    return make


OIL = '{"key": "olive", "grams": 1}'
PACKED, STORED = zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED
EXHAUSTING: dict[str, tuple[str, Callable[[Journal, Path], Path]]] = {
    "a bundle with 1.9 GB of zeros inside": (
        "bundle",
        _bundle(lambda data: data["photos"].append(PHOTO), (NAME, 1_900_000_000, PACKED)),
    ),
    "a bundle that names a photo 50,000 times": (
        "bundle",
        _bundle(lambda data: data["photos"].extend([PHOTO] * 50_000), (NAME, 1, STORED)),
    ),
    "a bundle whose data are 100 MB": ("bundle", _bundle(lambda data: data.update(software="a" * 100_000_000))),
    "a bundle of 6,000 files": ("bundle", _bundle(lambda data: None, *((f"photos/{k}", 0, 0) for k in range(6000)))),
    "a bundle with an escape in a name": ("bundle", _bundle(lambda data: data.update(name="\x1b[2J"))),
    "a bundle with an escape in a note": (
        "bundle",
        _bundle(lambda data: data["entries"][0]["record"].update(note="\x1b[2J")),
    ),
    "a backup with 1.9 GB of zeros inside": ("backup", _bundle(lambda data: None, (NAME, 1_900_000_000, PACKED))),
    "an import of five million empty objects": (
        "import",
        _import(lambda: _many(",".join(["{}"] * 5_000_000))),
    ),
    "five million empty objects in a table that is not asked for": (
        "import",
        _import(lambda: _many(",".join(["{}"] * 5_000_000), "more")),
    ),
    "an import of deep lists": ("import", _import(lambda: _many("[" * 100_000 + "]" * 100_000))),
    "a number that is longer than a row may be": ("import", _import(lambda: _many("1" * 16_000_000))),
    "a text of blanks without an end": ("import", _import(lambda: '{"format": ' + " " * 30_000_000)),
    "a million settings of the former edition": (
        "import",
        _import(lambda: _many(_rows(ROW, range(1, 1_000_000)), "settings", 1)),
    ),
    "half a million entries from the last to the first": (
        "import",
        _import(lambda: _many(_rows(OF_THE_SHOP, range(500_000, 0, -1)), "entries")),
    ),
    "a table of a million lines": ("import", _tables("settings.csv", lambda: "1,a,1,2026-05-01\n" * 1_000_000)),
    "a table of one line of ten million cells": ("import", _tables("settings.csv", lambda: "," * 10_000_000)),
    "a table of one line that never ends": ("import", _tables("settings.csv", lambda: ',"\n"' * 5_000_000)),
    "three million empty objects in one record": (
        "import",
        _import(lambda: _many(OF_THE_SHOP.replace('"poured"', f"[{','.join(['{}'] * 3_000_000)}]") % 1, "entries")),
    ),
    "a million empty objects in one setting": (
        "import",
        _import(lambda: _many(ROW.replace("1,", f"[{','.join(['{}'] * 1_000_000)}],", 1) % 1, "settings")),
    ),
    "a recipe of 200,000 oils": ("json recipe", _recipe(lambda: f'{{"oils": [{",".join([OIL] * 200_000)}]}}')),
    "a recipe of 600 oils": (
        "json recipe",
        _recipe(lambda: f'{{"oils": [{",".join([OIL] * 600)}], "alkalis": [], "liquids": []}}'),
    ),
    "a recipe with 1e308 g": (
        "json recipe",
        _recipe(lambda: '{"oils": [{"key": "olive", "grams": 1e308}], "alkalis": [], "liquids": []}'),
    ),
    "a table of 30,000 oils": ("csv recipe", _recipe(lambda: "what,name,grams\n" + "oil,olive,1\n" * 30_000)),
    "a recipe of deep lists": ("json recipe", _recipe(lambda: '{"oils": ' + "[" * 100_000 + "]" * 100_000 + "}")),
}


@pytest.mark.parametrize(("door", "make"), EXHAUSTING.values(), ids=EXHAUSTING)
def test_a_small_file_that_would_exhaust_is_refused_soon(
    kept: Journal, tmp_path: Path, door: str, make: Callable[[Journal, Path], Path]
) -> None:
    head, file = kept.head(), make(kept, tmp_path)
    found = brought_in(door, file, tmp_path)
    assert found["said"].endswith("."), found
    assert kept.head() == head and not (tmp_path / "new").exists()
    assert (found["seconds"] < SECONDS, found["memory"] < MEMORY) == (True, True), found
