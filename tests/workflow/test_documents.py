"""What all batches say together and what leaves the journal, through the journal and the command line."""

from __future__ import annotations

import ast
import inspect
import io
import json
import re
import shutil
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
import vobject
from pypdf import PdfReader
from typer.testing import CliRunner

from curejournal import workflow
from curejournal.base.errors import CureJournalError
from curejournal.batch.records import Event, PhotoNote, Portion, Weighing
from curejournal.cli import app
from curejournal.journal.errors import JournalNotWritable
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import Journal, NewEntry
from curejournal.judging.judgement import judge
from curejournal.soap.recipe import Additive, Alkali, Liquid, Oil, Recipe
from curejournal.workflow import documents, materials
from tests.command import run_command
from tests.documents.test_portfolio import CORNERS, INSIDE, photo_file
from tests.judging.batches import INTENDED, JOURNEYS, READY, reading
from tests.judging.batches import batch as batch_of
from tests.judging.batches import day as day_of
from tests.judging.test_evidence import BY_STRIPS

POURED = datetime(2026, 9, 1, 10, 0, tzinfo=UTC)
NOW = POURED + timedelta(days=70)
BY = "Kaja (invented)"
DAYS = (0.2, 1, 4, 10, 20, 40)
BLENDS = {
    "B1": ("clove", "fir"),
    "B2": ("fir", "lime"),
    "B3": ("clove", "lime"),
    "B4": ("lime",),
    "B5": ("clove",),
    "B6": ("fir",),
    "B7": ("clove", "fir", "lime"),
    "B8": (),
}


def recipe(*names: str, embedded: str = "") -> Recipe:
    additives = [Additive(name, "fragrance", 20.0, lot=f"{name}-1") for name in names]
    additives += [Additive("curls", "other", 50.0, lot=embedded)] if embedded else []
    return Recipe(
        (Oil("olive", 700.0, "O-7"), Oil("coconut", 300.0, "C-3")),
        (Alkali("NaOH", 140.0, lot="N-1"),),
        (Liquid("distilled water", 280.0),),
        tuple(additives),
    )


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Journal]:
    """Eight batches of blends in which clove turns the batter, the first with photos; nobody here writes to it."""
    with Journal.open(tmp_path_factory.mktemp("told") / "journal") as journal:
        journal.set_setting("place", "A place (invented)")
        for number, code in enumerate(BLENDS):
            enter(journal, code, POURED + timedelta(hours=number))
        yield journal


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_paper_is_of_the_size_that_was_set_once(told: Journal, tmp_path: Path, paper: str) -> None:
    """A4 is of ISO 216, Letter 8.5 by 11 inches (ANSI/ASME Y14.1), in points of a 72nd of an inch."""
    there = shutil.copytree(told.location, tmp_path / "journal")
    environment = {"CUREJOURNAL_JOURNAL": str(there), "CUREJOURNAL_BY": BY}
    done = run_command("settings", "--paper", paper, "--json", environment=environment)
    assert json.loads(done.stdout)["paper"] == paper
    with Journal.open(there) as journal:
        made = (
            documents.fact_sheet(journal, "clove", NOW),
            documents.batch_record(journal, ["B1"], NOW),
            documents.lot_page(journal, "clove-1", NOW),
            documents.portfolio_on_paper(journal, ["B1"], NOW, design=documents.Design(""), unreleased=True),
        )
    wanted = {"a4": (210 / 25.4 * 72, 297 / 25.4 * 72), "letter": (8.5 * 72, 11 * 72)}[paper]
    for pdf in made:
        for page in PdfReader(io.BytesIO(pdf)).pages:
            assert (page.mediabox.width, page.mediabox.height) == pytest.approx(wanted, abs=0.1)


