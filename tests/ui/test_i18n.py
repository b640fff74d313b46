"""The maker's language, units and dates: said everywhere, and nothing that was typed or kept is touched."""

from __future__ import annotations

import calendar
import io
import re
import sys
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po, write_po
from pypdf import PdfReader

from curejournal import workflow
from curejournal.base.messages import Day, Spoken, msg, quantity
from curejournal.batch.records import Weighing
from curejournal.journal.store import Journal
from curejournal.ui import i18n
from curejournal.ui.frame import all_pages
from curejournal.ui.i18n import tr
from curejournal.workflow import documents, readers
from curejournal.workflow.readers import Habits, kept_habits
from tests.texts import POT, catalogue
from tests.ui.pages import app, form, only, section, text_of, writing


@pytest.fixture
def speaks(monkeypatch: pytest.MonkeyPatch):
    def speak(**how: str) -> None:
        monkeypatch.setattr(i18n, "habits", lambda: Habits(**how))

    return speak


def keep(folder: Path, **how: str) -> None:
    with Journal.open(folder) as journal:
        readers.keep_habits(journal, Habits(**how))


def test_the_catalogue_lists_what_the_code_says() -> None:
    with POT.open("rb") as file:
        listed = {message.id for message in read_po(file)}
    said = {message.id for message in catalogue()}
    assert not said ^ listed, "write it again: python -m tests.texts"


def test_every_gap_has_a_name_that_a_translator_understands() -> None:
    """`about_2` says nothing of what stands there; a and b are those of CIELAB."""
    named = {(gap, text) for text in map(str, map(_first, catalogue())) for gap in re.findall(r"\{(\w+)", text)}
    assert [text for gap, text in named if re.search(r"_\d$", gap) or (len(gap) == 1 and gap not in "ab")] == []


def test_the_catalogue_holds_sentences_and_no_code() -> None:
    """No SQL, CSS, TOML or number format: a translator would break what runs."""
    code = re.compile(r"\bSELECT\b|\bJOIN\b|^\w+ = \{|\}\}\s|font-|sans-serif|yyyy|datum\.|^[a-z]+(_[a-z]+)+$")
    assert [text for text in map(str, map(_first, catalogue())) if code.search(text)] == []


def _first(message: Message) -> str:
    return message.id if isinstance(message.id, str) else " ".join(message.id)


# 1 oz is 28.349 523 125 g; 0 °C is 32 °F, 37 °C 98.6 °F (NIST SP 811:2008, appendix B.8 and B.9).
@pytest.mark.parametrize(
    ("figure", "unit", "imperial"),
    [
        ("100", "g", "3.53\u00a0oz"),
        ("283.5", "g", "10.000\u00a0oz"),
        ("37.0", "°C", "98.6\u00a0°F"),
        ("\u221240", "°C", "\u221240\u00a0°F"),
        ("\u22125", "°C", "23\u00a0°F"),
    ],
)
def test_quantities_are_said_in_the_makers_units(figure: str, unit: str, imperial: str, speaks) -> None:
    said = msg("weighed {amount} today", amount=quantity(figure, unit))
    assert tr(said) == f"weighed {figure}\u00a0{unit} today"
    speaks(units="oz and °F")
    assert tr(said) == f"weighed {imperial} today"


def test_what_a_maker_typed_stays_as_typed(speaks, brackets: None) -> None:
    speaks(units="oz and °F", language="eo", dates="2026-12-03")
    typed = "added 12\u00a0g of clay on 3 Dec 2026: All batches"
    assert tr(typed) == typed
    assert typed in tr(msg("Save {name}", name=typed))


@pytest.mark.parametrize(
    ("dates", "said"),
    [
        ("Dec 3, 2026", "from Dec 3, 2026 to January 5"),
        ("2026-12-03", "from 2026-12-03 to 5 January"),
    ],
)
def test_dates_are_said_as_the_maker_writes_them(dates: str, said: str, speaks) -> None:
    text = msg(
        "from {start} to {end}",
        start=Day(date(2026, 12, 3)),
        end=Day(date(2027, 1, 5), with_year=False, long_month=True),
    )
    assert tr(text) == "from 3 Dec 2026 to 5 January"
    speaks(dates=dates)
    assert tr(text) == said


def test_kept_habits_that_nobody_knows_are_as_usual(tmp_path: Path) -> None:
    with Journal.open(tmp_path / "j") as journal:
        journal.set_setting("habits", {"units": "stones", "dates": 7, "language": "../../etc", "more": []})
        assert kept_habits(journal) == readers.USUAL


def test_weights_typed_in_ounces_are_kept_in_grams_and_shown_in_ounces(small: Path) -> None:
    keep(small, units="oz and °F")
    at = form(writing("B-1"), "B-1", "a weight")
    with Journal.open(small) as journal:
        last = [entry.record for entry in journal.batch("B-1").entries if isinstance(entry.record, Weighing)][-1]
    weight = at.number_input(key="weigh-B-1-0-of-bar 1-oz")
    assert "ounces" in weight.label and not [w.label for w in at.number_input if re.search(r"\bgrams\b|°C", w.label)]
    typed = round(last.grams / i18n.GRAMS_IN_OUNCE - 0.01, 3)
    weight.set_value(typed)
    only(at.button, "Save").click().run()
    assert not at.exception and f"{typed:.3f}" in text_of(at).replace("\\", "")
    with Journal.open(small) as journal:
        now = [entry.record for entry in journal.batch("B-1").entries if isinstance(entry.record, Weighing)][-1]
    assert now.grams == pytest.approx(typed * 28.349523125) and now.resolution_g == last.resolution_g


