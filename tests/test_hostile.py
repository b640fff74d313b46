"""Hostile files through every door: a sentence each, no crash, no change; hostile names stay text everywhere."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import html5lib
import pytest

from curejournal import workflow
from curejournal.batch.records import Event, Portion, Weighing
from curejournal.journal.exchange import bring_in
from curejournal.journal.store import Journal
from curejournal.workflow import documents
from curejournal.workflow.photos import Answers, Source, add_photo
from tests.hostile import AT, NOW
from tests.hostile_files import NAMES, PICTURES, picture, saved, texts
from tests.journal.test_backup import HOSTILE as BACKUPS

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def tried(tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[dict]]:
    """What became of each file, in one child process with bounded memory and time."""
    folder = tmp_path_factory.mktemp("hostile")
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-m", "tests.hostile", str(folder)],
        cwd=ROOT, env=environment, capture_output=True, text=True, check=False,
    )  # fmt: skip
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    assert done.returncode == 0, (done.returncode, lines[-1:], done.stderr[-3000:])
    yield lines
    left = sorted(path.name for path in folder.iterdir())
    assert left == ["hostile.json", "journal"]


def test_none_of_them_crashes_and_each_gets_a_sentence(tried: list[dict]) -> None:
    files = tried[:-1]
    assert len({line["name"] for line in files}) == len(files)
    assert len(files) + len(BACKUPS) >= 200
    for line in files:
        assert len(line["said"]) > 20, line
        assert line["said"].endswith((".", "?")), line


def test_none_of_them_changes_the_journal(tried: list[dict]) -> None:
    assert [line["name"] for line in tried[:-1] if not line["unchanged"]] == []
    assert tried[-1]["problems"] == []


def test_the_list_of_files_is_the_same_each_time() -> None:
    for make in (PICTURES["broken"], PICTURES["malformed"]):
        first, second = (dict(make(3)) for _ in range(2))
        assert first == second
    assert dict(texts()) == dict(texts())


@pytest.fixture(scope="module")
def named(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Journal, dict[str, str]]]:
    """A journal in which everything that can have a name has a hostile one, and the codes of its batches."""
    with Journal.open(tmp_path_factory.mktemp("named") / "journal") as journal:
        codes = {}
        for kind, name in NAMES.items():
            codes[kind] = name[:36] + "…" if len(name) > 40 else name
            records = [Event("poured", note=name), Portion(name), Weighing(name, 120.0)]
            workflow.start_batch(journal, codes[kind], name, at=AT, by=name, now=NOW, records=records)
            data = saved(picture(len(codes), (64, 48)), "JPEG")
            source = Source(f"{name}/{name}.jpg", lambda data=data: data)
            said = Answers(at=AT, caption=name)
            add_photo(journal, codes[kind], source, None, said, by=name, now=NOW, story=True)
        yield journal, codes


@pytest.mark.parametrize("kind", NAMES)
def test_a_hostile_name_is_kept_as_text(named: tuple[Journal, dict[str, str]], kind: str) -> None:
    journal, codes = named
    batch = journal.batch(codes[kind])
    assert batch.name == NAMES[kind]
    assert batch.portions[0].name == NAMES[kind]
    (photo,) = journal.photos_of(codes[kind])
    assert not {"/", "\\"} & set(photo.facts.original_name)


@pytest.mark.parametrize("kind", NAMES)
def test_a_hostile_name_stays_text_in_pages_file_names_and_on_paper(
    named: tuple[Journal, dict[str, str]], tmp_path: Path, kind: str
) -> None:
    journal, codes = named
    name = NAMES[kind]
    written = documents.portfolio(
        journal, [codes[kind]], tmp_path / "out", NOW, design=documents.Design(name, name), unreleased=True
    )
    assert {path.relative_to(tmp_path / "out").parts[-1] for path in written} == {path.name for path in written}
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out"]
    seen = ""
    for path in written:
        if path.suffix != ".html":
            continue
        page = html5lib.parse(path.read_text("utf-8"), namespaceHTMLElements=False)
        for element in page.iter():
            assert element.tag not in ("iframe", "object")
            assert element.tag != "script" or (element.attrib["src"], element.text) == ("portfolio.js", None)
            assert not [key for key in element.attrib if str(key).startswith("on")]
            for key in ("src", "href"):
                assert not element.attrib.get(key, "").startswith(("http", "javascript", "//", "..", "/"))
        seen += " ".join(page.itertext())
    assert " ".join(name.split()) in " ".join(seen.split())
    assert documents.batch_record(journal, [codes[kind]], NOW).startswith(b"%PDF")
    assert documents.portfolio_on_paper(
        journal, [codes[kind]], NOW, design=documents.Design(name), unreleased=True
    ).startswith(b"%PDF")


def test_hostile_names_come_back_from_tables_and_backups(named: tuple[Journal, dict[str, str]], tmp_path: Path) -> None:
    journal, _ = named
    journal.export(tmp_path / "out")
    for source in (tmp_path / "out", tmp_path / "out" / "journal.json"):
        bring_in(source, tmp_path / f"again {source.name}")
        with Journal.open(tmp_path / f"again {source.name}") as again:
            assert again.all_batches() == journal.all_batches()