def enter(journal: Journal, code: str, at: datetime) -> None:
    made = recipe(*BLENDS[code], embedded="B1" if code == "B4" else "")
    records = [made, Portion("cream", target_lab=INTENDED, target_source="swatch")]
    workflow.start_batch(journal, code, f"Soap {code}", at=at, by=BY, now=NOW, records=records)
    journey = JOURNEYS["comes back" if "clove" in BLENDS[code] else "stays"]
    items = [NewEntry(Event("poured"), at), NewEntry(Event("cut", bars=2), at + timedelta(days=1))]
    for day in DAYS:
        when, photo = at + timedelta(days=day), None
        if code == "B1":
            facts = PhotoFacts(".jpg", 640, 480, when, "exif", "secret name.jpg")
            photo = journal.keep_photo(photo_file((205, 180, int(100 + day))), facts).sha256
        measured = replace(reading(journey(day)), area=json.dumps(INSIDE), corners=CORNERS)
        items.append(NewEntry(measured, when, photo=photo))
    for day in (2, 9, 40):
        items.append(NewEntry(Weighing("bar 1", 120 - 15 * day / (day + 9), 0.1), at + timedelta(days=day)))
    journal.add_many(code, items, by=BY)


def text_of(pdf: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


def test_the_culprit_of_all_batches_is_named_in_plain_words(told: Journal) -> None:
    answer = materials.which(told, NOW)
    assert answer.found.effects[0].materials == ("clove",)
    assert answer.found.effects[0].chance > 0.9
    assert materials.which_in_words(answer)[0].startswith("clove: very likely discoloured it")
    plain = materials.which_as_json(answer)
    assert json.loads(json.dumps(plain, allow_nan=False))["effects"][0]["materials"] == ["clove"]


def test_a_materials_report_holds_its_uses_and_what_to_expect(told: Journal) -> None:
    report = materials.material(told, " Clove ", NOW, dose_pct=2.0)
    assert report.history.batches == ("B1", "B3", "B5", "B7")
    assert report.expected.turn is not None
    assert report.effect is not None
    json.dumps(materials.material_as_json(report), allow_nan=False)
    with pytest.raises(materials.MaterialUnknown, match="clove"):
        materials.material(told, "tar", NOW)


def test_a_planned_blend_is_expected_to_do_what_its_materials_did(told: Journal) -> None:
    blends = (("clove", "fir"), ("fir",), ("tar",))
    risky, calm, new = (materials.planned(told, recipe(*names), NOW)[0] for names in blends)
    assert risky.turn.estimate > 10 > calm.turn.estimate
    assert risky.turn.low > 3
    assert new.turn.high > calm.turn.high
    assert [name for name, _ in risky.materials] == ["clove", "fir"]
    assert new.materials == (("tar", None),)
    words = materials.planned_in_words([risky, new])
    assert words[-1] == "the batch: tar was never used before."
    json.dumps(materials.planned_as_json([risky, new]), allow_nan=False)


@pytest.mark.parametrize(("form", "begins"), [("pdf", b"%PDF"), ("markdown", b"# clove")])
def test_a_fact_sheet_comes_in_each_form(told: Journal, form: str, begins: bytes) -> None:
    assert documents.fact_sheet(told, "clove", NOW, form).startswith(begins)


@pytest.mark.parametrize("form", ["pdf", "markdown"])
def test_a_material_of_which_nothing_is_known_yet_has_a_fact_sheet_too(journal: Journal, form: str) -> None:
    workflow.start_batch(journal, "N1", "New", at=POURED, by=BY, now=NOW, records=[recipe("clove", "fir")])
    made = documents.fact_sheet(journal, " Clove ", NOW, form)
    told = text_of(made) if form == "pdf" else made.decode()
    assert "fragrance" in told and "0 portions of 0 batches" in told


def test_the_record_names_parents_and_children(told: Journal) -> None:
    parent, child = (text_of(documents.batch_record(told, [code], NOW)) for code in ("B1", "B4"))
    assert "It was embedded in: B4" in parent
    assert "Embedded in it: B1" in child
    assert "A place (invented)" in parent


def test_batches_of_a_day_and_of_a_lot_are_found(told: Journal) -> None:
    assert documents.poured_on(told, date(2026, 9, 1), UTC) == tuple(BLENDS)
    assert documents.poured_on(told, date(2026, 9, 2), UTC) == ()
    assert [use.batch for use in documents.lot(told, "fir-1")] == ["B1", "B2", "B6", "B7", "B4"]
    assert documents.lot(told, "fir-1")[-1].material == "pieces of batch B1"
    assert "20 g" in text_of(documents.lot_page(told, "fir-1", NOW))
    with pytest.raises(documents.NothingChosen):
        documents.batch_record(told, [], NOW)


def test_a_portfolio_is_written_whole_and_a_newer_one_takes_its_place(told: Journal, tmp_path: Path) -> None:
    to = tmp_path / "shown"
    documents.portfolio(told, ["B1", "B2"], to, NOW, unreleased=True)
    assert (to / "b1-time-lapse.webp").is_file()
    assert {"index.html", "b1.html", "b2.html", "portfolio.css"} < {path.name for path in to.iterdir()}
    assert not any(b"secret name" in path.read_bytes() for path in to.iterdir())
    documents.portfolio(told, ["B2"], to, NOW, unreleased=True)
    assert {path.name for path in to.iterdir()} == {"index.html", "b2.html", "portfolio.css", "portfolio.js"}
    assert [path.name for path in tmp_path.iterdir() if "shown" in path.name] == ["shown"]


@pytest.mark.parametrize("name", ["dear.txt", "portfolio.css", "index.html", "photos/one.jpg"])
@pytest.mark.parametrize("beside", [False, True], ids=["alone", "beside a portfolio"])
def test_a_folder_with_something_else_in_it_is_left_alone(
    told: Journal, tmp_path: Path, name: str, beside: bool
) -> None:
    to = tmp_path / "letters"
    if beside:
        documents.portfolio(told, ["B2"], to, NOW, unreleased=True)
        name = {"portfolio.css": "my page.html", "index.html": "notes.txt"}.get(name, name)
    (to / name).parent.mkdir(exist_ok=True, parents=True)
    (to / name).write_text("dear")
    with pytest.raises(documents.FolderInUse):
        documents.portfolio(told, ["B1"], to, NOW, unreleased=True)
    assert (to / name).read_text() == "dear"


def test_an_unknown_batch_leaves_an_earlier_portfolio_as_it_is(told: Journal, tmp_path: Path) -> None:
    documents.portfolio(told, ["B2"], tmp_path / "shown", NOW, unreleased=True)
    with pytest.raises(CureJournalError):
        documents.portfolio(told, ["B2", "nowhere"], tmp_path / "shown", NOW, unreleased=True)
    assert (tmp_path / "shown" / "b2.html").is_file()


def test_a_portfolio_that_cannot_be_written_is_told_so(told: Journal, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("no folder")
    with pytest.raises(JournalNotWritable, match="cannot be written to"):
        documents.portfolio(told, ["B2"], tmp_path / "file" / "shown", NOW, unreleased=True)


def test_a_photo_stands_in_the_portfolio_at_the_time_that_it_was_given(journal: Journal, tmp_path: Path) -> None:
    """A camera's wrong clock stays in the photo's own facts, whatever was said of it later."""
    workflow.start_batch(journal, "N1", "New", at=POURED, by=BY, now=NOW, records=[Event("poured")])
    for days, clock in ((3, timedelta(days=400)), (9, timedelta(days=-400))):
        facts = PhotoFacts(".jpg", 640, 480, POURED + clock, "exif", "a.jpg")
        photo = journal.keep_photo(photo_file((200, 180, days)), facts)
        journal.add("N1", PhotoNote(), at=POURED + timedelta(days=days), by=BY, photo=photo.sha256)
    documents.portfolio(journal, ["N1"], tmp_path / "shown", NOW, unreleased=True)
    page = (tmp_path / "shown" / "n1.html").read_text().partition('id="photos"')[2]
    assert 0 < page.index("3 days old") < page.index("9 days old")
    assert "2025" not in page and "2027" not in page


def test_the_calendar_holds_what_is_due(told: Journal) -> None:
    events = vobject.readOne(documents.calendar_file(told, NOW, UTC).decode()).vevent_list
    assert len(events) == len(workflow.due_now(told, NOW))
    assert len({event.uid.value for event in events}) == len(events)


def test_a_label_says_that_nobody_titrated(monkeypatch: pytest.MonkeyPatch, told: Journal) -> None:
    judged = {
        kind: judge(batch_of(*records), day_of(45)) for kind, records in (("strips", BY_STRIPS), ("titrated", READY))
    }
    for kind, words in (("strips", "not released yet; not titrated"), ("titrated", "not released yet")):
        monkeypatch.setattr(workflow, "judge_batch", lambda *_, kind=kind: judged[kind])
        said = text_of(documents.labels(told, "B1", NOW, count=1))
        assert words in " ".join(said.split()) and ("not titrated" in said) == (kind == "strips")


def test_labels_are_one_for_each_bar(told: Journal) -> None:
    assert text_of(documents.labels(told, "B1", NOW)).count("batch B1") == 2
    net = documents.net_weight(told, "B1")
    assert f"{net.grams_each} g" in text_of(documents.labels(told, "B1", NOW, count=1, with_weight=True))
    with pytest.raises(documents.NothingChosen):
        documents.labels(told, "B1", NOW, count=0)


def test_an_empty_journal_says_what_is_missing(journal: Journal) -> None:
    assert materials.all_materials(journal) == ()
    with pytest.raises(CureJournalError, match="Photograph"):
        materials.which(journal, NOW)
    with pytest.raises(documents.NothingChosen):
        documents.portfolio(journal, [], Path("nowhere"), NOW)


@pytest.mark.parametrize("form", ["json", "csv"])
def test_a_recipe_goes_out_and_starts_a_batch_elsewhere(told: Journal, tmp_path: Path, form: str) -> None:
    file = tmp_path / f"recipe.{form}"
    file.write_bytes(documents.recipe_out(told, "B7", form))
    elsewhere = ["--journal", str(tmp_path / "elsewhere"), "--by", BY]
    command = ["batch", "start", "N1", "--name", "New", "--recipe", str(file), *elsewhere]
    done = CliRunner().invoke(app, command, catch_exceptions=False)
    assert done.exit_code == 0
    with Journal.open(tmp_path / "elsewhere") as other:
        assert other.batch("N1").recipe == told.batch("B7").recipe


def test_a_batch_opens_in_another_journal_with_the_same_judgement(told: Journal, tmp_path: Path) -> None:
    with Journal.open(tmp_path / "other") as other:
        batch = documents.open_bundle(other, documents.bundle(told, "B1"), by="Ott", now=NOW, zone=UTC)
        assert [photo.sha256 for photo in other.photos_of("B1")] == [photo.sha256 for photo in told.photos_of("B1")]
        same = [workflow.judge_batch(journal, "B1", NOW).headline for journal in (told, other)]
        assert same[0] == same[1]
        assert batch.name == "Soap B1"


def test_a_bundle_with_something_else_for_a_photo_is_refused_and_nothing_entered(tmp_path: Path) -> None:
    facts = PhotoFacts(".jpg", 40, 30, POURED, "maker", "a.jpg")
    with Journal.open(tmp_path / "one") as one, Journal.open(tmp_path / "two") as two:
        one.start_batch("B1", "Soap", at=POURED, by=BY)
        photo = one.keep_photo(b"#!/bin/sh", facts)
        one.add("B1", Event("poured"), at=POURED, by=BY, photo=photo.sha256)
        with pytest.raises(CureJournalError):
            documents.open_bundle(two, documents.bundle(one, "B1"), by="Ott", now=NOW, zone=UTC)
        assert two.batches() == ()


COMMANDS = [
    ("material", "list"),
    ("material", "show", "clove", "--pdf", "{to}/sheet.pdf", "--markdown", "{to}/sheet.md"),
    ("material", "cause"),
    ("material", "cause", "--end"),
    ("recipe", "predict", "{recipe}"),
    ("material", "lot", "fir-1", "--pdf", "{to}/lot.pdf"),
    ("record", "B1", "B2", "{to}/record.pdf"),
    ("record", "{to}/record.pdf", "--day", "2026-09-01"),
    ("record", "{to}/record.pdf", "--lot", "fir-1"),
    ("batch", "portfolio", "B1", "{to}/shown", "--unreleased", "--layout", "stories"),
    ("batch", "portfolio", "{to}/shown.pdf", "--unreleased"),
    ("batch", "calendar", "{to}/due.ics"),
    ("batch", "labels", "B1", "{to}/labels.pdf", "--weight", "--paper", "letter"),
    ("batch", "recipe", "B1", "{to}/recipe.csv"),
    ("batch", "recipe", "B1", "{to}/recipe.json"),
    ("batch", "share", "B1", "{to}/b1.zip"),
]


@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: " ".join(command[:3]))
@pytest.mark.parametrize("as_json", [True, False])
def test_every_command_answers(told: Journal, tmp_path: Path, command: tuple[str, ...], as_json: bool) -> None:
    planned = tmp_path.with_name(f"{tmp_path.name}-planned.json")
    planned.write_bytes(documents.recipe_out(told, "B3", "json"))
    words = [part.format(to=tmp_path, recipe=planned) for part in command] + (["--json"] if as_json else [])
    done = CliRunner().invoke(app, [*words, "--journal", str(told.location)], catch_exceptions=False)
    assert done.exit_code == 0
    assert json.loads(done.stdout) if as_json else done.stdout.strip()
    for part in words:
        assert not part.startswith(str(tmp_path)) or Path(part).exists()


def test_a_refused_command_exits_with_1_and_a_sentence(told: Journal) -> None:
    done = run_command("material", "show", "tar", "--json", environment={"CUREJOURNAL_JOURNAL": str(told.location)})
    assert done.returncode == 1
    assert "No recipe names" in json.loads(done.stdout)["error"]["what"]


# Every use case that makes a paper or a page; the others look something up, or pass on data to be read in again.
PAPERS: dict[str, Callable[[Journal, Path], object]] = {
    "batch_record": lambda j, to: documents.batch_record(j, ["B1", "B2", "B8"], NOW),
    "calendar_file": lambda j, to: documents.calendar_file(j, NOW, UTC),
    "fact_sheet": lambda j, to: (
        documents.fact_sheet(j, "clove", NOW) + documents.fact_sheet(j, "clove", NOW, "markdown")
    ),
    "labels": lambda j, to: documents.labels(j, "B1", NOW, count=1, with_weight=True),
    "lot_page": lambda j, to: documents.lot_page(j, "clove-1", NOW),
    "portfolio": lambda j, to: documents.portfolio(j, ["B1"], to, NOW, unreleased=True),
    "portfolio_on_paper": lambda j, to: documents.portfolio_on_paper(j, ["B1"], NOW, unreleased=True),
    "portfolio_packed": lambda j, to: documents.portfolio_packed(j, ["B1"], NOW, "pages", unreleased=True),
}
OTHERS = {"lot", "net_weight", "poured_on", "offered", "portfolio_batch", "square_picture", "soap_of"} | {
    "bundle", "open_bundle", "recipe_in", "recipe_out", "recipe_text"
}  # fmt: skip
DRAFTING = re.compile(
    r"\[(?:looked up|from memory|memory|common|practice|unverified|arithmetic|house rule)[^\]]*\]"
    "|from memory|common practice|no source|unverified",
    re.IGNORECASE,
)


def test_every_paper_is_looked_at() -> None:
    tree = ast.parse(Path(documents.__file__).read_text(encoding="utf-8"))
    named = {alias.name for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) for alias in node.names}
    assert {
        name for name in named - {"attach"} if inspect.isfunction(getattr(documents, name))
    } == PAPERS.keys() | OTHERS


