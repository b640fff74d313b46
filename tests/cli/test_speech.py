"""The command line speaks as the journal's readers read: their units, dates and language; JSON stays as it is."""

from __future__ import annotations

from pathlib import Path

import pytest

from curejournal.base.messages import msg
from curejournal.batch.records import Event, Weighing
from curejournal.cli import speech
from curejournal.journal.store import Journal
from curejournal.workflow import readers
from curejournal.workflow.readers import Habits
from tests.cli.test_commands import as_json, run
from tests.journal.test_store import POURED

CATALOGUE = """
msgid ""
msgstr "Plural-Forms: nplurals=2; plural=(n != 1);\\n"

msgid "Next: {next_step}"
msgstr "Poste: {next_step}"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A journal read in ounces, with a weight in it."""
    with Journal.open(tmp_path / "journal") as journal:
        journal.start_batch("B1", "Plain", at=POURED, by="Kaja (invented)", records=[Event("poured")])
        journal.add("B1", Weighing("bar 1", 120.5, 0.1), at=POURED, by="Kaja (invented)")
        readers.keep_habits(journal, Habits("oz and °F", "Dec 3, 2026"))
    return tmp_path / "journal"


def test_weights_and_days_are_said_as_the_journal_s_readers_write_them(folder: Path) -> None:
    shown = run("batch", "show", "B1", journal=folder)
    assert "4.251 oz" in shown, "120.5 g / 28.349523125 g (NIST SP 811, appendix B.8: 1 oz = 28.349 52 g): 4.2505"
    assert f"{POURED:%b} {POURED.day}, {POURED.year}" in shown
    assert " g" not in shown


def test_json_keeps_grams_and_iso_dates(folder: Path) -> None:
    kept = as_json("batch", "show", "B1", journal=folder)
    assert kept["entries"][-1]["record"]["grams"] == 120.5
    assert kept["entries"][-1]["at"].startswith(f"{POURED:%Y-%m-%d}")


def test_a_language_of_the_catalogue_is_spoken(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    texts = tmp_path / "texts"
    texts.mkdir()
    (texts / "eo.po").write_text(CATALOGUE)
    monkeypatch.setattr(readers, "TEXTS", texts)
    monkeypatch.setattr(speech, "_voices", [])
    with Journal.open(folder) as journal:
        readers.keep_habits(journal, Habits(language="eo"))
        speech.speak_as_in(journal)
    speech.tell(msg("Next: {next_step}", next_step="Next: weigh"))
    assert capsys.readouterr().out == "Poste: Next: weigh\n", "what was typed is never translated"