def test_water_is_told_as_finely_as_it_was_weighed_in_ounces(small: Path) -> None:
    keep(small, units="oz and °F")
    # 280 g and 1448 g by 28.349 523 125 g in an ounce, arithmetic; by whole grams it would be 9.88.
    assert "9.877\u00a0oz in 51.077\u00a0oz" in text_of(section("B-1", "Readings"))


def test_a_maker_sets_how_the_app_speaks(small: Path) -> None:
    at = app("settings")
    only(at.radio, "Weights and temperatures").set_value("oz and °F")
    only(at.radio, "Dates look like").set_value("2026-12-03")
    only(at.radio, "Records, fact sheets, lots and portfolios are printed on").set_value("Letter")
    only(at.selectbox, "Time zone").set_value("Asia/Tokyo")
    only(at.text_input, "Name on papers and portfolios").input("Ann’s soap")
    only(at.button, "Save").click().run()
    assert not at.exception
    with Journal.open(small) as journal:
        assert kept_habits(journal) == Habits("oz and °F", "2026-12-03", paper="Letter")
        assert (str(workflow.time_zone(journal)), workflow.place(journal)) == ("Asia/Tokyo", "Ann’s soap")
    offered = [choice.replace("\u00a0", " ") for choice in only(app("settings").radio, "Dates look like").options]
    assert offered == list(readers.DATES), "each way of writing is shown as it is"


# A language made up for the test: every text of the catalogue in brackets, its gaps kept.
PLAIN_WORDS = re.compile(r"[A-Za-z]{3,}")
# What makers typed in the small journal, and names of months, which the dates' own way of writing takes care of.
NOT_OURS = re.compile(r"\b(?:Plain|Young|soap|bar 1|W-01|" + "|".join(calendar.month_abbr[1:]) + r")\b")


@pytest.fixture(scope="module")
def in_brackets(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("texts")
    other = Catalog(locale="eo")
    for message in catalogue():
        if message.id:
            ids = message.id if isinstance(message.id, (tuple, list)) else (message.id,)
            said = tuple(f"⟦{text}⟧" for text in ids)
            other.add(message.id, said if len(said) > 1 else said[0])
    with (folder / "eo.po").open("wb") as file:
        write_po(file, other)
    return folder


@pytest.fixture
def brackets(in_brackets: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(readers, "TEXTS", in_brackets)


def outside_brackets(text: str) -> str:
    """What stands in no brackets; brackets may hold brackets."""
    depth, kept = 0, []
    for sign in text:
        depth += (sign == "⟦") - (sign == "⟧")
        if depth == 0 and sign != "⟧":
            kept.append(sign)
    return "".join(kept)


@pytest.fixture
def flattened(monkeypatch: pytest.MonkeyPatch) -> set[str]:
    """Where a message is put into an f-string: what comes out is English, and can be said to nobody else."""
    found: set[str] = set()

    def noted(text: Spoken, spec: str) -> str:
        where = sys._getframe(1).f_code.co_filename
        if "/curejournal/" in where and not where.endswith(("base/messages.py", "documents/style.py")):
            found.add(f"{Path(where).name}: {text[:60]}")
        return str.__format__(text, spec)

    monkeypatch.setattr(Spoken, "__format__", noted)
    return found


@pytest.mark.parametrize("slug", all_pages())
def test_every_page_is_said_in_another_language(slug: str, small: Path, brackets: None, flattened: set[str]) -> None:
    keep(small, language="eo")
    at = app(slug, batch="B-1")
    assert not at.exception
    shown = re.sub(r"<style.*?</style>", "", text_of(at), flags=re.DOTALL)
    said = [line for line in shown.splitlines() if line.strip()]
    said += [w.label for kind in (at.button, at.number_input, at.text_input, at.selectbox, at.radio) for w in kind]
    plain = [NOT_OURS.sub("", re.sub(r"<[^>]*>|\\", "", line)) for line in said]
    english = [line for line in plain if PLAIN_WORDS.search(outside_brackets(line))]
    share = 1 - sum(map(len, map(outside_brackets, english))) / max(sum(map(len, plain)), 1)
    assert share > 0.85, english
    assert not flattened


def said_on_paper(folder: Path, make: Callable[[Journal, datetime], bytes], kind: str = ".pdf") -> str:
    with Journal.open(folder) as journal:
        made = make(journal, workflow.calendar(journal, datetime.now(workflow.time_zone(journal))))
    if kind != ".pdf":
        return made.decode()
    return "".join(page.extract_text() for page in PdfReader(io.BytesIO(made)).pages)


PAPERS: dict[str, tuple[Callable[[Journal, datetime], bytes], str]] = {
    "record": (lambda journal, on: documents.batch_record(journal, ["B-1"], on), ".pdf"),
    "lot": (lambda journal, on: documents.lot_page(journal, "F-1", on), ".pdf"),
    "calendar": (lambda journal, on: documents.calendar_file(journal, on, workflow.time_zone(journal)), ".ics"),
}


@pytest.mark.parametrize("paper", PAPERS)
def test_papers_are_said_in_another_language(paper: str, small: Path, brackets: None, flattened: set[str]) -> None:
    keep(small, language="eo")
    said = said_on_paper(small, *PAPERS[paper])
    assert "⟦" in said or "?" in said
    assert not flattened


def test_papers_have_the_reader_s_units_and_dates(small: Path) -> None:
    with Journal.open(small) as journal:
        readers.keep_habits(journal, Habits("oz and °F", "2026-12-03"))
    said = said_on_paper(small, *PAPERS["record"])
    assert re.search(r"\d oz\b", said)
    assert re.search(r"\b20\d\d-\d\d-\d\d\b", said)
    assert not re.search(r"\b\d+ (?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec) 20\d\d", said)
    assert not re.search(r"\d g\b", said), re.findall(r".{30}\d g\b.{20}", said)