@pytest.mark.parametrize("name", PAPERS)
def test_no_paper_bears_a_drafting_note(name: str, told: Journal, tmp_path: Path) -> None:
    """There stands a citation, “maker's own rule”, or nothing: not “[from memory]”, not “[common practice]”."""
    made = PAPERS[name](told, tmp_path / "made")
    said = "".join(map(texts_in, made if isinstance(made, tuple) else [made]))
    assert len(said) > 20, "it says something"
    assert not DRAFTING.findall(said)


def texts_in(made: object) -> str:
    """What is to be read in a paper: a PDF, a page, or pages packed together; nothing of a picture."""
    if isinstance(made, Path):
        return texts_in(made.read_bytes()) if made.suffix == ".html" else ""
    data = getattr(made, "data", made)
    assert isinstance(data, bytes)
    if data[:2] == b"PK":
        with zipfile.ZipFile(io.BytesIO(data)) as pack:
            return "".join(pack.read(one).decode() for one in pack.namelist() if one.endswith(".html"))
    before, pdf, rest = data.partition(b"%PDF")
    after = rest[rest.rfind(b"%%EOF") + 5 :] if pdf else b""
    pages = PdfReader(io.BytesIO(pdf + rest)).pages if pdf else ()
    return "".join(page.extract_text() for page in pages) + (before + after).decode()
